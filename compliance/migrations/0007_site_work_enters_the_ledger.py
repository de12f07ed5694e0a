"""Arrivals, steps of the work, variations, stopped work and leaving are facts of the ledger.

Who let the crew in and where its phone was are personal: they enter as salted hashes.
"""

from __future__ import annotations

from django.db import migrations

FACTS: dict[str, tuple[str, ...]] = {
    "jobs_arrival": ("let_in_by", "latitude_deg", "longitude_deg"),
    "jobs_workstep": (),
    "jobs_variation": (),
    "jobs_stopwork": (),
    "jobs_leave": ("latitude_deg", "longitude_deg"),
}


def trigger(table: str, hashed: tuple[str, ...]) -> migrations.RunSQL:
    arguments = ", ".join(f"'{column}'" for column in hashed)
    return migrations.RunSQL(
        f"CREATE TRIGGER enter_the_ledger AFTER INSERT ON {table} "
        f"FOR EACH ROW EXECUTE FUNCTION compliance_record_fact({arguments})",
        f"DROP TRIGGER enter_the_ledger ON {table}",
    )


class Migration(migrations.Migration):
    dependencies = [
        ("compliance", "0006_populations_are_facts"),
        ("jobs", "0010_site_work_and_phone_clocks"),
    ]

    operations = [trigger(table, hashed) for table, hashed in FACTS.items()]
