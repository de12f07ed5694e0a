"""Composite foreign keys: a certificate and a shortfall name assessments of their own job."""

from __future__ import annotations

from django.db import migrations

KEYS = (
    ("compliance_certificate", "assessment_id", "certificate_and_assessment_of_one_job"),
    ("compliance_shortfall", "assessment_id", "shortfall_and_assessment_of_one_job"),
    ("compliance_shortfall", "closed_by_id", "shortfall_and_closing_of_one_job"),
)


class Migration(migrations.Migration):
    dependencies = [("compliance", "0004_ledger_nodes_and_own_jobs")]

    operations = [
        migrations.RunSQL(
            f"ALTER TABLE {table} ADD CONSTRAINT {name} FOREIGN KEY ({column}, job_id) "
            "REFERENCES compliance_assessment (id, job_id)",
            f"ALTER TABLE {table} DROP CONSTRAINT {name}",
        )
        for table, column, name in KEYS
    ]
