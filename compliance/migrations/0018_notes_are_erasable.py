"""A fourth kind of personal data; notes and the places of photos enter the ledger hashed.

The second person of a waiver and of an erasure is of the company: never an auditor.
"""

from __future__ import annotations

import django.contrib.postgres.fields
import pgtrigger.compiler
import pgtrigger.migrations
from django.conf import settings
from django.db import migrations, models

# Table -> columns that enter as a hash from now on, and those that did before.
HASHED = {
    "jobs_prestartcheck": (["note"], []),
    "jobs_photo": (["note"], []),
    "jobs_photoinspection": (["exif_latitude_deg", "exif_longitude_deg"], []),
    "jobs_arrival": (
        ["let_in_by", "latitude_deg", "longitude_deg", "note"],
        ["let_in_by", "latitude_deg", "longitude_deg"],
    ),
    "jobs_variation": (["reason"], []),
    "jobs_stopwork": (["reason"], []),
    "jobs_leave": (["latitude_deg", "longitude_deg", "note"], ["latitude_deg", "longitude_deg"]),
}


def entering(table: str, columns: list[str]) -> str:
    arguments = ", ".join(f"'{column}'" for column in columns)
    return (
        f"DROP TRIGGER enter_the_ledger ON {table}; "
        f"CREATE TRIGGER enter_the_ledger AFTER INSERT ON {table} "
        f"FOR EACH ROW EXECUTE FUNCTION compliance_record_fact({arguments})"
    )


