"""Reasons of decisions, notes of steps, corrections and what was left undone enter hashed.

A fifth kind of personal data, which only two people erase. A shortfall's owner is the second
person of its waiver only where nobody else in the company can be.
"""

from __future__ import annotations

import uuid

import django.contrib.postgres.fields
import pgtrigger.compiler
import pgtrigger.migrations
from django.conf import settings
from django.db import migrations, models

# Table -> columns that enter as a hash from now on, and those that did before.
HASHED = {
    "jobs_workstep": (["note"], []),
    "jobs_handover": (
        ["signed_name", "signature_svg", "not_done_reason"],
        ["signed_name", "signature_svg"],
    ),
    "compliance_waiver": (["reason"], []),
    "compliance_waiveranswer": (["note"], []),
    "compliance_certificatewithdrawal": (["reason"], []),
}

# Of readings there are many, and few are corrected: an empty reason enters as it is.
READINGS = """
DROP TRIGGER enter_the_ledger ON jobs_depthreading;
CREATE TRIGGER enter_the_ledger AFTER INSERT ON jobs_depthreading
FOR EACH ROW WHEN (NEW.correction_reason = '') EXECUTE FUNCTION compliance_record_fact();
CREATE TRIGGER enter_the_ledger_with_words AFTER INSERT ON jobs_depthreading
FOR EACH ROW WHEN (NEW.correction_reason <> '')
EXECUTE FUNCTION compliance_record_fact('correction_reason');
"""
READINGS_BEFORE = """
DROP TRIGGER enter_the_ledger_with_words ON jobs_depthreading;
DROP TRIGGER enter_the_ledger ON jobs_depthreading;
CREATE TRIGGER enter_the_ledger AFTER INSERT ON jobs_depthreading
FOR EACH ROW EXECUTE FUNCTION compliance_record_fact();
"""


def entering(table: str, columns: list[str]) -> str:
    arguments = ", ".join(f"'{column}'" for column in columns)
    return (
        f"DROP TRIGGER enter_the_ledger ON {table}; "
        f"CREATE TRIGGER enter_the_ledger AFTER INSERT ON {table} "
        f"FOR EACH ROW EXECUTE FUNCTION compliance_record_fact({arguments})"
    )


# Those who did not work on the loft: another officer; where there is none, a planner; and only
# where neither is left, whoever owns the open shortfall.
ABLE = """
    able AS (
        SELECT u.id, CASE
            WHEN EXISTS (SELECT 1 FROM compliance_shortfall s WHERE s.job_id = of_job
                         AND s.closed_at IS NULL AND s.owner_id = u.id) THEN 3
            WHEN u.role = 'planner' THEN 2
            ELSE 1 END AS turn
        FROM jobs_user u JOIN jobs_job j ON j.company_id = u.company_id
        WHERE j.id = of_job AND u.id <> first_person AND u.is_active
          AND u.role IN ('compliance_officer', 'planner')
          AND NOT EXISTS (SELECT 1 FROM worked WHERE person = u.id)
    )
    SELECT id FROM able WHERE turn = (SELECT min(turn) FROM able)
"""
ABLE_BEFORE = """
    able AS (
        SELECT u.id, u.role FROM jobs_user u JOIN jobs_job j ON j.company_id = u.company_id
        WHERE j.id = of_job AND u.id <> first_person AND u.is_active
          AND u.role IN ('compliance_officer', 'planner')
          AND NOT EXISTS (SELECT 1 FROM worked WHERE person = u.id)
    )
    SELECT id FROM able WHERE role = 'compliance_officer'
        OR NOT EXISTS (SELECT 1 FROM able WHERE role = 'compliance_officer')
"""
SECOND_PEOPLE = """
CREATE OR REPLACE FUNCTION compliance_second_people(of_job bigint, first_person bigint)
RETURNS SETOF bigint LANGUAGE sql STABLE AS $$
    WITH visited AS (SELECT id FROM jobs_visit WHERE job_id = of_job),
    worked(person) AS (
        SELECT surveyed_by_id FROM jobs_survey WHERE job_id = of_job
        UNION ALL SELECT sent_by_id FROM jobs_photo WHERE job_id = of_job
        UNION ALL SELECT checked_by_id FROM jobs_prestartcheck WHERE visit_id IN (TABLE visited)
        UNION ALL SELECT measured_by_id FROM jobs_depthreading WHERE visit_id IN (TABLE visited)
        UNION ALL SELECT taken_by_id FROM jobs_handover WHERE visit_id IN (TABLE visited)
        UNION ALL SELECT recorded_by_id FROM jobs_arrival WHERE visit_id IN (TABLE visited)
        UNION ALL SELECT recorded_by_id FROM jobs_workstep WHERE visit_id IN (TABLE visited)
        UNION ALL SELECT recorded_by_id FROM jobs_variation WHERE visit_id IN (TABLE visited)
        UNION ALL SELECT recorded_by_id FROM jobs_stopwork WHERE visit_id IN (TABLE visited)
        UNION ALL SELECT recorded_by_id FROM jobs_leave WHERE visit_id IN (TABLE visited)
        UNION ALL SELECT o.user_id FROM jobs_visitoperative v
            JOIN jobs_operative o ON o.id = v.operative_id WHERE v.visit_id IN (TABLE visited)
    ),
    {able}
$$;
"""


