"""Retention periods, legal holds and erasures; an erasure is a fact and lets marks be put in place.

Also: a rule is approved by somebody who saw its preview, and a shortfall is closed for good, by a
later assessment only.
"""

from __future__ import annotations

import django.contrib.postgres.fields
import django.db.models.deletion
import django.utils.timezone
import pgtrigger.compiler
import pgtrigger.migrations
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("compliance", "0013_audit_plans"),
        ("jobs", "0016_erasure_and_history"),
        ("pghistory", "0007_auto_20250421_0444"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="BytesToRemove",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("name", models.CharField(max_length=300, unique=True)),
                ("noted_at", models.DateTimeField(default=django.utils.timezone.now)),
            ],
        ),
        migrations.CreateModel(
            name="Erasure",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "kinds",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.CharField(
                            choices=[
                                ("contact", "Household’s contact"),
                                ("signatures", "Signatures and who was there"),
                                ("photos", "Photos"),
                            ],
                            max_length=12,
                        ),
                        size=None,
                    ),
                ),
                (
                    "because",
                    models.CharField(
                        choices=[
                            ("asked", "Somebody of the household asked"),
                            ("retention", "The retention period has ended"),
                        ],
                        max_length=10,
                    ),
                ),
                ("reason", models.CharField(max_length=300)),
                ("items", models.JSONField()),
                (
                    "erased_at",
                    models.DateTimeField(default=django.utils.timezone.now, editable=False),
                ),
            ],
            options={
                "ordering": ["-id"],
            },
        ),
        migrations.CreateModel(
            name="ErasureRequest",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "kinds",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.CharField(
                            choices=[
                                ("contact", "Household’s contact"),
                                ("signatures", "Signatures and who was there"),
                                ("photos", "Photos"),
                            ],
                            max_length=12,
                        ),
                        size=None,
                    ),
                ),
                (
                    "because",
                    models.CharField(
                        choices=[
                            ("asked", "Somebody of the household asked"),
                            ("retention", "The retention period has ended"),
                        ],
                        max_length=10,
                    ),
                ),
                ("reason", models.CharField(max_length=300)),
                (
                    "stands_against",
                    models.JSONField(default=list, help_text="Sentences: why one is not enough."),
                ),
                ("asked_at", models.DateTimeField(default=django.utils.timezone.now)),
                ("agreed", models.BooleanField(null=True)),
                ("answer", models.CharField(blank=True, max_length=300)),
                ("answered_at", models.DateTimeField(blank=True, null=True)),
            ],
            options={
                "ordering": ["-id"],
            },
        ),
        migrations.CreateModel(
            name="ErasureRequestEvent",
            fields=[
                ("pgh_id", models.AutoField(primary_key=True, serialize=False)),
                ("pgh_created_at", models.DateTimeField(auto_now_add=True)),
                ("pgh_label", models.TextField(help_text="The event label.")),
                ("id", models.BigIntegerField()),
                (
                    "kinds",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.CharField(
                            choices=[
                                ("contact", "Household’s contact"),
                                ("signatures", "Signatures and who was there"),
                                ("photos", "Photos"),
                            ],
                            max_length=12,
                        ),
                        size=None,
                    ),
                ),
                (
                    "because",
                    models.CharField(
                        choices=[
                            ("asked", "Somebody of the household asked"),
                            ("retention", "The retention period has ended"),
                        ],
                        max_length=10,
                    ),
                ),
                ("reason", models.CharField(max_length=300)),
                (
                    "stands_against",
                    models.JSONField(default=list, help_text="Sentences: why one is not enough."),
                ),
                ("asked_at", models.DateTimeField(default=django.utils.timezone.now)),
                ("agreed", models.BooleanField(null=True)),
                ("answer", models.CharField(blank=True, max_length=300)),
                ("answered_at", models.DateTimeField(blank=True, null=True)),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="LegalHold",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("reason", models.CharField(max_length=300)),
                ("placed_at", models.DateTimeField(default=django.utils.timezone.now)),
                ("lifted_at", models.DateTimeField(blank=True, null=True)),
                ("lifted_because", models.CharField(blank=True, max_length=300)),
            ],
            options={
                "ordering": ["-id"],
            },
        ),
        migrations.CreateModel(
            name="LegalHoldEvent",
            fields=[
                ("pgh_id", models.AutoField(primary_key=True, serialize=False)),
                ("pgh_created_at", models.DateTimeField(auto_now_add=True)),
                ("pgh_label", models.TextField(help_text="The event label.")),
                ("id", models.BigIntegerField()),
                ("reason", models.CharField(max_length=300)),
                ("placed_at", models.DateTimeField(default=django.utils.timezone.now)),
                ("lifted_at", models.DateTimeField(blank=True, null=True)),
                ("lifted_because", models.CharField(blank=True, max_length=300)),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="PreviewSeen",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("seen_at", models.DateTimeField(default=django.utils.timezone.now)),
            ],
            options={
                "ordering": ["id"],
            },
        ),
        migrations.CreateModel(
            name="RetentionPeriod",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("contact", "Household’s contact"),
                            ("signatures", "Signatures and who was there"),
                            ("photos", "Photos"),
                        ],
                        max_length=12,
                    ),
                ),
                ("months", models.PositiveSmallIntegerField()),
                ("set_at", models.DateTimeField(default=django.utils.timezone.now)),
            ],
            options={
                "ordering": ["company_id", "kind"],
            },
        ),
        migrations.CreateModel(
            name="RetentionPeriodEvent",
            fields=[
                ("pgh_id", models.AutoField(primary_key=True, serialize=False)),
                ("pgh_created_at", models.DateTimeField(auto_now_add=True)),
                ("pgh_label", models.TextField(help_text="The event label.")),
                ("id", models.BigIntegerField()),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("contact", "Household’s contact"),
                            ("signatures", "Signatures and who was there"),
                            ("photos", "Photos"),
                        ],
                        max_length=12,
                    ),
                ),
                ("months", models.PositiveSmallIntegerField()),
                ("set_at", models.DateTimeField(default=django.utils.timezone.now)),
            ],
            options={
                "abstract": False,
            },
        ),
        pgtrigger.migrations.RemoveTrigger(
            model_name="shortfall",
            name="shortfall_closed_only_by_meets",
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="depthrule",
            trigger=pgtrigger.compiler.Trigger(
                name="depth_rule_approved_with_open_eyes",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    condition='WHEN (NEW."approved_at" IS NOT NULL AND OLD."approved_at" IS NULL)',
                    func="\n                    IF NOT EXISTS (\n                        SELECT 1 FROM compliance_previewseen s\n                        JOIN compliance_rulerun r ON r.id = s.run_id\n                        WHERE r.rule_id = NEW.id AND r.kind = 'preview'\n                          AND r.ended_at IS NOT NULL AND s.person_id = NEW.approved_by_id\n                    ) THEN\n                        RAISE EXCEPTION 'Whoever approves a rule has looked first at what it '\n                            'would change.' USING ERRCODE = 'restrict_violation';\n                    END IF;\n                    RETURN NEW;\n                ",
                    hash="0e4940dc44fdeb2d2eee3d6bde171997c95ccab3",
                    operation="UPDATE",
                    pgid="pgtrigger_depth_rule_approved_with_open_eyes_3fa3e",
                    table="compliance_depthrule",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="shortfall",
            trigger=pgtrigger.compiler.Trigger(
                name="closed_shortfall_stays_as_it_is",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    condition='WHEN (OLD."closed_at" IS NOT NULL)',
                    func="RAISE EXCEPTION 'pgtrigger: Cannot update rows from % table', TG_TABLE_NAME;",
                    hash="a66c2397d55c49018b943aafb3669a6911abc10f",
                    operation="UPDATE",
                    pgid="pgtrigger_closed_shortfall_stays_as_it_is_08480",
                    table="compliance_shortfall",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="shortfall",
            trigger=pgtrigger.compiler.Trigger(
                name="shortfall_closed_only_by_meets",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    condition='WHEN (NEW."closed_by_id" IS NOT NULL)',
                    func="\n                    IF NOT EXISTS (\n                        SELECT 1 FROM compliance_assessment a\n                        WHERE a.id = NEW.closed_by_id AND a.job_id = NEW.job_id\n                          AND a.verdict = 'meets' AND a.number > (\n                            SELECT f.number FROM compliance_assessment f\n                            WHERE f.id = NEW.assessment_id)\n                    ) THEN\n                        RAISE EXCEPTION 'A shortfall is closed only by a later assessment of the '\n                            'same job that meets the rule.'\n                            USING ERRCODE = 'restrict_violation';\n                    END IF;\n                    RETURN NEW;\n                ",
                    hash="1ec76c796e097f05aaee686b56980428f337794a",
                    operation="INSERT OR UPDATE",
                    pgid="pgtrigger_shortfall_closed_only_by_meets_6a3ba",
                    table="compliance_shortfall",
                    when="BEFORE",
                ),
            ),
        ),
        migrations.AddField(
            model_name="erasure",
            name="agreed_by",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="erasure",
            name="asked_by",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="erasure",
            name="job",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="erasures", to="jobs.job"
            ),
        ),
        migrations.AddField(
            model_name="erasurerequest",
            name="answered_by",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="erasurerequest",
            name="asked_by",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="erasurerequest",
            name="job",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="erasure_requests",
                to="jobs.job",
            ),
        ),
        migrations.AddField(
            model_name="erasurerequestevent",
            name="answered_by",
            field=models.ForeignKey(
                blank=True,
                db_constraint=False,
                null=True,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="+",
                related_query_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="erasurerequestevent",
            name="asked_by",
            field=models.ForeignKey(
                blank=True,
                db_constraint=False,
                null=True,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="+",
                related_query_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="erasurerequestevent",
            name="job",
            field=models.ForeignKey(
                db_constraint=False,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="+",
                related_query_name="+",
                to="jobs.job",
            ),
        ),
        migrations.AddField(
            model_name="erasurerequestevent",
            name="pgh_context",
            field=models.ForeignKey(
                db_constraint=False,
                null=True,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="+",
                to="pghistory.context",
            ),
        ),
        migrations.AddField(
            model_name="erasurerequestevent",
            name="pgh_obj",
            field=models.ForeignKey(
                db_constraint=False,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="events",
                to="compliance.erasurerequest",
            ),
        ),
        migrations.AddField(
            model_name="legalhold",
            name="job",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="legal_holds",
                to="jobs.job",
            ),
        ),
        migrations.AddField(
            model_name="legalhold",
            name="lifted_by",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="legalhold",
            name="placed_by",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="legalholdevent",
            name="job",
            field=models.ForeignKey(
                db_constraint=False,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="+",
                related_query_name="+",
                to="jobs.job",
            ),
        ),
        migrations.AddField(
            model_name="legalholdevent",
            name="lifted_by",
            field=models.ForeignKey(
                blank=True,
                db_constraint=False,
                null=True,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="+",
                related_query_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="legalholdevent",
            name="pgh_context",
            field=models.ForeignKey(
                db_constraint=False,
                null=True,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="+",
                to="pghistory.context",
            ),
        ),
        migrations.AddField(
            model_name="legalholdevent",
            name="pgh_obj",
            field=models.ForeignKey(
                db_constraint=False,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="events",
                to="compliance.legalhold",
            ),
        ),
        migrations.AddField(
            model_name="legalholdevent",
            name="placed_by",
            field=models.ForeignKey(
                db_constraint=False,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="+",
                related_query_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="previewseen",
            name="person",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="previewseen",
            name="run",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.CASCADE,
                related_name="seen",
                to="compliance.rulerun",
            ),
        ),
        migrations.AddField(
            model_name="retentionperiod",
            name="company",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="retention_periods",
                to="jobs.company",
            ),
        ),
        migrations.AddField(
            model_name="retentionperiod",
            name="set_by",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="retentionperiodevent",
            name="company",
            field=models.ForeignKey(
                db_constraint=False,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="+",
                related_query_name="+",
                to="jobs.company",
            ),
        ),
        migrations.AddField(
            model_name="retentionperiodevent",
            name="pgh_context",
            field=models.ForeignKey(
                db_constraint=False,
                null=True,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="+",
                to="pghistory.context",
            ),
        ),
        migrations.AddField(
            model_name="retentionperiodevent",
            name="pgh_obj",
            field=models.ForeignKey(
                db_constraint=False,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="events",
                to="compliance.retentionperiod",
            ),
        ),
        migrations.AddField(
            model_name="retentionperiodevent",
            name="set_by",
            field=models.ForeignKey(
                db_constraint=False,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="+",
                related_query_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddConstraint(
            model_name="erasure",
            constraint=models.CheckConstraint(
                condition=models.Q(("reason", ""), _negated=True),
                name="erasure_has_reason",
                violation_error_message="reason: say why it is erased.",
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="erasure",
            trigger=pgtrigger.compiler.Trigger(
                name="erasure_is_kept",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="RAISE EXCEPTION 'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;",
                    hash="d26ac1c244d885574055f98fc857706452519608",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_erasure_is_kept_af9ee",
                    table="compliance_erasure",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="erasure",
            trigger=pgtrigger.compiler.Trigger(
                name="erasure_by_whom_it_takes",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="\n                    IF NOT (NEW.asked_by_id IS NULL AND NEW.because = 'retention')\n                        AND NOT \n    EXISTS (SELECT 1 FROM jobs_user u JOIN jobs_job j ON j.company_id = u.company_id\n            WHERE u.id = NEW.asked_by_id AND j.id = NEW.job_id AND u.role = 'compliance_officer')\n THEN\n                        RAISE EXCEPTION 'Personal data are erased by a compliance officer of the '\n                            'company whose job it is.' USING ERRCODE = 'restrict_violation';\n                    END IF;\n                    IF NEW.agreed_by_id IS NOT NULL AND (\n                        NEW.agreed_by_id IS NOT DISTINCT FROM NEW.asked_by_id\n                        OR NOT (\n    EXISTS (SELECT 1 FROM jobs_user u JOIN jobs_job j ON j.company_id = u.company_id\n            WHERE u.id = NEW.agreed_by_id AND j.id = NEW.job_id AND u.role = 'compliance_officer')\n\n                            OR EXISTS (\n                                SELECT 1 FROM jobs_user u JOIN jobs_job j\n                                    ON j.scheme_id = u.scheme_id\n                                WHERE u.id = NEW.agreed_by_id AND j.id = NEW.job_id\n                                  AND u.role = 'auditor'))\n                    ) THEN\n                        RAISE EXCEPTION 'The second person is another compliance officer of the '\n                            'company, or the auditor of the scheme.'\n                            USING ERRCODE = 'restrict_violation';\n                    END IF;\n                    IF NEW.agreed_by_id IS NULL AND (\n                        EXISTS (SELECT 1 FROM compliance_legalhold h\n                                WHERE h.job_id = NEW.job_id AND h.lifted_at IS NULL)\n                        OR (NEW.kinds && ARRAY['signatures', 'photos']::varchar[]\n                            AND (EXISTS (SELECT 1 FROM compliance_certificate c\n                                    WHERE c.job_id = NEW.job_id AND NOT EXISTS (\n                                        SELECT 1 FROM compliance_certificatewithdrawal w\n                                        WHERE w.certificate_id = c.id))\n                                OR EXISTS (SELECT 1 FROM jobs_job j WHERE j.id = NEW.job_id\n                                    AND j.stage NOT IN ('certified', 'called_off'))))\n                    ) THEN\n                        RAISE EXCEPTION 'This is still needed, so a second person has to agree '\n                            'to erase it.' USING ERRCODE = 'restrict_violation';\n                    END IF;\n                    RETURN NEW;\n                ",
                    hash="b176fe2d949a549c1464461cdf1ac2bdf70cbc3c",
                    operation="INSERT",
                    pgid="pgtrigger_erasure_by_whom_it_takes_05467",
                    table="compliance_erasure",
                    when="BEFORE",
                ),
            ),
        ),
        migrations.AddConstraint(
            model_name="erasurerequest",
            constraint=models.UniqueConstraint(
                condition=models.Q(("answered_at__isnull", True)),
                fields=("job",),
                name="erasure_request_one_waiting_a_job",
                violation_error_message="An erasure of this job waits for a second person already.",
            ),
        ),
        migrations.AddConstraint(
            model_name="erasurerequest",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        ("agreed", None),
                        ("answered_at__isnull", True),
                        ("answered_by__isnull", True),
                    ),
                    models.Q(
                        ("agreed__isnull", False),
                        ("answered_at__isnull", False),
                        ("answered_by__isnull", False),
                    ),
                    _connector="OR",
                ),
                name="erasure_request_answered_whole",
                violation_error_message="An answer has a person and a time.",
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="erasurerequest",
            trigger=pgtrigger.compiler.Trigger(
                name="erasure_request_is_kept",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="RAISE EXCEPTION 'pgtrigger: Cannot delete rows from % table', TG_TABLE_NAME;",
                    hash="fb56d98ad32597ea81774333954bc638f7f33c6a",
                    operation="DELETE",
                    pgid="pgtrigger_erasure_request_is_kept_e6d2e",
                    table="compliance_erasurerequest",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="erasurerequest",
            trigger=pgtrigger.compiler.Trigger(
                name="insert_insert",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func='INSERT INTO "compliance_erasurerequestevent" ("agreed", "answer", "answered_at", "answered_by_id", "asked_at", "asked_by_id", "because", "id", "job_id", "kinds", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "reason", "stands_against") VALUES (NEW."agreed", NEW."answer", NEW."answered_at", NEW."answered_by_id", NEW."asked_at", NEW."asked_by_id", NEW."because", NEW."id", NEW."job_id", NEW."kinds", _pgh_attach_context(), NOW(), \'insert\', NEW."id", NEW."reason", NEW."stands_against"); RETURN NULL;',
                    hash="2bc093766b9dc49a2c0dac36045d078d1a1beb2a",
                    operation="INSERT",
                    pgid="pgtrigger_insert_insert_c5dce",
                    table="compliance_erasurerequest",
                    when="AFTER",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="erasurerequest",
            trigger=pgtrigger.compiler.Trigger(
                name="update_update",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    condition="WHEN (OLD.* IS DISTINCT FROM NEW.*)",
                    func='INSERT INTO "compliance_erasurerequestevent" ("agreed", "answer", "answered_at", "answered_by_id", "asked_at", "asked_by_id", "because", "id", "job_id", "kinds", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "reason", "stands_against") VALUES (NEW."agreed", NEW."answer", NEW."answered_at", NEW."answered_by_id", NEW."asked_at", NEW."asked_by_id", NEW."because", NEW."id", NEW."job_id", NEW."kinds", _pgh_attach_context(), NOW(), \'update\', NEW."id", NEW."reason", NEW."stands_against"); RETURN NULL;',
                    hash="c360664d61fcf527f2ecfe2f65008d35db71c938",
                    operation="UPDATE",
                    pgid="pgtrigger_update_update_4209c",
                    table="compliance_erasurerequest",
                    when="AFTER",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="erasurerequestevent",
            trigger=pgtrigger.compiler.Trigger(
                name="append_only",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="RAISE EXCEPTION 'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;",
                    hash="ebd1ad57b76bee6a69dde43e0ab1a2c47fbb096a",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_append_only_4e179",
                    table="compliance_erasurerequestevent",
                    when="BEFORE",
                ),
            ),
        ),
        migrations.AddConstraint(
            model_name="legalhold",
            constraint=models.UniqueConstraint(
                condition=models.Q(("lifted_at__isnull", True)),
                fields=("job",),
                name="legal_hold_one_open_a_job",
                violation_error_message="This job is on hold already.",
            ),
        ),
        migrations.AddConstraint(
            model_name="legalhold",
            constraint=models.CheckConstraint(
                condition=models.Q(("reason", ""), _negated=True),
                name="legal_hold_has_reason",
                violation_error_message="reason: say what it is held for.",
            ),
        ),
        migrations.AddConstraint(
            model_name="legalhold",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("lifted_at__isnull", True), ("lifted_by__isnull", True)),
                    models.Q(
                        ("lifted_at__isnull", False),
                        ("lifted_by__isnull", False),
                        models.Q(("lifted_because", ""), _negated=True),
                    ),
                    _connector="OR",
                ),
                name="legal_hold_lifted_says_why",
                violation_error_message="reason: say why it is held no longer.",
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="legalhold",
            trigger=pgtrigger.compiler.Trigger(
                name="legal_hold_is_kept",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="RAISE EXCEPTION 'pgtrigger: Cannot delete rows from % table', TG_TABLE_NAME;",
                    hash="ac5978ac8f5731f58501dfc45d916d53e3ec44c8",
                    operation="DELETE",
                    pgid="pgtrigger_legal_hold_is_kept_70950",
                    table="compliance_legalhold",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="legalhold",
            trigger=pgtrigger.compiler.Trigger(
                name="insert_insert",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func='INSERT INTO "compliance_legalholdevent" ("id", "job_id", "lifted_at", "lifted_because", "lifted_by_id", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "placed_at", "placed_by_id", "reason") VALUES (NEW."id", NEW."job_id", NEW."lifted_at", NEW."lifted_because", NEW."lifted_by_id", _pgh_attach_context(), NOW(), \'insert\', NEW."id", NEW."placed_at", NEW."placed_by_id", NEW."reason"); RETURN NULL;',
                    hash="974ed04b237492075bf8c4b7ae239393fce6e099",
                    operation="INSERT",
                    pgid="pgtrigger_insert_insert_ad11c",
                    table="compliance_legalhold",
                    when="AFTER",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="legalhold",
            trigger=pgtrigger.compiler.Trigger(
                name="update_update",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    condition="WHEN (OLD.* IS DISTINCT FROM NEW.*)",
                    func='INSERT INTO "compliance_legalholdevent" ("id", "job_id", "lifted_at", "lifted_because", "lifted_by_id", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "placed_at", "placed_by_id", "reason") VALUES (NEW."id", NEW."job_id", NEW."lifted_at", NEW."lifted_because", NEW."lifted_by_id", _pgh_attach_context(), NOW(), \'update\', NEW."id", NEW."placed_at", NEW."placed_by_id", NEW."reason"); RETURN NULL;',
                    hash="7e833e3b3025e2fe0d195777a57fe5248a85e7dd",
                    operation="UPDATE",
                    pgid="pgtrigger_update_update_9b110",
                    table="compliance_legalhold",
                    when="AFTER",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="legalholdevent",
            trigger=pgtrigger.compiler.Trigger(
                name="append_only",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="RAISE EXCEPTION 'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;",
                    hash="848b93753096822eb4e91f0ee9d7b8fa16849f6d",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_append_only_24aa0",
                    table="compliance_legalholdevent",
                    when="BEFORE",
                ),
            ),
        ),
        migrations.AddConstraint(
            model_name="previewseen",
            constraint=models.UniqueConstraint(
                fields=("run", "person"), name="preview_seen_once_a_person"
            ),
        ),
        migrations.AddConstraint(
            model_name="retentionperiod",
            constraint=models.UniqueConstraint(
                fields=("company", "kind"), name="retention_once_a_kind"
            ),
        ),
        migrations.AddConstraint(
            model_name="retentionperiod",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("kind", "contact"), ("months__range", (1, 72))),
                    models.Q(("kind", "signatures"), ("months__range", (72, 180))),
                    models.Q(("kind", "photos"), ("months__range", (72, 300))),
                    _connector="OR",
                ),
                name="retention_within_its_limits",
                violation_error_message="months: it is kept no shorter and no longer than the limits say.",
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="retentionperiod",
            trigger=pgtrigger.compiler.Trigger(
                name="retention_is_kept",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="RAISE EXCEPTION 'pgtrigger: Cannot delete rows from % table', TG_TABLE_NAME;",
                    hash="f7a8c3169dcadc945b877d0957ab41a522b4b58a",
                    operation="DELETE",
                    pgid="pgtrigger_retention_is_kept_91812",
                    table="compliance_retentionperiod",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="retentionperiod",
            trigger=pgtrigger.compiler.Trigger(
                name="insert_insert",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func='INSERT INTO "compliance_retentionperiodevent" ("company_id", "id", "kind", "months", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "set_at", "set_by_id") VALUES (NEW."company_id", NEW."id", NEW."kind", NEW."months", _pgh_attach_context(), NOW(), \'insert\', NEW."id", NEW."set_at", NEW."set_by_id"); RETURN NULL;',
                    hash="c3c0fdf0472a484f669e1cd84b3827e65229ec18",
                    operation="INSERT",
                    pgid="pgtrigger_insert_insert_c8941",
                    table="compliance_retentionperiod",
                    when="AFTER",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="retentionperiod",
            trigger=pgtrigger.compiler.Trigger(
                name="update_update",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    condition="WHEN (OLD.* IS DISTINCT FROM NEW.*)",
                    func='INSERT INTO "compliance_retentionperiodevent" ("company_id", "id", "kind", "months", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "set_at", "set_by_id") VALUES (NEW."company_id", NEW."id", NEW."kind", NEW."months", _pgh_attach_context(), NOW(), \'update\', NEW."id", NEW."set_at", NEW."set_by_id"); RETURN NULL;',
                    hash="8ef4530b613600bd1f3aaec0a2de755153695ccc",
                    operation="UPDATE",
                    pgid="pgtrigger_update_update_37d8e",
                    table="compliance_retentionperiod",
                    when="AFTER",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="retentionperiodevent",
            trigger=pgtrigger.compiler.Trigger(
                name="append_only",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="RAISE EXCEPTION 'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;",
                    hash="ba5bff1c63fac9ab3950945de31b083039599706",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_append_only_f1464",
                    table="compliance_retentionperiodevent",
                    when="BEFORE",
                ),
            ),
        ),
        migrations.RunSQL(
            """
            CREATE OR REPLACE FUNCTION jobs_may_erase(of_table text, row_id bigint)
            RETURNS boolean LANGUAGE sql STABLE AS $$
                SELECT EXISTS (
                    SELECT 1 FROM compliance_erasure e
                    WHERE e.items @> jsonb_build_object(
                        of_table, jsonb_build_object(row_id::text, '[]'::jsonb)))
            $$
            """,
            """
            CREATE OR REPLACE FUNCTION jobs_may_erase(of_table text, row_id bigint)
            RETURNS boolean LANGUAGE sql STABLE AS $$ SELECT false $$
            """,
        ),
        migrations.RunSQL(
            "CREATE INDEX erasure_items ON compliance_erasure USING gin (items jsonb_path_ops)",
            "DROP INDEX erasure_items",
        ),
        migrations.RunSQL(
            "CREATE TRIGGER enter_the_ledger AFTER INSERT ON compliance_erasure "
            "FOR EACH ROW EXECUTE FUNCTION compliance_record_fact(); "
            "CREATE TRIGGER never_emptied BEFORE TRUNCATE ON compliance_erasure "
            "FOR EACH STATEMENT EXECUTE FUNCTION compliance_refuse_truncate(); "
            "CREATE TRIGGER never_emptied BEFORE TRUNCATE ON compliance_shortfall "
            "FOR EACH STATEMENT EXECUTE FUNCTION compliance_refuse_truncate()",
            "DROP TRIGGER enter_the_ledger ON compliance_erasure; "
            "DROP TRIGGER never_emptied ON compliance_erasure; "
            "DROP TRIGGER never_emptied ON compliance_shortfall",
        ),
    ]
