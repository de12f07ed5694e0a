"""Depots, their hours, stock orders, who works under a scheme, who goes on a visit: with history."""

from __future__ import annotations

import uuid

import django.core.validators
import django.db.models.deletion
import django.utils.timezone
import pgtrigger.compiler
import pgtrigger.migrations
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("jobs", "0019_notes_are_erasable"),
        ("pghistory", "0007_auto_20250421_0444"),
    ]

    operations = [
        migrations.CreateModel(
            name="BarredCrewEvent",
            fields=[
                ("pgh_id", models.AutoField(primary_key=True, serialize=False)),
                ("pgh_created_at", models.DateTimeField(auto_now_add=True)),
                ("pgh_label", models.TextField(help_text="The event label.")),
                ("id", models.BigIntegerField()),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="DepotEvent",
            fields=[
                ("pgh_id", models.AutoField(primary_key=True, serialize=False)),
                ("pgh_created_at", models.DateTimeField(auto_now_add=True)),
                ("pgh_label", models.TextField(help_text="The event label.")),
                ("id", models.BigIntegerField()),
                ("name", models.CharField(max_length=60)),
                ("address", models.CharField(blank=True, max_length=200)),
                ("postcode", models.CharField(blank=True, max_length=8)),
                (
                    "nation",
                    models.CharField(
                        choices=[
                            ("england", "England"),
                            ("wales", "Wales"),
                            ("scotland", "Scotland"),
                            ("northern_ireland", "Northern Ireland"),
                        ],
                        max_length=20,
                    ),
                ),
                (
                    "latitude_deg",
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
                    "longitude_deg",
                    models.FloatField(
                        blank=True,
                        null=True,
                        validators=[
                            django.core.validators.MinValueValidator(-8.7),
                            django.core.validators.MaxValueValidator(2.0),
                        ],
                    ),
                ),
                (
                    "reload_minutes",
                    models.PositiveSmallIntegerField(
                        default=25,
                        help_text="How long loading a van takes. 25 min is common practice, no published source.",
                        validators=[django.core.validators.MaxValueValidator(240)],
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
            name="DepotHoursEvent",
            fields=[
                ("pgh_id", models.AutoField(primary_key=True, serialize=False)),
                ("pgh_created_at", models.DateTimeField(auto_now_add=True)),
                ("pgh_label", models.TextField(help_text="The event label.")),
                ("id", models.BigIntegerField()),
                (
                    "weekday",
                    models.PositiveSmallIntegerField(
                        choices=[
                            (0, "Monday"),
                            (1, "Tuesday"),
                            (2, "Wednesday"),
                            (3, "Thursday"),
                            (4, "Friday"),
                            (5, "Saturday"),
                            (6, "Sunday"),
                        ]
                    ),
                ),
                ("opens_at", models.TimeField(default="07:00")),
                ("closes_at", models.TimeField(default="17:00")),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="SchemeCompanyEvent",
            fields=[
                ("pgh_id", models.AutoField(primary_key=True, serialize=False)),
                ("pgh_created_at", models.DateTimeField(auto_now_add=True)),
                ("pgh_label", models.TextField(help_text="The event label.")),
                ("id", models.BigIntegerField()),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="StockOrderEvent",
            fields=[
                ("pgh_id", models.AutoField(primary_key=True, serialize=False)),
                ("pgh_created_at", models.DateTimeField(auto_now_add=True)),
                ("pgh_label", models.TextField(help_text="The event label.")),
                ("id", models.BigIntegerField()),
                (
                    "quantity",
                    models.PositiveIntegerField(
                        validators=[django.core.validators.MinValueValidator(1)]
                    ),
                ),
                ("due_on", models.DateField()),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("open", "On order"),
                            ("arrived", "Arrived"),
                            ("cancelled", "Cancelled"),
                        ],
                        default="open",
                        max_length=10,
                    ),
                ),
                ("note", models.CharField(blank=True, max_length=120)),
                (
                    "ordered_at",
                    models.DateTimeField(default=django.utils.timezone.now, editable=False),
                ),
                (
                    "client_key",
                    models.UUIDField(
                        default=uuid.uuid4,
                        error_messages={"unique": "This order was stored already."},
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1)),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="VisitOperativeEvent",
            fields=[
                ("pgh_id", models.AutoField(primary_key=True, serialize=False)),
                ("pgh_created_at", models.DateTimeField(auto_now_add=True)),
                ("pgh_label", models.TextField(help_text="The event label.")),
                ("id", models.BigIntegerField()),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="BarredCrew",
            fields=[],
            options={
                "proxy": True,
                "indexes": [],
                "constraints": [],
            },
            bases=("jobs.visitneed_barred_crews",),
        ),
        migrations.CreateModel(
            name="SchemeCompany",
            fields=[],
            options={
                "proxy": True,
                "indexes": [],
                "constraints": [],
            },
            bases=("jobs.scheme_companies",),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="depot",
            trigger=pgtrigger.compiler.Trigger(
                name="insert_insert",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func='INSERT INTO "jobs_depotevent" ("address", "company_id", "id", "is_active", "latitude_deg", "longitude_deg", "name", "nation", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "postcode", "reload_minutes", "version") VALUES (NEW."address", NEW."company_id", NEW."id", NEW."is_active", NEW."latitude_deg", NEW."longitude_deg", NEW."name", NEW."nation", _pgh_attach_context(), NOW(), \'insert\', NEW."id", NEW."postcode", NEW."reload_minutes", NEW."version"); RETURN NULL;',
                    hash="8f9b5e3e3a1acc129f494c779d9eb364e6cf0c22",
                    operation="INSERT",
                    pgid="pgtrigger_insert_insert_38158",
                    table="jobs_depot",
                    when="AFTER",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="depot",
            trigger=pgtrigger.compiler.Trigger(
                name="update_update",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    condition="WHEN (OLD.* IS DISTINCT FROM NEW.*)",
                    func='INSERT INTO "jobs_depotevent" ("address", "company_id", "id", "is_active", "latitude_deg", "longitude_deg", "name", "nation", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "postcode", "reload_minutes", "version") VALUES (NEW."address", NEW."company_id", NEW."id", NEW."is_active", NEW."latitude_deg", NEW."longitude_deg", NEW."name", NEW."nation", _pgh_attach_context(), NOW(), \'update\', NEW."id", NEW."postcode", NEW."reload_minutes", NEW."version"); RETURN NULL;',
                    hash="9e02ed7bd91d1fe2b366b62a3f938307304d25a5",
                    operation="UPDATE",
                    pgid="pgtrigger_update_update_94539",
                    table="jobs_depot",
                    when="AFTER",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="depothours",
            trigger=pgtrigger.compiler.Trigger(
                name="insert_insert",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func='INSERT INTO "jobs_depothoursevent" ("closes_at", "depot_id", "id", "opens_at", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "weekday") VALUES (NEW."closes_at", NEW."depot_id", NEW."id", NEW."opens_at", _pgh_attach_context(), NOW(), \'insert\', NEW."id", NEW."weekday"); RETURN NULL;',
                    hash="5afe9feb29f0b57a11294f765b1e59ff08a183a5",
                    operation="INSERT",
                    pgid="pgtrigger_insert_insert_3cfcd",
                    table="jobs_depothours",
                    when="AFTER",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="depothours",
            trigger=pgtrigger.compiler.Trigger(
                name="update_update",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    condition="WHEN (OLD.* IS DISTINCT FROM NEW.*)",
                    func='INSERT INTO "jobs_depothoursevent" ("closes_at", "depot_id", "id", "opens_at", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "weekday") VALUES (NEW."closes_at", NEW."depot_id", NEW."id", NEW."opens_at", _pgh_attach_context(), NOW(), \'update\', NEW."id", NEW."weekday"); RETURN NULL;',
                    hash="91c3902fe0b4737785413a0745ed94638851bb41",
                    operation="UPDATE",
                    pgid="pgtrigger_update_update_788a7",
                    table="jobs_depothours",
                    when="AFTER",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="depothours",
            trigger=pgtrigger.compiler.Trigger(
                name="delete_delete",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func='INSERT INTO "jobs_depothoursevent" ("closes_at", "depot_id", "id", "opens_at", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "weekday") VALUES (OLD."closes_at", OLD."depot_id", OLD."id", OLD."opens_at", _pgh_attach_context(), NOW(), \'delete\', OLD."id", OLD."weekday"); RETURN NULL;',
                    hash="9e0927b97ae34892bdcf2ba8011fc849c8ece0f1",
                    operation="DELETE",
                    pgid="pgtrigger_delete_delete_748f0",
                    table="jobs_depothours",
                    when="AFTER",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="stockorder",
            trigger=pgtrigger.compiler.Trigger(
                name="insert_insert",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func='INSERT INTO "jobs_stockorderevent" ("client_key", "company_id", "depot_id", "due_on", "id", "item_id", "note", "ordered_at", "ordered_by_id", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "quantity", "state", "version") VALUES (NEW."client_key", NEW."company_id", NEW."depot_id", NEW."due_on", NEW."id", NEW."item_id", NEW."note", NEW."ordered_at", NEW."ordered_by_id", _pgh_attach_context(), NOW(), \'insert\', NEW."id", NEW."quantity", NEW."state", NEW."version"); RETURN NULL;',
                    hash="86bcea4feb74ac3574cfcf7ce6b8f7999ade50cc",
                    operation="INSERT",
                    pgid="pgtrigger_insert_insert_f4d66",
                    table="jobs_stockorder",
                    when="AFTER",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="stockorder",
            trigger=pgtrigger.compiler.Trigger(
                name="update_update",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    condition="WHEN (OLD.* IS DISTINCT FROM NEW.*)",
                    func='INSERT INTO "jobs_stockorderevent" ("client_key", "company_id", "depot_id", "due_on", "id", "item_id", "note", "ordered_at", "ordered_by_id", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "quantity", "state", "version") VALUES (NEW."client_key", NEW."company_id", NEW."depot_id", NEW."due_on", NEW."id", NEW."item_id", NEW."note", NEW."ordered_at", NEW."ordered_by_id", _pgh_attach_context(), NOW(), \'update\', NEW."id", NEW."quantity", NEW."state", NEW."version"); RETURN NULL;',
                    hash="b4b0a946adf00e951c9d1aaf60e1376a438eda7d",
                    operation="UPDATE",
                    pgid="pgtrigger_update_update_a6e73",
                    table="jobs_stockorder",
                    when="AFTER",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="visitoperative",
            trigger=pgtrigger.compiler.Trigger(
                name="insert_insert",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func='INSERT INTO "jobs_visitoperativeevent" ("id", "operative_id", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "visit_id") VALUES (NEW."id", NEW."operative_id", _pgh_attach_context(), NOW(), \'insert\', NEW."id", NEW."visit_id"); RETURN NULL;',
                    hash="53b19080f390a2a5ce3ae53e0b473148d5aee37e",
                    operation="INSERT",
                    pgid="pgtrigger_insert_insert_d477f",
                    table="jobs_visitoperative",
                    when="AFTER",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="visitoperative",
            trigger=pgtrigger.compiler.Trigger(
                name="delete_delete",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func='INSERT INTO "jobs_visitoperativeevent" ("id", "operative_id", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "visit_id") VALUES (OLD."id", OLD."operative_id", _pgh_attach_context(), NOW(), \'delete\', OLD."id", OLD."visit_id"); RETURN NULL;',
                    hash="977e87326f89d0919fbbba100859dc9d54581769",
                    operation="DELETE",
                    pgid="pgtrigger_delete_delete_ffde1",
                    table="jobs_visitoperative",
                    when="AFTER",
                ),
            ),
        ),
        migrations.AddField(
            model_name="barredcrewevent",
            name="crew",
            field=models.ForeignKey(
                db_constraint=False,
                db_tablespace="",
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="+",
                related_query_name="+",
                to="jobs.crew",
            ),
        ),
        migrations.AddField(
            model_name="barredcrewevent",
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
            model_name="barredcrewevent",
            name="visitneed",
            field=models.ForeignKey(
                db_constraint=False,
                db_tablespace="",
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="+",
                related_query_name="+",
                to="jobs.visitneed",
            ),
        ),
        migrations.AddField(
            model_name="depotevent",
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
            model_name="depotevent",
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
            model_name="depotevent",
            name="pgh_obj",
            field=models.ForeignKey(
                db_constraint=False,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="events",
                to="jobs.depot",
            ),
        ),
        migrations.AddField(
            model_name="depothoursevent",
            name="depot",
            field=models.ForeignKey(
                db_constraint=False,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="+",
                related_query_name="+",
                to="jobs.depot",
            ),
        ),
        migrations.AddField(
            model_name="depothoursevent",
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
            model_name="depothoursevent",
            name="pgh_obj",
            field=models.ForeignKey(
                db_constraint=False,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="events",
                to="jobs.depothours",
            ),
        ),
        migrations.AddField(
            model_name="schemecompanyevent",
            name="company",
            field=models.ForeignKey(
                db_constraint=False,
                db_tablespace="",
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="+",
                related_query_name="+",
                to="jobs.company",
            ),
        ),
        migrations.AddField(
            model_name="schemecompanyevent",
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
            model_name="schemecompanyevent",
            name="scheme",
            field=models.ForeignKey(
                db_constraint=False,
                db_tablespace="",
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="+",
                related_query_name="+",
                to="jobs.scheme",
            ),
        ),
        migrations.AddField(
            model_name="stockorderevent",
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
            model_name="stockorderevent",
            name="depot",
            field=models.ForeignKey(
                db_constraint=False,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="+",
                related_query_name="+",
                to="jobs.depot",
            ),
        ),
        migrations.AddField(
            model_name="stockorderevent",
            name="item",
            field=models.ForeignKey(
                db_constraint=False,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="+",
                related_query_name="+",
                to="jobs.stockitem",
            ),
        ),
        migrations.AddField(
            model_name="stockorderevent",
            name="ordered_by",
            field=models.ForeignKey(
                db_constraint=False,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="+",
                related_query_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="stockorderevent",
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
            model_name="stockorderevent",
            name="pgh_obj",
            field=models.ForeignKey(
                db_constraint=False,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="events",
                to="jobs.stockorder",
            ),
        ),
        migrations.AddField(
            model_name="visitoperativeevent",
            name="operative",
            field=models.ForeignKey(
                db_constraint=False,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="+",
                related_query_name="+",
                to="jobs.operative",
            ),
        ),
        migrations.AddField(
            model_name="visitoperativeevent",
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
            model_name="visitoperativeevent",
            name="pgh_obj",
            field=models.ForeignKey(
                db_constraint=False,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="events",
                to="jobs.visitoperative",
            ),
        ),
        migrations.AddField(
            model_name="visitoperativeevent",
            name="visit",
            field=models.ForeignKey(
                db_constraint=False,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="+",
                related_query_name="+",
                to="jobs.visit",
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="barredcrew",
            trigger=pgtrigger.compiler.Trigger(
                name="insert_insert",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func='INSERT INTO "jobs_barredcrewevent" ("crew_id", "id", "pgh_context_id", "pgh_created_at", "pgh_label", "visitneed_id") VALUES (NEW."crew_id", NEW."id", _pgh_attach_context(), NOW(), \'insert\', NEW."visitneed_id"); RETURN NULL;',
                    hash="32726857f7107faac08f1691dcc8c78ebd4836e1",
                    operation="INSERT",
                    pgid="pgtrigger_insert_insert_1ef43",
                    table="jobs_visitneed_barred_crews",
                    when="AFTER",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="barredcrew",
            trigger=pgtrigger.compiler.Trigger(
                name="delete_delete",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func='INSERT INTO "jobs_barredcrewevent" ("crew_id", "id", "pgh_context_id", "pgh_created_at", "pgh_label", "visitneed_id") VALUES (OLD."crew_id", OLD."id", _pgh_attach_context(), NOW(), \'delete\', OLD."visitneed_id"); RETURN NULL;',
                    hash="78c0a4844a24b0967c233d283687c8a54bad45bd",
                    operation="DELETE",
                    pgid="pgtrigger_delete_delete_d7604",
                    table="jobs_visitneed_barred_crews",
                    when="AFTER",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="schemecompany",
            trigger=pgtrigger.compiler.Trigger(
                name="insert_insert",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func='INSERT INTO "jobs_schemecompanyevent" ("company_id", "id", "pgh_context_id", "pgh_created_at", "pgh_label", "scheme_id") VALUES (NEW."company_id", NEW."id", _pgh_attach_context(), NOW(), \'insert\', NEW."scheme_id"); RETURN NULL;',
                    hash="59e90a588bccca9ae2c83a67d396653ecb85f950",
                    operation="INSERT",
                    pgid="pgtrigger_insert_insert_f534c",
                    table="jobs_scheme_companies",
                    when="AFTER",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="schemecompany",
            trigger=pgtrigger.compiler.Trigger(
                name="delete_delete",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func='INSERT INTO "jobs_schemecompanyevent" ("company_id", "id", "pgh_context_id", "pgh_created_at", "pgh_label", "scheme_id") VALUES (OLD."company_id", OLD."id", _pgh_attach_context(), NOW(), \'delete\', OLD."scheme_id"); RETURN NULL;',
                    hash="60436d87dba373813d3f8e71ba30d4280adcc1ed",
                    operation="DELETE",
                    pgid="pgtrigger_delete_delete_12b79",
                    table="jobs_scheme_companies",
                    when="AFTER",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="barredcrewevent",
            trigger=pgtrigger.compiler.Trigger(
                name="append_only",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="RAISE EXCEPTION 'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;",
                    hash="c6ff5ec5c27f05d856ad91fda8efbadc5bfae618",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_append_only_d42a0",
                    table="jobs_barredcrewevent",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="depotevent",
            trigger=pgtrigger.compiler.Trigger(
                name="append_only",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="RAISE EXCEPTION 'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;",
                    hash="144203e959dfb2c3c3d94b2f0471ed3783bb10de",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_append_only_83205",
                    table="jobs_depotevent",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="depothoursevent",
            trigger=pgtrigger.compiler.Trigger(
                name="append_only",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="RAISE EXCEPTION 'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;",
                    hash="83c50707f95c4c116ed7912bd182facf0f5572d0",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_append_only_5d032",
                    table="jobs_depothoursevent",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="schemecompanyevent",
            trigger=pgtrigger.compiler.Trigger(
                name="append_only",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="RAISE EXCEPTION 'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;",
                    hash="d6d8d2679a9fae3d4c55cecef919af5bff79644d",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_append_only_d684c",
                    table="jobs_schemecompanyevent",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="stockorderevent",
            trigger=pgtrigger.compiler.Trigger(
                name="append_only",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="RAISE EXCEPTION 'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;",
                    hash="da3939199581cb91a662e300102b6dbcad17c476",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_append_only_c9f36",
                    table="jobs_stockorderevent",
                    when="BEFORE",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="visitoperativeevent",
            trigger=pgtrigger.compiler.Trigger(
                name="append_only",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="RAISE EXCEPTION 'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;",
                    hash="4f84875e9cee674eced6be80323d06a5712a289f",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_append_only_e535c",
                    table="jobs_visitoperativeevent",
                    when="BEFORE",
                ),
            ),
        ),
    ]
