"""Notes, and where photos were taken, can be erased: out of facts, and out of history.

Rows that are there keep `words_hashed` false, for their words entered the ledger unhashed.
"""

from __future__ import annotations

import uuid

import pgtrigger.compiler
import pgtrigger.migrations
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("jobs", "0018_office_phone"),
    ]

    operations = [
        pgtrigger.migrations.RemoveTrigger(
            model_name="agreedwindowevent",
            name="append_only",
        ),
        pgtrigger.migrations.RemoveTrigger(
            model_name="arrival",
            name="arrival_is_kept",
        ),
        pgtrigger.migrations.RemoveTrigger(
            model_name="jobevent",
            name="append_only",
        ),
        pgtrigger.migrations.RemoveTrigger(
            model_name="leave",
            name="leave_is_kept",
        ),
        pgtrigger.migrations.RemoveTrigger(
            model_name="photo",
            name="photo_is_kept",
        ),
        pgtrigger.migrations.RemoveTrigger(
            model_name="photoinspection",
            name="photo_inspection_is_kept",
        ),
        pgtrigger.migrations.RemoveTrigger(
            model_name="prestartcheck",
            name="pre_start_check_is_kept",
        ),
        pgtrigger.migrations.RemoveTrigger(
            model_name="stopwork",
            name="stop_work_is_kept",
        ),
        pgtrigger.migrations.RemoveTrigger(
            model_name="surveyevent",
            name="append_only",
        ),
        pgtrigger.migrations.RemoveTrigger(
            model_name="variation",
            name="variation_is_kept",
        ),
        pgtrigger.migrations.RemoveTrigger(
            model_name="visitevent",
            name="append_only",
        ),
        pgtrigger.migrations.RemoveTrigger(
            model_name="visitneedevent",
            name="append_only",
        ),
        migrations.AddField(
            model_name="arrival",
            name="words_hashed",
            field=models.BooleanField(
                default=False,
                editable=False,
                help_text="No: they entered the ledger as they were, before they were hashed.",
            ),
        ),
        migrations.AddField(
            model_name="leave",
            name="words_hashed",
            field=models.BooleanField(
                default=False,
                editable=False,
                help_text="No: they entered the ledger as they were, before they were hashed.",
            ),
        ),
        migrations.AddField(
            model_name="photo",
            name="salt",
            field=models.UUIDField(
                default=uuid.uuid4,
                editable=False,
                help_text="Keeps hashed personal data unguessable.",
            ),
        ),
        migrations.AddField(
            model_name="photo",
            name="words_hashed",
            field=models.BooleanField(
                default=False,
                editable=False,
                help_text="No: they entered the ledger as they were, before they were hashed.",
            ),
        ),
        migrations.AddField(
            model_name="photoinspection",
            name="salt",
            field=models.UUIDField(
                default=uuid.uuid4,
                editable=False,
                help_text="Keeps hashed personal data unguessable.",
            ),
        ),
        migrations.AddField(
            model_name="photoinspection",
            name="words_hashed",
            field=models.BooleanField(
                default=False,
                editable=False,
                help_text="No: they entered the ledger as they were, before they were hashed.",
            ),
        ),
        migrations.AddField(
            model_name="prestartcheck",
            name="salt",
            field=models.UUIDField(
                default=uuid.uuid4,
                editable=False,
                help_text="Keeps hashed personal data unguessable.",
            ),
        ),
        migrations.AddField(
            model_name="prestartcheck",
            name="words_hashed",
            field=models.BooleanField(
                default=False,
                editable=False,
                help_text="No: they entered the ledger as they were, before they were hashed.",
            ),
        ),
        migrations.AddField(
            model_name="stopwork",
            name="salt",
            field=models.UUIDField(
                default=uuid.uuid4,
                editable=False,
                help_text="Keeps hashed personal data unguessable.",
            ),
        ),
        migrations.AddField(
            model_name="stopwork",
            name="words_hashed",
            field=models.BooleanField(
                default=False,
                editable=False,
                help_text="No: they entered the ledger as they were, before they were hashed.",
            ),
        ),
        migrations.AddField(
            model_name="variation",
            name="salt",
            field=models.UUIDField(
                default=uuid.uuid4,
                editable=False,
                help_text="Keeps hashed personal data unguessable.",
            ),
        ),
        migrations.AddField(
            model_name="variation",
            name="words_hashed",
            field=models.BooleanField(
                default=False,
                editable=False,
                help_text="No: they entered the ledger as they were, before they were hashed.",
            ),
        ),
        # Rows of before say no: their words stand in the ledger as they were.
        migrations.AlterField(
            model_name="arrival",
            name="words_hashed",
            field=models.BooleanField(
                default=True,
                editable=False,
                help_text="No: they entered the ledger as they were, before they were hashed.",
            ),
        ),
        migrations.AlterField(
            model_name="leave",
            name="words_hashed",
            field=models.BooleanField(
                default=True,
                editable=False,
                help_text="No: they entered the ledger as they were, before they were hashed.",
            ),
        ),
        migrations.AlterField(
            model_name="photo",
            name="words_hashed",
            field=models.BooleanField(
                default=True,
                editable=False,
                help_text="No: they entered the ledger as they were, before they were hashed.",
            ),
        ),
        migrations.AlterField(
            model_name="photoinspection",
            name="words_hashed",
            field=models.BooleanField(
                default=True,
                editable=False,
                help_text="No: they entered the ledger as they were, before they were hashed.",
            ),
        ),
        migrations.AlterField(
            model_name="prestartcheck",
            name="words_hashed",
            field=models.BooleanField(
                default=True,
                editable=False,
                help_text="No: they entered the ledger as they were, before they were hashed.",
            ),
        ),
        migrations.AlterField(
            model_name="stopwork",
            name="words_hashed",
            field=models.BooleanField(
                default=True,
                editable=False,
                help_text="No: they entered the ledger as they were, before they were hashed.",
            ),
        ),
        migrations.AlterField(
            model_name="variation",
            name="words_hashed",
            field=models.BooleanField(
                default=True,
                editable=False,
                help_text="No: they entered the ledger as they were, before they were hashed.",
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="agreedwindowevent",
            trigger=pgtrigger.compiler.Trigger(
                name="window_history_is_kept",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="\n                IF TG_OP = 'UPDATE' THEN\n                    IF to_jsonb(NEW) - ARRAY['note', 'corrected_at'] = to_jsonb(OLD) - ARRAY['note', 'corrected_at']\n                        AND NEW.note IS NOT DISTINCT FROM (CASE WHEN OLD.note = '' THEN '' ELSE '[erased]' END) AND jobs_may_erase('jobs_agreedwindow', OLD.pgh_obj_id)\n                    THEN RETURN NEW; END IF;\n                END IF;\n                RAISE EXCEPTION\n                    'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;\n            ",
                    hash="84f161e68dcb5964013761d8e6216217d1a6f0d5",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_window_history_is_kept_f7f6d",
                    table="jobs_agreedwindowevent",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="arrival",
            trigger=pgtrigger.compiler.Trigger(
                name="arrival_is_kept",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="\n                IF TG_OP = 'UPDATE' THEN\n                    IF to_jsonb(NEW) - ARRAY['let_in_by', 'latitude_deg', 'longitude_deg', 'words_hashed', 'note', 'salt', 'corrected_at'] = to_jsonb(OLD) - ARRAY['let_in_by', 'latitude_deg', 'longitude_deg', 'words_hashed', 'note', 'salt', 'corrected_at']\n                        AND NEW.let_in_by IS NOT DISTINCT FROM '[erased]' AND NEW.latitude_deg IS NOT DISTINCT FROM NULL AND NEW.longitude_deg IS NOT DISTINCT FROM NULL AND NEW.words_hashed IS NOT DISTINCT FROM true AND NEW.note IS NOT DISTINCT FROM (CASE WHEN OLD.note = '' THEN '' ELSE '[erased]' END) AND NEW.salt IS NOT DISTINCT FROM '00000000-0000-0000-0000-000000000000' AND jobs_may_erase(TG_TABLE_NAME, OLD.id)\n                    THEN RETURN NEW; END IF;\n                END IF;\n                RAISE EXCEPTION\n                    'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;\n            ",
                    hash="b0f6c4c6258cfc656e7f4fec2d23ea12e545b82a",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_arrival_is_kept_4bb91",
                    table="jobs_arrival",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="jobevent",
            trigger=pgtrigger.compiler.Trigger(
                name="job_history_is_kept",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="\n                IF TG_OP = 'UPDATE' THEN\n                    IF to_jsonb(NEW) - ARRAY['called_off_reason', 'corrected_at'] = to_jsonb(OLD) - ARRAY['called_off_reason', 'corrected_at']\n                        AND NEW.called_off_reason IS NOT DISTINCT FROM (CASE WHEN OLD.called_off_reason = '' THEN '' ELSE '[erased]' END) AND jobs_may_erase('jobs_job', OLD.pgh_obj_id)\n                    THEN RETURN NEW; END IF;\n                END IF;\n                RAISE EXCEPTION\n                    'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;\n            ",
                    hash="4d25481392a5a9ce46530d8bbfcd81eb6d412931",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_job_history_is_kept_e49ee",
                    table="jobs_jobevent",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="leave",
            trigger=pgtrigger.compiler.Trigger(
                name="leave_is_kept",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="\n                IF TG_OP = 'UPDATE' THEN\n                    IF to_jsonb(NEW) - ARRAY['latitude_deg', 'longitude_deg', 'words_hashed', 'note', 'salt', 'corrected_at'] = to_jsonb(OLD) - ARRAY['latitude_deg', 'longitude_deg', 'words_hashed', 'note', 'salt', 'corrected_at']\n                        AND NEW.latitude_deg IS NOT DISTINCT FROM NULL AND NEW.longitude_deg IS NOT DISTINCT FROM NULL AND NEW.words_hashed IS NOT DISTINCT FROM true AND NEW.note IS NOT DISTINCT FROM (CASE WHEN OLD.note = '' THEN '' ELSE '[erased]' END) AND NEW.salt IS NOT DISTINCT FROM '00000000-0000-0000-0000-000000000000' AND jobs_may_erase(TG_TABLE_NAME, OLD.id)\n                    THEN RETURN NEW; END IF;\n                END IF;\n                RAISE EXCEPTION\n                    'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;\n            ",
                    hash="8672c973141477e70f3a40469b8680f51ef55513",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_leave_is_kept_8d281",
                    table="jobs_leave",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="photo",
            trigger=pgtrigger.compiler.Trigger(
                name="photo_is_kept",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="\n                IF TG_OP = 'UPDATE' THEN\n                    IF to_jsonb(NEW) - ARRAY['words_hashed', 'note', 'salt', 'corrected_at'] = to_jsonb(OLD) - ARRAY['words_hashed', 'note', 'salt', 'corrected_at']\n                        AND NEW.words_hashed IS NOT DISTINCT FROM true AND NEW.note IS NOT DISTINCT FROM (CASE WHEN OLD.note = '' THEN '' ELSE '[erased]' END) AND NEW.salt IS NOT DISTINCT FROM '00000000-0000-0000-0000-000000000000' AND jobs_may_erase(TG_TABLE_NAME, OLD.id)\n                    THEN RETURN NEW; END IF;\n                END IF;\n                RAISE EXCEPTION\n                    'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;\n            ",
                    hash="954bba3dda7c6ce16689d139823e00401f7e0111",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_photo_is_kept_8f5d7",
                    table="jobs_photo",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="photoinspection",
            trigger=pgtrigger.compiler.Trigger(
                name="photo_inspection_is_kept",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="\n                IF TG_OP = 'UPDATE' THEN\n                    IF to_jsonb(NEW) - ARRAY['exif_latitude_deg', 'exif_longitude_deg', 'words_hashed', 'salt', 'corrected_at'] = to_jsonb(OLD) - ARRAY['exif_latitude_deg', 'exif_longitude_deg', 'words_hashed', 'salt', 'corrected_at']\n                        AND NEW.exif_latitude_deg IS NOT DISTINCT FROM NULL AND NEW.exif_longitude_deg IS NOT DISTINCT FROM NULL AND NEW.words_hashed IS NOT DISTINCT FROM true AND NEW.salt IS NOT DISTINCT FROM '00000000-0000-0000-0000-000000000000' AND jobs_may_erase(TG_TABLE_NAME, OLD.id)\n                    THEN RETURN NEW; END IF;\n                END IF;\n                RAISE EXCEPTION\n                    'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;\n            ",
                    hash="d74ecfc227c397a9d9d45aca4b1ccf0664c4e4ef",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_photo_inspection_is_kept_a2c48",
                    table="jobs_photoinspection",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="prestartcheck",
            trigger=pgtrigger.compiler.Trigger(
                name="pre_start_check_is_kept",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="\n                IF TG_OP = 'UPDATE' THEN\n                    IF to_jsonb(NEW) - ARRAY['words_hashed', 'note', 'salt', 'corrected_at'] = to_jsonb(OLD) - ARRAY['words_hashed', 'note', 'salt', 'corrected_at']\n                        AND NEW.words_hashed IS NOT DISTINCT FROM true AND NEW.note IS NOT DISTINCT FROM (CASE WHEN OLD.note = '' THEN '' ELSE '[erased]' END) AND NEW.salt IS NOT DISTINCT FROM '00000000-0000-0000-0000-000000000000' AND jobs_may_erase(TG_TABLE_NAME, OLD.id)\n                    THEN RETURN NEW; END IF;\n                END IF;\n                RAISE EXCEPTION\n                    'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;\n            ",
                    hash="bf6239db00ec2333d28b08d656d5606faaf7b2c8",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_pre_start_check_is_kept_de228",
                    table="jobs_prestartcheck",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="stopwork",
            trigger=pgtrigger.compiler.Trigger(
                name="stop_work_is_kept",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="\n                IF TG_OP = 'UPDATE' THEN\n                    IF to_jsonb(NEW) - ARRAY['words_hashed', 'reason', 'salt', 'corrected_at'] = to_jsonb(OLD) - ARRAY['words_hashed', 'reason', 'salt', 'corrected_at']\n                        AND NEW.words_hashed IS NOT DISTINCT FROM true AND NEW.reason IS NOT DISTINCT FROM (CASE WHEN OLD.reason = '' THEN '' ELSE '[erased]' END) AND NEW.salt IS NOT DISTINCT FROM '00000000-0000-0000-0000-000000000000' AND jobs_may_erase(TG_TABLE_NAME, OLD.id)\n                    THEN RETURN NEW; END IF;\n                END IF;\n                RAISE EXCEPTION\n                    'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;\n            ",
                    hash="88cdd6a7c789670a8ccc3e96feab360a51d11230",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_stop_work_is_kept_9d0c9",
                    table="jobs_stopwork",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="surveyevent",
            trigger=pgtrigger.compiler.Trigger(
                name="survey_history_is_kept",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="\n                IF TG_OP = 'UPDATE' THEN\n                    IF to_jsonb(NEW) - ARRAY['access_note', 'note', 'corrected_at'] = to_jsonb(OLD) - ARRAY['access_note', 'note', 'corrected_at']\n                        AND NEW.access_note IS NOT DISTINCT FROM (CASE WHEN OLD.access_note = '' THEN '' ELSE '[erased]' END) AND NEW.note IS NOT DISTINCT FROM (CASE WHEN OLD.note = '' THEN '' ELSE '[erased]' END) AND jobs_may_erase('jobs_survey', OLD.pgh_obj_id)\n                    THEN RETURN NEW; END IF;\n                END IF;\n                RAISE EXCEPTION\n                    'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;\n            ",
                    hash="e4cc6180f8f304b03e6ed2c418bf8f6a01a479da",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_survey_history_is_kept_39886",
                    table="jobs_surveyevent",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="variation",
            trigger=pgtrigger.compiler.Trigger(
                name="variation_is_kept",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="\n                IF TG_OP = 'UPDATE' THEN\n                    IF to_jsonb(NEW) - ARRAY['words_hashed', 'reason', 'salt', 'corrected_at'] = to_jsonb(OLD) - ARRAY['words_hashed', 'reason', 'salt', 'corrected_at']\n                        AND NEW.words_hashed IS NOT DISTINCT FROM true AND NEW.reason IS NOT DISTINCT FROM (CASE WHEN OLD.reason = '' THEN '' ELSE '[erased]' END) AND NEW.salt IS NOT DISTINCT FROM '00000000-0000-0000-0000-000000000000' AND jobs_may_erase(TG_TABLE_NAME, OLD.id)\n                    THEN RETURN NEW; END IF;\n                END IF;\n                RAISE EXCEPTION\n                    'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;\n            ",
                    hash="6f232605fae2c8d26b66367cd4140bfc6fd51673",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_variation_is_kept_28623",
                    table="jobs_variation",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="visitevent",
            trigger=pgtrigger.compiler.Trigger(
                name="visit_history_is_kept",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="\n                IF TG_OP = 'UPDATE' THEN\n                    IF to_jsonb(NEW) - ARRAY['note', 'stop_reason', 'corrected_at'] = to_jsonb(OLD) - ARRAY['note', 'stop_reason', 'corrected_at']\n                        AND NEW.note IS NOT DISTINCT FROM (CASE WHEN OLD.note = '' THEN '' ELSE '[erased]' END) AND NEW.stop_reason IS NOT DISTINCT FROM (CASE WHEN OLD.stop_reason = '' THEN '' ELSE '[erased]' END) AND jobs_may_erase('jobs_visit', OLD.pgh_obj_id)\n                    THEN RETURN NEW; END IF;\n                END IF;\n                RAISE EXCEPTION\n                    'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;\n            ",
                    hash="249d3b88e5a0393a391d8519cfd597eb1e69f5c6",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_visit_history_is_kept_698b2",
                    table="jobs_visitevent",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="visitneedevent",
            trigger=pgtrigger.compiler.Trigger(
                name="need_history_is_kept",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="\n                IF TG_OP = 'UPDATE' THEN\n                    IF to_jsonb(NEW) - ARRAY['note', 'corrected_at'] = to_jsonb(OLD) - ARRAY['note', 'corrected_at']\n                        AND NEW.note IS NOT DISTINCT FROM (CASE WHEN OLD.note = '' THEN '' ELSE '[erased]' END) AND jobs_may_erase('jobs_visitneed', OLD.pgh_obj_id)\n                    THEN RETURN NEW; END IF;\n                END IF;\n                RAISE EXCEPTION\n                    'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;\n            ",
                    hash="632dec29154990dedb5eed2fe03ac362d859f6bb",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_need_history_is_kept_a6029",
                    table="jobs_visitneedevent",
                    when="BEFORE",
                ),
            ),
        ),
    ]
