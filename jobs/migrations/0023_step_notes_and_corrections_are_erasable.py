"""Notes of steps, why readings were corrected and what was left undone can be erased.

Rows that are there keep `words_hashed` false, for their words entered the ledger unhashed.
"""

from __future__ import annotations

import uuid

import pgtrigger.compiler
import pgtrigger.migrations
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("jobs", "0022_office_prices"),
    ]

    operations = [
        pgtrigger.migrations.RemoveTrigger(
            model_name="depthreading",
            name="depth_reading_is_kept",
        ),
        pgtrigger.migrations.RemoveTrigger(
            model_name="handover",
            name="handover_is_kept",
        ),
        pgtrigger.migrations.RemoveTrigger(
            model_name="workstep",
            name="work_step_is_kept",
        ),
        migrations.AddField(
            model_name="depthreading",
            name="salt",
            field=models.UUIDField(
                default=uuid.uuid4,
                editable=False,
                help_text="Keeps hashed personal data unguessable.",
            ),
        ),
        migrations.AddField(
            model_name="depthreading",
            name="words_hashed",
            field=models.BooleanField(
                default=False,
                editable=False,
                help_text="No: they entered the ledger as they were, before they were hashed.",
            ),
        ),
        migrations.AddField(
            model_name="handover",
            name="words_hashed",
            field=models.BooleanField(
                default=False,
                editable=False,
                help_text="No: they entered the ledger as they were, before they were hashed.",
            ),
        ),
        migrations.AddField(
            model_name="workstep",
            name="salt",
            field=models.UUIDField(
                default=uuid.uuid4,
                editable=False,
                help_text="Keeps hashed personal data unguessable.",
            ),
        ),
        migrations.AddField(
            model_name="workstep",
            name="words_hashed",
            field=models.BooleanField(
                default=False,
                editable=False,
                help_text="No: they entered the ledger as they were, before they were hashed.",
            ),
        ),
        migrations.AlterField(
            model_name="depthreading",
            name="words_hashed",
            field=models.BooleanField(
                default=True,
                editable=False,
                help_text="No: they entered the ledger as they were, before they were hashed.",
            ),
        ),
        migrations.AlterField(
            model_name="handover",
            name="words_hashed",
            field=models.BooleanField(
                default=True,
                editable=False,
                help_text="No: they entered the ledger as they were, before they were hashed.",
            ),
        ),
        migrations.AlterField(
            model_name="workstep",
            name="words_hashed",
            field=models.BooleanField(
                default=True,
                editable=False,
                help_text="No: they entered the ledger as they were, before they were hashed.",
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="depthreading",
            trigger=pgtrigger.compiler.Trigger(
                name="depth_reading_is_kept",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="\n                IF TG_OP = 'UPDATE' THEN\n                    IF to_jsonb(NEW) - ARRAY['words_hashed', 'correction_reason', 'salt', 'corrected_at'] = to_jsonb(OLD) - ARRAY['words_hashed', 'correction_reason', 'salt', 'corrected_at']\n                        AND NEW.words_hashed IS NOT DISTINCT FROM true AND NEW.correction_reason IS NOT DISTINCT FROM (CASE WHEN OLD.correction_reason = '' THEN '' ELSE '[erased]' END) AND NEW.salt IS NOT DISTINCT FROM '00000000-0000-0000-0000-000000000000' AND jobs_may_erase(TG_TABLE_NAME, OLD.id)\n                    THEN RETURN NEW; END IF;\n                END IF;\n                RAISE EXCEPTION\n                    'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;\n            ",
                    hash="b0348da6a59249cf1cb39a8cbde7ec2956449a58",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_depth_reading_is_kept_4d6d6",
                    table="jobs_depthreading",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="handover",
            trigger=pgtrigger.compiler.Trigger(
                name="handover_is_kept",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="\n                IF TG_OP = 'UPDATE' THEN\n                    IF to_jsonb(NEW) - ARRAY['signed_name', 'signature_svg', 'words_hashed', 'not_done_reason', 'salt', 'corrected_at'] = to_jsonb(OLD) - ARRAY['signed_name', 'signature_svg', 'words_hashed', 'not_done_reason', 'salt', 'corrected_at']\n                        AND NEW.signed_name IS NOT DISTINCT FROM '[erased]' AND NEW.signature_svg IS NOT DISTINCT FROM '' AND NEW.words_hashed IS NOT DISTINCT FROM true AND NEW.not_done_reason IS NOT DISTINCT FROM (CASE WHEN OLD.not_done_reason = '' THEN '' ELSE '[erased]' END) AND NEW.salt IS NOT DISTINCT FROM '00000000-0000-0000-0000-000000000000' AND jobs_may_erase(TG_TABLE_NAME, OLD.id)\n                    THEN RETURN NEW; END IF;\n                END IF;\n                RAISE EXCEPTION\n                    'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;\n            ",
                    hash="6a660bde697209af1beddcd78ebcaa1be4f0d400",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_handover_is_kept_f3a55",
                    table="jobs_handover",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="workstep",
            trigger=pgtrigger.compiler.Trigger(
                name="work_step_is_kept",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="\n                IF TG_OP = 'UPDATE' THEN\n                    IF to_jsonb(NEW) - ARRAY['words_hashed', 'note', 'salt', 'corrected_at'] = to_jsonb(OLD) - ARRAY['words_hashed', 'note', 'salt', 'corrected_at']\n                        AND NEW.words_hashed IS NOT DISTINCT FROM true AND NEW.note IS NOT DISTINCT FROM (CASE WHEN OLD.note = '' THEN '' ELSE '[erased]' END) AND NEW.salt IS NOT DISTINCT FROM '00000000-0000-0000-0000-000000000000' AND jobs_may_erase(TG_TABLE_NAME, OLD.id)\n                    THEN RETURN NEW; END IF;\n                END IF;\n                RAISE EXCEPTION\n                    'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;\n            ",
                    hash="23de4208b600aba1fbd794a808b3bb1d28dabe16",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_work_step_is_kept_71078",
                    table="jobs_workstep",
                    when="BEFORE",
                ),
            ),
        ),
    ]
