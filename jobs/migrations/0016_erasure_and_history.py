"""Erased rows keep their place, with marks; edits of crews, vans, people and schemes have a history.

`jobs_may_erase` says no until somebody who records erasures replaces it.
"""

from __future__ import annotations

import django.contrib.postgres.fields
import django.core.validators
import django.db.models.deletion
import django.utils.timezone
import pgtrigger.compiler
import pgtrigger.migrations
from django.conf import settings
from django.db import migrations, models

import jobs.models.crews


class Migration(migrations.Migration):
    dependencies = [
        ("jobs", "0015_plan_runs_keep_wishes"),
        ("pghistory", "0007_auto_20250421_0444"),
    ]

    operations = [
        migrations.RunSQL(
            """
            CREATE FUNCTION jobs_may_erase(of_table text, row_id bigint) RETURNS boolean
            LANGUAGE sql STABLE AS $$ SELECT false $$
            """,
            "DROP FUNCTION jobs_may_erase(text, bigint)",
        ),
        migrations.CreateModel(
            name="CompanyEvent",
            fields=[
                ("pgh_id", models.AutoField(primary_key=True, serialize=False)),
                ("pgh_created_at", models.DateTimeField(auto_now_add=True)),
                ("pgh_label", models.TextField(help_text="The event label.")),
                ("id", models.BigIntegerField()),
                ("name", models.CharField(max_length=120)),
                ("slug", models.SlugField(db_index=False, max_length=60)),
                (
                    "is_invented",
                    models.BooleanField(
                        default=False,
                        help_text="True for demo companies, which every page says are invented.",
                    ),
                ),
                ("created_at", models.DateTimeField(auto_now_add=True)),
                ("version", models.PositiveIntegerField(default=1)),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="CrewEvent",
            fields=[
                ("pgh_id", models.AutoField(primary_key=True, serialize=False)),
                ("pgh_created_at", models.DateTimeField(auto_now_add=True)),
                ("pgh_label", models.TextField(help_text="The event label.")),
                ("id", models.BigIntegerField()),
                ("name", models.CharField(max_length=60)),
                ("base_postcode", models.CharField(blank=True, max_length=8)),
                (
                    "base_latitude_deg",
                    models.FloatField(
                        blank=True,
                        null=True,
                        validators=[
                            django.core.validators.MinValueValidator(49.0),
                            django.core.validators.MaxValueValidator(61.0),
                        ],
                    ),
                ),
                (
                    "base_longitude_deg",
                    models.FloatField(
                        blank=True,
                        null=True,
                        validators=[
                            django.core.validators.MinValueValidator(-8.7),
                            django.core.validators.MaxValueValidator(2.0),
                        ],
                    ),
                ),
                ("day_starts_at", models.TimeField(default="08:00")),
                ("day_ends_at", models.TimeField(default="16:30")),
                (
                    "works_on",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.PositiveSmallIntegerField(
                            choices=[
                                (1, "Mon"),
                                (2, "Tue"),
                                (3, "Wed"),
                                (4, "Thu"),
                                (5, "Fri"),
                                (6, "Sat"),
                                (7, "Sun"),
                            ]
                        ),
                        default=jobs.models.crews.monday_to_friday,
                        help_text="Days of the week, Monday is 1 (ISO 8601).",
                        size=None,
                    ),
                ),
                (
                    "nation",
                    models.CharField(
                        choices=[
                            ("england", "England"),
                            ("wales", "Wales"),
                            ("scotland", "Scotland"),
                            ("northern_ireland", "Northern Ireland"),
                        ],
                        default="england",
                        help_text="Whose bank holidays the crew has.",
                        max_length=20,
                    ),
                ),
                (
                    "break_minutes",
                    models.PositiveSmallIntegerField(
                        default=30,
                        help_text="Length of the break; 0 for none.",
                        validators=[django.core.validators.MaxValueValidator(180)],
                    ),
                ),
                ("break_earliest", models.TimeField(default="11:30")),
                (
                    "break_latest",
                    models.TimeField(
                        default="14:00", help_text="By when the break must have begun."
                    ),
                ),
                (
                    "overtime_minutes",
                    models.PositiveSmallIntegerField(
                        default=0,
                        help_text="How much longer than its day the crew may be planned.",
                        validators=[django.core.validators.MaxValueValidator(300)],
                    ),
                ),
                ("is_active", models.BooleanField(default=True)),
                ("version", models.PositiveIntegerField(default=1)),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="OperativeEvent",
            fields=[
                ("pgh_id", models.AutoField(primary_key=True, serialize=False)),
                ("pgh_created_at", models.DateTimeField(auto_now_add=True)),
                ("pgh_label", models.TextField(help_text="The event label.")),
                ("id", models.BigIntegerField()),
                ("name", models.CharField(max_length=80)),
                (
                    "card_reference",
                    models.CharField(
                        blank=True,
                        help_text="Certification reference a scheme asks for.",
                        max_length=40,
                    ),
                ),
                (
                    "skills",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.CharField(
                            choices=[
                                ("insulation", "Loft insulation"),
                                ("surveying", "Surveying"),
                                ("asbestos_awareness", "Asbestos awareness"),
                                ("electrical", "Electrical (competent person)"),
                                ("raised_deck", "Working with a raised deck"),
                            ],
                            max_length=24,
                        ),
                        blank=True,
                        default=list,
                        size=None,
                    ),
                ),
                ("leads_crew", models.BooleanField(default=False)),
                ("version", models.PositiveIntegerField(default=1)),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="SchemeEvent",
            fields=[
                ("pgh_id", models.AutoField(primary_key=True, serialize=False)),
                ("pgh_created_at", models.DateTimeField(auto_now_add=True)),
                ("pgh_label", models.TextField(help_text="The event label.")),
                ("id", models.BigIntegerField()),
                ("name", models.CharField(max_length=120)),
                ("code", models.SlugField(db_index=False, max_length=20)),
                ("starts_on", models.DateField()),
                ("ends_on", models.DateField(blank=True, null=True)),
                (
                    "remedy_weeks",
                    models.PositiveSmallIntegerField(
                        default=8, help_text="Weeks a company has to put a shortfall right."
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1)),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="UserEvent",
            fields=[
                ("pgh_id", models.AutoField(primary_key=True, serialize=False)),
                ("pgh_created_at", models.DateTimeField(auto_now_add=True)),
                ("pgh_label", models.TextField(help_text="The event label.")),
                ("id", models.BigIntegerField()),
                (
                    "is_superuser",
                    models.BooleanField(
                        default=False,
                        help_text="Designates that this user has all permissions without explicitly assigning them.",
                        verbose_name="superuser status",
                    ),
                ),
                (
                    "first_name",
                    models.CharField(blank=True, max_length=150, verbose_name="first name"),
                ),
                (
                    "last_name",
                    models.CharField(blank=True, max_length=150, verbose_name="last name"),
                ),
                (
                    "is_staff",
                    models.BooleanField(
                        default=False,
                        help_text="Designates whether the user can log into this admin site.",
                        verbose_name="staff status",
                    ),
                ),
                (
                    "is_active",
                    models.BooleanField(
                        default=True,
                        help_text="Designates whether this user should be treated as active. Unselect this instead of deleting accounts.",
                        verbose_name="active",
                    ),
                ),
                (
                    "date_joined",
                    models.DateTimeField(
                        default=django.utils.timezone.now, verbose_name="date joined"
                    ),
                ),
                ("email", models.EmailField(max_length=254, verbose_name="e-mail address")),
                (
                    "role",
                    models.CharField(
                        choices=[
                            ("planner", "Planner"),
                            ("surveyor", "Surveyor"),
                            ("installer", "Installer"),
                            ("compliance_officer", "Compliance officer"),
                            ("auditor", "Scheme auditor"),
                            ("platform_admin", "Platform admin"),
                        ],
                        max_length=20,
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1)),
                (
                    "times_closed",
                    models.PositiveIntegerField(
                        default=0,
                        help_text="Sessions from before the last closing stay ended when it reopens.",
                    ),
                ),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="VanEvent",
            fields=[
                ("pgh_id", models.AutoField(primary_key=True, serialize=False)),
                ("pgh_created_at", models.DateTimeField(auto_now_add=True)),
                ("pgh_label", models.TextField(help_text="The event label.")),
                ("id", models.BigIntegerField()),
                ("name", models.CharField(max_length=40)),
                (
                    "load_volume_m3",
                    models.FloatField(validators=[django.core.validators.MinValueValidator(0.5)]),
                ),
                ("version", models.PositiveIntegerField(default=1)),
            ],
            options={
                "abstract": False,
            },
        ),
        pgtrigger.migrations.RemoveTrigger(
            model_name="arrival",
            name="arrival_is_kept",
        ),
        pgtrigger.migrations.RemoveTrigger(
            model_name="handover",
            name="handover_is_kept",
        ),
        pgtrigger.migrations.RemoveTrigger(
            model_name="leave",
            name="leave_is_kept",
        ),
        pgtrigger.migrations.RemoveTrigger(
            model_name="propertyevent",
            name="append_only",
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="arrival",
            trigger=pgtrigger.compiler.Trigger(
                name="arrival_is_kept",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="\n                IF TG_OP = 'UPDATE' THEN\n                    IF to_jsonb(NEW) - ARRAY['let_in_by', 'latitude_deg', 'longitude_deg', 'salt', 'corrected_at'] = to_jsonb(OLD) - ARRAY['let_in_by', 'latitude_deg', 'longitude_deg', 'salt', 'corrected_at']\n                        AND NEW.let_in_by IS NOT DISTINCT FROM '[erased]' AND NEW.latitude_deg IS NOT DISTINCT FROM NULL AND NEW.longitude_deg IS NOT DISTINCT FROM NULL AND NEW.salt IS NOT DISTINCT FROM '00000000-0000-0000-0000-000000000000' AND jobs_may_erase(TG_TABLE_NAME, OLD.id)\n                    THEN RETURN NEW; END IF;\n                END IF;\n                RAISE EXCEPTION\n                    'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;\n            ",
                    hash="ecb65b3dc073beb532acbb9d61df5063272a8abb",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_arrival_is_kept_4bb91",
                    table="jobs_arrival",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="company",
            trigger=pgtrigger.compiler.Trigger(
                name="insert_insert",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func='INSERT INTO "jobs_companyevent" ("created_at", "id", "is_invented", "name", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "slug", "version") VALUES (NEW."created_at", NEW."id", NEW."is_invented", NEW."name", _pgh_attach_context(), NOW(), \'insert\', NEW."id", NEW."slug", NEW."version"); RETURN NULL;',
                    hash="663e6846e6fb4d6ac3d8399d83122f8b2880090b",
                    operation="INSERT",
                    pgid="pgtrigger_insert_insert_9ff11",
                    table="jobs_company",
                    when="AFTER",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="company",
            trigger=pgtrigger.compiler.Trigger(
                name="update_update",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    condition="WHEN (OLD.* IS DISTINCT FROM NEW.*)",
                    func='INSERT INTO "jobs_companyevent" ("created_at", "id", "is_invented", "name", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "slug", "version") VALUES (NEW."created_at", NEW."id", NEW."is_invented", NEW."name", _pgh_attach_context(), NOW(), \'update\', NEW."id", NEW."slug", NEW."version"); RETURN NULL;',
                    hash="da6b789d1bbc41d8d331d6149645457ce9b7a054",
                    operation="UPDATE",
                    pgid="pgtrigger_update_update_36b01",
                    table="jobs_company",
                    when="AFTER",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="crew",
            trigger=pgtrigger.compiler.Trigger(
                name="insert_insert",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func='INSERT INTO "jobs_crewevent" ("base_latitude_deg", "base_longitude_deg", "base_postcode", "break_earliest", "break_latest", "break_minutes", "company_id", "day_ends_at", "day_starts_at", "depot_id", "id", "is_active", "name", "nation", "overtime_minutes", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "van_id", "version", "works_on") VALUES (NEW."base_latitude_deg", NEW."base_longitude_deg", NEW."base_postcode", NEW."break_earliest", NEW."break_latest", NEW."break_minutes", NEW."company_id", NEW."day_ends_at", NEW."day_starts_at", NEW."depot_id", NEW."id", NEW."is_active", NEW."name", NEW."nation", NEW."overtime_minutes", _pgh_attach_context(), NOW(), \'insert\', NEW."id", NEW."van_id", NEW."version", NEW."works_on"); RETURN NULL;',
                    hash="4ce20ee225f12d3e51e847fcf5c7cfa42dd167db",
                    operation="INSERT",
                    pgid="pgtrigger_insert_insert_5360b",
                    table="jobs_crew",
                    when="AFTER",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="crew",
            trigger=pgtrigger.compiler.Trigger(
                name="update_update",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    condition="WHEN (OLD.* IS DISTINCT FROM NEW.*)",
                    func='INSERT INTO "jobs_crewevent" ("base_latitude_deg", "base_longitude_deg", "base_postcode", "break_earliest", "break_latest", "break_minutes", "company_id", "day_ends_at", "day_starts_at", "depot_id", "id", "is_active", "name", "nation", "overtime_minutes", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "van_id", "version", "works_on") VALUES (NEW."base_latitude_deg", NEW."base_longitude_deg", NEW."base_postcode", NEW."break_earliest", NEW."break_latest", NEW."break_minutes", NEW."company_id", NEW."day_ends_at", NEW."day_starts_at", NEW."depot_id", NEW."id", NEW."is_active", NEW."name", NEW."nation", NEW."overtime_minutes", _pgh_attach_context(), NOW(), \'update\', NEW."id", NEW."van_id", NEW."version", NEW."works_on"); RETURN NULL;',
                    hash="33f777810bbfa6e82a00f3b3135f785e0d9cefda",
                    operation="UPDATE",
                    pgid="pgtrigger_update_update_7ff04",
                    table="jobs_crew",
                    when="AFTER",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="handover",
            trigger=pgtrigger.compiler.Trigger(
                name="handover_is_kept",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="\n                IF TG_OP = 'UPDATE' THEN\n                    IF to_jsonb(NEW) - ARRAY['signed_name', 'signature_svg', 'salt', 'corrected_at'] = to_jsonb(OLD) - ARRAY['signed_name', 'signature_svg', 'salt', 'corrected_at']\n                        AND NEW.signed_name IS NOT DISTINCT FROM '[erased]' AND NEW.signature_svg IS NOT DISTINCT FROM '' AND NEW.salt IS NOT DISTINCT FROM '00000000-0000-0000-0000-000000000000' AND jobs_may_erase(TG_TABLE_NAME, OLD.id)\n                    THEN RETURN NEW; END IF;\n                END IF;\n                RAISE EXCEPTION\n                    'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;\n            ",
                    hash="ae564c7486eaba104aaafd541f6ccdb01c5a3d4c",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_handover_is_kept_f3a55",
                    table="jobs_handover",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="leave",
            trigger=pgtrigger.compiler.Trigger(
                name="leave_is_kept",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="\n                IF TG_OP = 'UPDATE' THEN\n                    IF to_jsonb(NEW) - ARRAY['latitude_deg', 'longitude_deg', 'salt', 'corrected_at'] = to_jsonb(OLD) - ARRAY['latitude_deg', 'longitude_deg', 'salt', 'corrected_at']\n                        AND NEW.latitude_deg IS NOT DISTINCT FROM NULL AND NEW.longitude_deg IS NOT DISTINCT FROM NULL AND NEW.salt IS NOT DISTINCT FROM '00000000-0000-0000-0000-000000000000' AND jobs_may_erase(TG_TABLE_NAME, OLD.id)\n                    THEN RETURN NEW; END IF;\n                END IF;\n                RAISE EXCEPTION\n                    'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;\n            ",
                    hash="512ebb4d44a653107d33edc8fbf1d44c410b5b8b",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_leave_is_kept_8d281",
                    table="jobs_leave",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="operative",
            trigger=pgtrigger.compiler.Trigger(
                name="insert_insert",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func='INSERT INTO "jobs_operativeevent" ("card_reference", "company_id", "crew_id", "id", "leads_crew", "name", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "skills", "user_id", "version") VALUES (NEW."card_reference", NEW."company_id", NEW."crew_id", NEW."id", NEW."leads_crew", NEW."name", _pgh_attach_context(), NOW(), \'insert\', NEW."id", NEW."skills", NEW."user_id", NEW."version"); RETURN NULL;',
                    hash="967c93c92ca0f240faa73441dda8a9f033a5b2e9",
                    operation="INSERT",
                    pgid="pgtrigger_insert_insert_53e75",
                    table="jobs_operative",
                    when="AFTER",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="operative",
            trigger=pgtrigger.compiler.Trigger(
                name="update_update",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    condition="WHEN (OLD.* IS DISTINCT FROM NEW.*)",
                    func='INSERT INTO "jobs_operativeevent" ("card_reference", "company_id", "crew_id", "id", "leads_crew", "name", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "skills", "user_id", "version") VALUES (NEW."card_reference", NEW."company_id", NEW."crew_id", NEW."id", NEW."leads_crew", NEW."name", _pgh_attach_context(), NOW(), \'update\', NEW."id", NEW."skills", NEW."user_id", NEW."version"); RETURN NULL;',
                    hash="a58aa0ec0e388d43956b8f54c6ff222b5729427f",
                    operation="UPDATE",
                    pgid="pgtrigger_update_update_a9c81",
                    table="jobs_operative",
                    when="AFTER",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="propertyevent",
            trigger=pgtrigger.compiler.Trigger(
                name="home_history_is_kept",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="\n                IF TG_OP = 'UPDATE' THEN\n                    IF to_jsonb(NEW) - ARRAY['householder_name', 'householder_phone', 'householder_email', 'access_notes', 'corrected_at'] = to_jsonb(OLD) - ARRAY['householder_name', 'householder_phone', 'householder_email', 'access_notes', 'corrected_at']\n                        AND NEW.householder_name IS NOT DISTINCT FROM '' AND NEW.householder_phone IS NOT DISTINCT FROM '' AND NEW.householder_email IS NOT DISTINCT FROM '' AND NEW.access_notes IS NOT DISTINCT FROM '' AND jobs_may_erase('jobs_property', OLD.pgh_obj_id)\n                    THEN RETURN NEW; END IF;\n                END IF;\n                RAISE EXCEPTION\n                    'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;\n            ",
                    hash="d521e55cfef1eef66d3ca907730266ea7a58fb56",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_home_history_is_kept_54b5f",
                    table="jobs_propertyevent",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="scheme",
            trigger=pgtrigger.compiler.Trigger(
                name="insert_insert",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func='INSERT INTO "jobs_schemeevent" ("code", "ends_on", "id", "name", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "remedy_weeks", "starts_on", "version") VALUES (NEW."code", NEW."ends_on", NEW."id", NEW."name", _pgh_attach_context(), NOW(), \'insert\', NEW."id", NEW."remedy_weeks", NEW."starts_on", NEW."version"); RETURN NULL;',
                    hash="1b3b4d39e5d259175c5bca66d2ceeae71f66bfa7",
                    operation="INSERT",
                    pgid="pgtrigger_insert_insert_6012d",
                    table="jobs_scheme",
                    when="AFTER",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="scheme",
            trigger=pgtrigger.compiler.Trigger(
                name="update_update",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    condition="WHEN (OLD.* IS DISTINCT FROM NEW.*)",
                    func='INSERT INTO "jobs_schemeevent" ("code", "ends_on", "id", "name", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "remedy_weeks", "starts_on", "version") VALUES (NEW."code", NEW."ends_on", NEW."id", NEW."name", _pgh_attach_context(), NOW(), \'update\', NEW."id", NEW."remedy_weeks", NEW."starts_on", NEW."version"); RETURN NULL;',
                    hash="0383934ffeca02ffa59eae73d74d1331384cbdf0",
                    operation="UPDATE",
                    pgid="pgtrigger_update_update_0d980",
                    table="jobs_scheme",
                    when="AFTER",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="user",
            trigger=pgtrigger.compiler.Trigger(
                name="insert_insert",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func='INSERT INTO "jobs_userevent" ("company_id", "date_joined", "email", "first_name", "id", "is_active", "is_staff", "is_superuser", "last_name", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "role", "scheme_id", "times_closed", "version") VALUES (NEW."company_id", NEW."date_joined", NEW."email", NEW."first_name", NEW."id", NEW."is_active", NEW."is_staff", NEW."is_superuser", NEW."last_name", _pgh_attach_context(), NOW(), \'insert\', NEW."id", NEW."role", NEW."scheme_id", NEW."times_closed", NEW."version"); RETURN NULL;',
                    hash="f57dcda944edc3be104987a4adaaee0db60dc2e9",
                    operation="INSERT",
                    pgid="pgtrigger_insert_insert_df563",
                    table="jobs_user",
                    when="AFTER",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="user",
            trigger=pgtrigger.compiler.Trigger(
                name="update_update",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    condition='WHEN (OLD."company_id" IS DISTINCT FROM (NEW."company_id") OR OLD."date_joined" IS DISTINCT FROM (NEW."date_joined") OR OLD."email" IS DISTINCT FROM (NEW."email") OR OLD."first_name" IS DISTINCT FROM (NEW."first_name") OR OLD."id" IS DISTINCT FROM (NEW."id") OR OLD."is_active" IS DISTINCT FROM (NEW."is_active") OR OLD."is_staff" IS DISTINCT FROM (NEW."is_staff") OR OLD."is_superuser" IS DISTINCT FROM (NEW."is_superuser") OR OLD."last_name" IS DISTINCT FROM (NEW."last_name") OR OLD."role" IS DISTINCT FROM (NEW."role") OR OLD."scheme_id" IS DISTINCT FROM (NEW."scheme_id") OR OLD."times_closed" IS DISTINCT FROM (NEW."times_closed") OR OLD."version" IS DISTINCT FROM (NEW."version"))',
                    func='INSERT INTO "jobs_userevent" ("company_id", "date_joined", "email", "first_name", "id", "is_active", "is_staff", "is_superuser", "last_name", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "role", "scheme_id", "times_closed", "version") VALUES (NEW."company_id", NEW."date_joined", NEW."email", NEW."first_name", NEW."id", NEW."is_active", NEW."is_staff", NEW."is_superuser", NEW."last_name", _pgh_attach_context(), NOW(), \'update\', NEW."id", NEW."role", NEW."scheme_id", NEW."times_closed", NEW."version"); RETURN NULL;',
                    hash="d3f27b7e158fb15be4673f189c79acaef8513c0f",
                    operation="UPDATE",
                    pgid="pgtrigger_update_update_7aa86",
                    table="jobs_user",
                    when="AFTER",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="van",
            trigger=pgtrigger.compiler.Trigger(
                name="insert_insert",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func='INSERT INTO "jobs_vanevent" ("company_id", "id", "load_volume_m3", "name", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "version") VALUES (NEW."company_id", NEW."id", NEW."load_volume_m3", NEW."name", _pgh_attach_context(), NOW(), \'insert\', NEW."id", NEW."version"); RETURN NULL;',
                    hash="c4c3aec5dc9ea8e29a52f806b95fdeeb6424d1da",
                    operation="INSERT",
                    pgid="pgtrigger_insert_insert_f9819",
                    table="jobs_van",
                    when="AFTER",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="van",
            trigger=pgtrigger.compiler.Trigger(
                name="update_update",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    condition="WHEN (OLD.* IS DISTINCT FROM NEW.*)",
                    func='INSERT INTO "jobs_vanevent" ("company_id", "id", "load_volume_m3", "name", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "version") VALUES (NEW."company_id", NEW."id", NEW."load_volume_m3", NEW."name", _pgh_attach_context(), NOW(), \'update\', NEW."id", NEW."version"); RETURN NULL;',
                    hash="07e5b8dc91dcded2302a984f7c8246ad8ddba5de",
                    operation="UPDATE",
                    pgid="pgtrigger_update_update_aa53d",
                    table="jobs_van",
                    when="AFTER",
                ),
            ),
        ),
        migrations.AddField(
            model_name="companyevent",
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
            model_name="companyevent",
            name="pgh_obj",
            field=models.ForeignKey(
                db_constraint=False,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="events",
                to="jobs.company",
            ),
        ),
        migrations.AddField(
            model_name="crewevent",
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
            model_name="crewevent",
            name="depot",
            field=models.ForeignKey(
                blank=True,
                db_constraint=False,
                help_text="Where its van is loaded.",
                null=True,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="+",
                related_query_name="+",
                to="jobs.depot",
            ),
        ),
        migrations.AddField(
            model_name="crewevent",
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
            model_name="crewevent",
            name="pgh_obj",
            field=models.ForeignKey(
                db_constraint=False,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="events",
                to="jobs.crew",
            ),
        ),
        migrations.AddField(
            model_name="crewevent",
            name="van",
            field=models.ForeignKey(
                blank=True,
                db_constraint=False,
                null=True,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="+",
                related_query_name="+",
                to="jobs.van",
            ),
        ),
        migrations.AddField(
            model_name="operativeevent",
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
            model_name="operativeevent",
            name="crew",
            field=models.ForeignKey(
                blank=True,
                db_constraint=False,
                null=True,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="+",
                related_query_name="+",
                to="jobs.crew",
            ),
        ),
        migrations.AddField(
            model_name="operativeevent",
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
            model_name="operativeevent",
            name="pgh_obj",
            field=models.ForeignKey(
                db_constraint=False,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="events",
                to="jobs.operative",
            ),
        ),
        migrations.AddField(
            model_name="operativeevent",
            name="user",
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
            model_name="schemeevent",
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
            model_name="schemeevent",
            name="pgh_obj",
            field=models.ForeignKey(
                db_constraint=False,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="events",
                to="jobs.scheme",
            ),
        ),
        migrations.AddField(
            model_name="userevent",
            name="company",
            field=models.ForeignKey(
                blank=True,
                db_constraint=False,
                null=True,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="+",
                related_query_name="+",
                to="jobs.company",
            ),
        ),
        migrations.AddField(
            model_name="userevent",
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
            model_name="userevent",
            name="pgh_obj",
            field=models.ForeignKey(
                db_constraint=False,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="events",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="userevent",
            name="scheme",
            field=models.ForeignKey(
                blank=True,
                db_constraint=False,
                null=True,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="+",
                related_query_name="+",
                to="jobs.scheme",
            ),
        ),
        migrations.AddField(
            model_name="vanevent",
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
            model_name="vanevent",
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
            model_name="vanevent",
            name="pgh_obj",
            field=models.ForeignKey(
                db_constraint=False,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="events",
                to="jobs.van",
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="companyevent",
            trigger=pgtrigger.compiler.Trigger(
                name="append_only",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="RAISE EXCEPTION 'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;",
                    hash="fe699fd2234f0a59796d44037887df2f55984a01",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_append_only_b623b",
                    table="jobs_companyevent",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="crewevent",
            trigger=pgtrigger.compiler.Trigger(
                name="append_only",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="RAISE EXCEPTION 'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;",
                    hash="58927c1782dcf2646e1e292863a540038a39909f",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_append_only_ef50f",
                    table="jobs_crewevent",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="operativeevent",
            trigger=pgtrigger.compiler.Trigger(
                name="append_only",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="RAISE EXCEPTION 'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;",
                    hash="f5ed7022a9212d3e319d88dcbd7cae68589c5f40",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_append_only_09787",
                    table="jobs_operativeevent",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="schemeevent",
            trigger=pgtrigger.compiler.Trigger(
                name="append_only",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="RAISE EXCEPTION 'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;",
                    hash="e86b6bdf75a98ed9de51ba2ac7118538c50a554b",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_append_only_04187",
                    table="jobs_schemeevent",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="userevent",
            trigger=pgtrigger.compiler.Trigger(
                name="append_only",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="RAISE EXCEPTION 'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;",
                    hash="6a775846124f7a288df0a181842c5f1b58d69a81",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_append_only_ade6e",
                    table="jobs_userevent",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="vanevent",
            trigger=pgtrigger.compiler.Trigger(
                name="append_only",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="RAISE EXCEPTION 'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;",
                    hash="afaa88f36e5ab685d6190befbd0fb584ad95346b",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_append_only_c2167",
                    table="jobs_vanevent",
                    when="BEFORE",
                ),
            ),
        ),
    ]