class Migration(migrations.Migration):
    dependencies = [
        ("compliance", "0017_withdrawn_by_no_auditor"),
        ("jobs", "0019_notes_are_erasable"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        pgtrigger.migrations.RemoveTrigger(
            model_name="erasure",
            name="erasure_by_whom_it_takes",
        ),
        pgtrigger.migrations.RemoveTrigger(
            model_name="waiveranswer",
            name="waiver_answered_by_a_second_person",
        ),
        migrations.RemoveConstraint(
            model_name="retentionperiod",
            name="retention_within_its_limits",
        ),
        migrations.AlterField(
            model_name="erasure",
            name="kinds",
            field=django.contrib.postgres.fields.ArrayField(
                base_field=models.CharField(
                    choices=[
                        ("contact", "Household’s contact"),
                        ("signatures", "Signatures and who was there"),
                        ("photos", "Photos"),
                        ("notes", "Notes"),
                    ],
                    max_length=12,
                ),
                size=None,
            ),
        ),
        migrations.AlterField(
            model_name="erasurerequest",
            name="kinds",
            field=django.contrib.postgres.fields.ArrayField(
                base_field=models.CharField(
                    choices=[
                        ("contact", "Household’s contact"),
                        ("signatures", "Signatures and who was there"),
                        ("photos", "Photos"),
                        ("notes", "Notes"),
                    ],
                    max_length=12,
                ),
                size=None,
            ),
        ),
        migrations.AlterField(
            model_name="erasurerequestevent",
            name="kinds",
            field=django.contrib.postgres.fields.ArrayField(
                base_field=models.CharField(
                    choices=[
                        ("contact", "Household’s contact"),
                        ("signatures", "Signatures and who was there"),
                        ("photos", "Photos"),
                        ("notes", "Notes"),
                    ],
                    max_length=12,
                ),
                size=None,
            ),
        ),
        migrations.AlterField(
            model_name="retentionperiod",
            name="kind",
            field=models.CharField(
                choices=[
                    ("contact", "Household’s contact"),
                    ("signatures", "Signatures and who was there"),
                    ("photos", "Photos"),
                    ("notes", "Notes"),
                ],
                max_length=12,
            ),
        ),
        migrations.AlterField(
            model_name="retentionperiodevent",
            name="kind",
            field=models.CharField(
                choices=[
                    ("contact", "Household’s contact"),
                    ("signatures", "Signatures and who was there"),
                    ("photos", "Photos"),
                    ("notes", "Notes"),
                ],
                max_length=12,
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="erasure",
            trigger=pgtrigger.compiler.Trigger(
                name="erasure_by_whom_it_takes",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="\n                    IF NOT (NEW.asked_by_id IS NULL AND NEW.because = 'retention')\n                        AND NOT \n    EXISTS (SELECT 1 FROM jobs_user u JOIN jobs_job j ON j.company_id = u.company_id\n            WHERE u.id = NEW.asked_by_id AND j.id = NEW.job_id AND u.role = 'compliance_officer')\n THEN\n                        RAISE EXCEPTION 'Personal data are erased by a compliance officer of the '\n                            'company whose job it is.' USING ERRCODE = 'restrict_violation';\n                    END IF;\n                    IF NEW.agreed_by_id IS NOT NULL AND (\n                        NEW.agreed_by_id IS NOT DISTINCT FROM NEW.asked_by_id\n                        OR NOT \n    EXISTS (SELECT 1 FROM jobs_user u JOIN jobs_job j ON j.company_id = u.company_id\n            WHERE u.id = NEW.agreed_by_id AND j.id = NEW.job_id AND u.role = 'compliance_officer')\n\n                    ) THEN\n                        RAISE EXCEPTION 'The second person is another compliance officer of the '\n                            'company.' USING ERRCODE = 'restrict_violation';\n                    END IF;\n                    IF NEW.agreed_by_id IS NULL AND (\n                        EXISTS (SELECT 1 FROM compliance_legalhold h\n                                WHERE h.job_id = NEW.job_id AND h.lifted_at IS NULL)\n                        OR (NEW.kinds && ARRAY['signatures', 'photos', 'notes']::varchar[]\n                            AND (EXISTS (SELECT 1 FROM compliance_certificate c\n                                    WHERE c.job_id = NEW.job_id AND NOT EXISTS (\n                                        SELECT 1 FROM compliance_certificatewithdrawal w\n                                        WHERE w.certificate_id = c.id))\n                                OR EXISTS (SELECT 1 FROM jobs_job j WHERE j.id = NEW.job_id\n                                    AND j.stage NOT IN ('certified', 'called_off'))))\n                    ) THEN\n                        RAISE EXCEPTION 'This is still needed, so a second person has to agree '\n                            'to erase it.' USING ERRCODE = 'restrict_violation';\n                    END IF;\n                    RETURN NEW;\n                ",
                    hash="189f63acc03463c20f9bfe2101bbd090aad3e435",
                    operation="INSERT",
                    pgid="pgtrigger_erasure_by_whom_it_takes_05467",
                    table="compliance_erasure",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="waiveranswer",
            trigger=pgtrigger.compiler.Trigger(
                name="waiver_answered_by_a_second_person",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="\n                    IF NOT EXISTS (\n                        SELECT 1 FROM compliance_waiver w\n                        JOIN jobs_job j ON j.id = w.job_id\n                        JOIN jobs_user u ON u.id = NEW.answered_by_id\n                        WHERE w.id = NEW.waiver_id AND w.job_id = NEW.job_id\n                          AND u.id <> w.recorded_by_id\n                          AND u.role = 'compliance_officer' AND u.company_id = j.company_id\n                    ) THEN\n                        RAISE EXCEPTION 'A second person answers a waiver: another compliance '\n                            'officer of the company.'\n                            USING ERRCODE = 'restrict_violation';\n                    END IF;\n                    RETURN NEW;\n                ",
                    hash="ba6b9b3ab502bf3384afcb8f11a834261aae19c7",
                    operation="INSERT",
                    pgid="pgtrigger_waiver_answered_by_a_second_person_b1449",
                    table="compliance_waiveranswer",
                    when="BEFORE",
                ),
            ),
        ),
        migrations.AddConstraint(
            model_name="retentionperiod",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("kind", "contact"), ("months__range", (1, 72))),
                    models.Q(("kind", "signatures"), ("months__range", (72, 180))),
                    models.Q(("kind", "photos"), ("months__range", (72, 300))),
                    models.Q(("kind", "notes"), ("months__range", (12, 180))),
                    _connector="OR",
                ),
                name="retention_within_its_limits",
                violation_error_message="months: it is kept no shorter and no longer than the limits say.",
            ),
        ),
        *(
            migrations.RunSQL(entering(table, now), entering(table, before))
            for table, (now, before) in HASHED.items()
        ),
    ]
