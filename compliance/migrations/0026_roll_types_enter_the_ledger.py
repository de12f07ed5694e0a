"""Edits of a company's roll types enter the ledger: a verdict can rest on their conductivity."""

from __future__ import annotations

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [
        ("compliance", "0025_points_seen"),
        ("jobs", "0024_roll_types"),
    ]

    operations = [
        migrations.RunSQL(
            "CREATE TRIGGER enter_the_ledger AFTER INSERT ON jobs_companyrolltypeevent "
            "FOR EACH ROW EXECUTE FUNCTION compliance_record_event()",
            "DROP TRIGGER enter_the_ledger ON jobs_companyrolltypeevent",
        ),
        migrations.RunSQL(
            "CREATE TRIGGER never_emptied BEFORE TRUNCATE ON jobs_companyrolltypeevent "
            "FOR EACH STATEMENT EXECUTE FUNCTION compliance_refuse_truncate()",
            "DROP TRIGGER never_emptied ON jobs_companyrolltypeevent",
        ),
    ]
