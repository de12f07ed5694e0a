"""Composite foreign keys: what belongs together belongs to one company."""

from __future__ import annotations

from django.db import migrations

KEYS = (
    ("jobs_job", "property_id", "jobs_property", "job_and_property_of_one_company"),
    ("jobs_visit", "job_id", "jobs_job", "visit_and_job_of_one_company"),
    ("jobs_visit", "crew_id", "jobs_crew", "visit_and_crew_of_one_company"),
    ("jobs_visit", "van_id", "jobs_van", "visit_and_van_of_one_company"),
    ("jobs_operative", "crew_id", "jobs_crew", "operative_and_crew_of_one_company"),
    ("jobs_crew", "van_id", "jobs_van", "crew_and_van_of_one_company"),
)


class Migration(migrations.Migration):
    dependencies = [("jobs", "0001_initial")]

    operations = [
        migrations.RunSQL(
            f"ALTER TABLE {table} ADD CONSTRAINT {name} FOREIGN KEY ({column}, company_id) "
            f"REFERENCES {target} (id, company_id)",
            f"ALTER TABLE {table} DROP CONSTRAINT {name}",
        )
        for table, column, target, name in KEYS
    ]