class Migration(migrations.Migration):
    dependencies = [
        ("compliance", "0023_second_people_of_waivers"),
        ("jobs", "0023_step_notes_and_corrections_are_erasable"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        pgtrigger.migrations.RemoveTrigger(
            model_name="certificatewithdrawal",
            name="certificate_withdrawal_is_kept",
        ),
        pgtrigger.migrations.RemoveTrigger(
            model_name="erasure",
            name="erasure_by_whom_it_takes",
        ),
        pgtrigger.migrations.RemoveTrigger(
            model_name="legalholdevent",
            name="append_only",
        ),
        pgtrigger.migrations.RemoveTrigger(
            model_name="waiver",
            name="waiver_is_kept",
        ),
        pgtrigger.migrations.RemoveTrigger(
            model_name="waiveranswer",
            name="waiver_answer_is_kept",
        ),
        pgtrigger.migrations.RemoveTrigger(
            model_name="waiveranswer",
            name="waiver_answered_by_a_second_person",
        ),
        migrations.RemoveConstraint(
            model_name="retentionperiod",
            name="retention_within_its_limits",
        ),
        migrations.AddField(
            model_name="certificatewithdrawal",
            name="salt",
            field=models.UUIDField(
                default=uuid.uuid4,
                editable=False,
                help_text="Keeps hashed personal data unguessable.",
            ),
        ),
        migrations.AddField(
            model_name="certificatewithdrawal",
            name="words_hashed",
            field=models.BooleanField(
                default=False,
                editable=False,
                help_text="No: they entered the ledger as they were, before they were hashed.",
            ),
        ),
        migrations.AddField(
            model_name="waiver",
            name="salt",
            field=models.UUIDField(
                default=uuid.uuid4,
                editable=False,
                help_text="Keeps hashed personal data unguessable.",
            ),
        ),
        migrations.AddField(
            model_name="waiver",
            name="words_hashed",
            field=models.BooleanField(
                default=False,
                editable=False,
                help_text="No: they entered the ledger as they were, before they were hashed.",
            ),
        ),
        migrations.AddField(
            model_name="waiveranswer",
            name="salt",
            field=models.UUIDField(
                default=uuid.uuid4,
                editable=False,
                help_text="Keeps hashed personal data unguessable.",
            ),
        ),
        migrations.AddField(
            model_name="waiveranswer",
            name="words_hashed",
            field=models.BooleanField(
                default=False,
                editable=False,
                help_text="No: they entered the ledger as they were, before they were hashed.",
            ),
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
                        ("reasons", "Reasons of decisions"),
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
                        ("reasons", "Reasons of decisions"),
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
                        ("reasons", "Reasons of decisions"),
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
                    ("reasons", "Reasons of decisions"),
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
                    ("reasons", "Reasons of decisions"),
                ],
                max_length=12,
            ),
        ),
        migrations.AlterField(
            model_name="certificatewithdrawal",
            name="words_hashed",
            field=models.BooleanField(
                default=True,
                editable=False,
                help_text="No: they entered the ledger as they were, before they were hashed.",
            ),
        ),
        migrations.AlterField(
            model_name="waiver",
            name="words_hashed",
            field=models.BooleanField(
                default=True,
                editable=False,
                help_text="No: they entered the ledger as they were, before they were hashed.",
            ),
        ),
        migrations.AlterField(
            model_name="waiveranswer",
            name="words_hashed",
            field=models.BooleanField(
                default=True,
                editable=False,
                help_text="No: they entered the ledger as they were, before they were hashed.",
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="certificatewithdrawal",
            trigger=pgtrigger.compiler.Trigger(
                name="certificate_withdrawal_is_kept",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="\n                IF TG_OP = 'UPDATE' THEN\n                    IF to_jsonb(NEW) - ARRAY['words_hashed', 'reason', 'salt', 'corrected_at'] = to_jsonb(OLD) - ARRAY['words_hashed', 'reason', 'salt', 'corrected_at']\n                        AND NEW.words_hashed IS NOT DISTINCT FROM true AND NEW.reason IS NOT DISTINCT FROM (CASE WHEN OLD.reason = '' THEN '' ELSE '[erased]' END) AND NEW.salt IS NOT DISTINCT FROM '00000000-0000-0000-0000-000000000000' AND jobs_may_erase(TG_TABLE_NAME, OLD.id)\n                    THEN RETURN NEW; END IF;\n                END IF;\n                RAISE EXCEPTION\n                    'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;\n            ",
                    hash="46e360b3cbda0166cb0316493b803f8dc65162cf",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_certificate_withdrawal_is_kept_5fe48",
                    table="compliance_certificatewithdrawal",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="erasure",
            trigger=pgtrigger.compiler.Trigger(
                name="erasure_by_whom_it_takes",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="\n                    IF NOT (NEW.asked_by_id IS NULL AND NEW.because = 'retention')\n                        AND NOT \n    EXISTS (SELECT 1 FROM jobs_user u JOIN jobs_job j ON j.company_id = u.company_id\n            WHERE u.id = NEW.asked_by_id AND j.id = NEW.job_id AND u.role = 'compliance_officer')\n THEN\n                        RAISE EXCEPTION 'Personal data are erased by a compliance officer of the '\n                            'company whose job it is.' USING ERRCODE = 'restrict_violation';\n                    END IF;\n                    IF NEW.agreed_by_id IS NOT NULL AND (\n                        NEW.agreed_by_id IS NOT DISTINCT FROM NEW.asked_by_id\n                        OR NOT \n    EXISTS (SELECT 1 FROM jobs_user u JOIN jobs_job j ON j.company_id = u.company_id\n            WHERE u.id = NEW.agreed_by_id AND j.id = NEW.job_id AND u.role = 'compliance_officer')\n\n                    ) THEN\n                        RAISE EXCEPTION 'The second person is another compliance officer of the '\n                            'company.' USING ERRCODE = 'restrict_violation';\n                    END IF;\n                    IF NEW.agreed_by_id IS NULL AND (\n                        NEW.kinds && ARRAY['reasons']::varchar[]\n                        OR EXISTS (SELECT 1 FROM compliance_legalhold h\n                                WHERE h.job_id = NEW.job_id AND h.lifted_at IS NULL)\n                        OR (NEW.kinds && ARRAY['signatures', 'photos', 'notes', 'reasons']::varchar[]\n                            AND (EXISTS (SELECT 1 FROM compliance_certificate c\n                                    WHERE c.job_id = NEW.job_id AND NOT EXISTS (\n                                        SELECT 1 FROM compliance_certificatewithdrawal w\n                                        WHERE w.certificate_id = c.id))\n                                OR EXISTS (SELECT 1 FROM jobs_job j WHERE j.id = NEW.job_id\n                                    AND j.stage NOT IN ('certified', 'called_off'))))\n                    ) THEN\n                        RAISE EXCEPTION 'This is still needed, so a second person has to agree '\n                            'to erase it.' USING ERRCODE = 'restrict_violation';\n                    END IF;\n                    RETURN NEW;\n                ",
                    hash="f391339f4ff5ec2ff6a5e4532740cffabc509b65",
                    operation="INSERT",
                    pgid="pgtrigger_erasure_by_whom_it_takes_05467",
                    table="compliance_erasure",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="legalholdevent",
            trigger=pgtrigger.compiler.Trigger(
                name="legal_hold_history_is_kept",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="\n                IF TG_OP = 'UPDATE' THEN\n                    IF to_jsonb(NEW) - ARRAY['reason', 'lifted_because', 'corrected_at'] = to_jsonb(OLD) - ARRAY['reason', 'lifted_because', 'corrected_at']\n                        AND NEW.reason IS NOT DISTINCT FROM (CASE WHEN OLD.reason = '' THEN '' ELSE '[erased]' END) AND NEW.lifted_because IS NOT DISTINCT FROM (CASE WHEN OLD.lifted_because = '' THEN '' ELSE '[erased]' END) AND jobs_may_erase('compliance_legalhold', OLD.pgh_obj_id)\n                    THEN RETURN NEW; END IF;\n                END IF;\n                RAISE EXCEPTION\n                    'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;\n            ",
                    hash="89a7f31edac2f6776b36e3f2ff9abcdb427c662d",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_legal_hold_history_is_kept_ecfd3",
                    table="compliance_legalholdevent",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="waiver",
            trigger=pgtrigger.compiler.Trigger(
                name="waiver_is_kept",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="\n                IF TG_OP = 'UPDATE' THEN\n                    IF to_jsonb(NEW) - ARRAY['words_hashed', 'reason', 'salt', 'corrected_at'] = to_jsonb(OLD) - ARRAY['words_hashed', 'reason', 'salt', 'corrected_at']\n                        AND NEW.words_hashed IS NOT DISTINCT FROM true AND NEW.reason IS NOT DISTINCT FROM (CASE WHEN OLD.reason = '' THEN '' ELSE '[erased]' END) AND NEW.salt IS NOT DISTINCT FROM '00000000-0000-0000-0000-000000000000' AND jobs_may_erase(TG_TABLE_NAME, OLD.id)\n                    THEN RETURN NEW; END IF;\n                END IF;\n                RAISE EXCEPTION\n                    'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;\n            ",
                    hash="cf21bbd0f32b29f42108670a36b19ceefc171d97",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_waiver_is_kept_935e7",
                    table="compliance_waiver",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="waiveranswer",
            trigger=pgtrigger.compiler.Trigger(
                name="waiver_answer_is_kept",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="\n                IF TG_OP = 'UPDATE' THEN\n                    IF to_jsonb(NEW) - ARRAY['words_hashed', 'note', 'salt', 'corrected_at'] = to_jsonb(OLD) - ARRAY['words_hashed', 'note', 'salt', 'corrected_at']\n                        AND NEW.words_hashed IS NOT DISTINCT FROM true AND NEW.note IS NOT DISTINCT FROM (CASE WHEN OLD.note = '' THEN '' ELSE '[erased]' END) AND NEW.salt IS NOT DISTINCT FROM '00000000-0000-0000-0000-000000000000' AND jobs_may_erase(TG_TABLE_NAME, OLD.id)\n                    THEN RETURN NEW; END IF;\n                END IF;\n                RAISE EXCEPTION\n                    'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;\n            ",
                    hash="381aebcb51c412bc821d87cfae8bd6d260d6e8d2",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_waiver_answer_is_kept_8d653",
                    table="compliance_waiveranswer",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="waiveranswer",
            trigger=pgtrigger.compiler.Trigger(
                name="waiver_answered_by_a_second_person",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="\n                    IF NOT EXISTS (\n                        SELECT 1 FROM compliance_waiver w\n                        WHERE w.id = NEW.waiver_id AND w.job_id = NEW.job_id\n                          AND NEW.answered_by_id IN (\n                            SELECT compliance_second_people(w.job_id, w.recorded_by_id))\n                    ) THEN\n                        RAISE EXCEPTION 'A second person answers a waiver: another compliance '\n                            'officer of the company or, without one, a planner; nobody who '\n                            'worked on the loft, and its owner only where nobody else can.'\n                            USING ERRCODE = 'restrict_violation';\n                    END IF;\n                    RETURN NEW;\n                ",
                    hash="0abc42767e3d16abc238f02e430a27577198fdf9",
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
                    models.Q(("kind", "reasons"), ("months__range", (72, 180))),
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
        migrations.RunSQL(READINGS, READINGS_BEFORE),
        migrations.RunSQL(
            SECOND_PEOPLE.format(able=ABLE.strip()), SECOND_PEOPLE.format(able=ABLE_BEFORE.strip())
        ),
    ]
