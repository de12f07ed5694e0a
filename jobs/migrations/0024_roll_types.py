"""The roll types a company lays, with their history."""

import django.contrib.postgres.fields
import django.core.validators
import django.db.models.deletion
import django.utils.timezone
import pgtrigger.compiler
import pgtrigger.migrations
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("jobs", "0023_step_notes_and_corrections_are_erasable"),
        ("pghistory", "0007_auto_20250421_0444"),
    ]

    operations = [
        migrations.CreateModel(
            name="CompanyRollType",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "code",
                    models.CharField(
                        max_length=20,
                        validators=[
                            django.core.validators.RegexValidator(
                                "^[A-Z0-9][A-Z0-9.-]{0,19}$",
                                "Give up to 20 capital letters, figures, dots and hyphens, such as W170.",
                            )
                        ],
                    ),
                ),
                ("name", models.CharField(max_length=80)),
                (
                    "thickness_mm",
                    models.FloatField(
                        help_text="Of the wool as it lies, once it has recovered.",
                        validators=[
                            django.core.validators.MinValueValidator(
                                20, "Give 20 to 400 mm: 17 cm is 170."
                            ),
                            django.core.validators.MaxValueValidator(
                                400, "Give 20 to 400 mm: 17 cm is 170."
                            ),
                        ],
                    ),
                ),
                (
                    "width_mm",
                    models.FloatField(
                        help_text="Of the whole roll.",
                        validators=[
                            django.core.validators.MinValueValidator(
                                200, "Give 200 to 3,000 mm: 1.14 m is 1140."
                            ),
                            django.core.validators.MaxValueValidator(
                                3000, "Give 200 to 3,000 mm: 1.14 m is 1140."
                            ),
                        ],
                    ),
                ),
                (
                    "length_mm",
                    models.FloatField(
                        help_text="Unrolled.",
                        validators=[
                            django.core.validators.MinValueValidator(
                                1000, "Give 1,000 to 30,000 mm: 5 m is 5000."
                            ),
                            django.core.validators.MaxValueValidator(
                                30000, "Give 1,000 to 30,000 mm: 5 m is 5000."
                            ),
                        ],
                    ),
                ),
                (
                    "conductivity_w_mk",
                    models.FloatField(
                        help_text="Declared by its maker, as on the label.",
                        validators=[
                            django.core.validators.MinValueValidator(
                                0.02, "Give 0.02 to 0.08 W/mK: 44 mW/mK is 0.044."
                            ),
                            django.core.validators.MaxValueValidator(
                                0.08, "Give 0.02 to 0.08 W/mK: 44 mW/mK is 0.044."
                            ),
                        ],
                    ),
                ),
                (
                    "splits",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.PositiveSmallIntegerField(),
                        blank=True,
                        default=list,
                        help_text="Equal parts it is perforated for: 2 for halves, 3 for thirds.",
                        size=None,
                    ),
                ),
                (
                    "cost",
                    models.FloatField(
                        default=0.0,
                        help_text="Of one roll, in the company's currency.",
                        validators=[
                            django.core.validators.MinValueValidator(
                                0, "Give what one roll costs, 0 to 100,000."
                            ),
                            django.core.validators.MaxValueValidator(
                                100000, "Give what one roll costs, 0 to 100,000."
                            ),
                        ],
                    ),
                ),
                (
                    "packed_volume_m3",
                    models.FloatField(
                        default=0.0,
                        help_text="Of one roll as delivered.",
                        validators=[
                            django.core.validators.MinValueValidator(
                                0, "Give 0 to 10 m³ for one roll: 190 litres are 0.19."
                            ),
                            django.core.validators.MaxValueValidator(
                                10, "Give 0 to 10 m³ for one roll: 190 litres are 0.19."
                            ),
                        ],
                    ),
                ),
                (
                    "declared_in",
                    models.CharField(
                        blank=True,
                        help_text="Where its maker declares the conductivity: a number, a date, a page.",
                        max_length=120,
                    ),
                ),
                ("is_active", models.BooleanField(default=True)),
                (
                    "entered_at",
                    models.DateTimeField(default=django.utils.timezone.now, editable=False),
                ),
                ("version", models.PositiveIntegerField(default=1)),
                (
                    "company",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="roll_types",
                        to="jobs.company",
                    ),
                ),
                (
                    "entered_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["-is_active", "name", "id"],
            },
        ),
        migrations.CreateModel(
            name="CompanyRollTypeEvent",
            fields=[
                ("pgh_id", models.AutoField(primary_key=True, serialize=False)),
                ("pgh_created_at", models.DateTimeField(auto_now_add=True)),
                ("pgh_label", models.TextField(help_text="The event label.")),
                ("id", models.BigIntegerField()),
                (
                    "code",
                    models.CharField(
                        max_length=20,
                        validators=[
                            django.core.validators.RegexValidator(
                                "^[A-Z0-9][A-Z0-9.-]{0,19}$",
                                "Give up to 20 capital letters, figures, dots and hyphens, such as W170.",
                            )
                        ],
                    ),
                ),
                ("name", models.CharField(max_length=80)),
                (
                    "thickness_mm",
                    models.FloatField(
                        help_text="Of the wool as it lies, once it has recovered.",
                        validators=[
                            django.core.validators.MinValueValidator(
                                20, "Give 20 to 400 mm: 17 cm is 170."
                            ),
                            django.core.validators.MaxValueValidator(
                                400, "Give 20 to 400 mm: 17 cm is 170."
                            ),
                        ],
                    ),
                ),
                (
                    "width_mm",
                    models.FloatField(
                        help_text="Of the whole roll.",
                        validators=[
                            django.core.validators.MinValueValidator(
                                200, "Give 200 to 3,000 mm: 1.14 m is 1140."
                            ),
                            django.core.validators.MaxValueValidator(
                                3000, "Give 200 to 3,000 mm: 1.14 m is 1140."
                            ),
                        ],
                    ),
                ),
                (
                    "length_mm",
                    models.FloatField(
                        help_text="Unrolled.",
                        validators=[
                            django.core.validators.MinValueValidator(
                                1000, "Give 1,000 to 30,000 mm: 5 m is 5000."
                            ),
                            django.core.validators.MaxValueValidator(
                                30000, "Give 1,000 to 30,000 mm: 5 m is 5000."
                            ),
                        ],
                    ),
                ),
                (
                    "conductivity_w_mk",
                    models.FloatField(
                        help_text="Declared by its maker, as on the label.",
                        validators=[
                            django.core.validators.MinValueValidator(
                                0.02, "Give 0.02 to 0.08 W/mK: 44 mW/mK is 0.044."
                            ),
                            django.core.validators.MaxValueValidator(
                                0.08, "Give 0.02 to 0.08 W/mK: 44 mW/mK is 0.044."
                            ),
                        ],
                    ),
                ),
                (
                    "splits",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.PositiveSmallIntegerField(),
                        blank=True,
                        default=list,
                        help_text="Equal parts it is perforated for: 2 for halves, 3 for thirds.",
                        size=None,
                    ),
                ),
                (
                    "cost",
                    models.FloatField(
                        default=0.0,
                        help_text="Of one roll, in the company's currency.",
                        validators=[
                            django.core.validators.MinValueValidator(
                                0, "Give what one roll costs, 0 to 100,000."
                            ),
                            django.core.validators.MaxValueValidator(
                                100000, "Give what one roll costs, 0 to 100,000."
                            ),
                        ],
                    ),
                ),
                (
                    "packed_volume_m3",
                    models.FloatField(
                        default=0.0,
                        help_text="Of one roll as delivered.",
                        validators=[
                            django.core.validators.MinValueValidator(
                                0, "Give 0 to 10 m³ for one roll: 190 litres are 0.19."
                            ),
                            django.core.validators.MaxValueValidator(
                                10, "Give 0 to 10 m³ for one roll: 190 litres are 0.19."
                            ),
                        ],
                    ),
                ),
                (
                    "declared_in",
                    models.CharField(
                        blank=True,
                        help_text="Where its maker declares the conductivity: a number, a date, a page.",
                        max_length=120,
                    ),
                ),
                ("is_active", models.BooleanField(default=True)),
                (
                    "entered_at",
                    models.DateTimeField(default=django.utils.timezone.now, editable=False),
                ),
                ("version", models.PositiveIntegerField(default=1)),
                (
                    "company",
                    models.ForeignKey(
                        db_constraint=False,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        related_query_name="+",
                        to="jobs.company",
                    ),
                ),
                (
                    "entered_by",
                    models.ForeignKey(
                        db_constraint=False,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        related_query_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "pgh_context",
                    models.ForeignKey(
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="pghistory.context",
                    ),
                ),
                (
                    "pgh_obj",
                    models.ForeignKey(
                        db_constraint=False,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="events",
                        to="jobs.companyrolltype",
                    ),
                ),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.AddConstraint(
            model_name="companyrolltype",
            constraint=models.UniqueConstraint(
                fields=("company", "code"),
                name="company_roll_type_code_unique",
                violation_error_message="code: you have a roll type of this code already. Give another, or change that one.",
            ),
        ),
        migrations.AddConstraint(
            model_name="companyrolltype",
            constraint=models.CheckConstraint(
                condition=models.Q(("code__regex", "^[A-Z0-9][A-Z0-9.-]{0,19}$")),
                name="company_roll_type_code_form",
                violation_error_message="code: give up to 20 capital letters, figures, dots and hyphens.",
            ),
        ),
        migrations.AddConstraint(
            model_name="companyrolltype",
            constraint=models.CheckConstraint(
                condition=models.Q(("name__regex", "\\S")),
                name="company_roll_type_has_a_name",
                violation_error_message="name: give the roll type a name.",
            ),
        ),
        migrations.AddConstraint(
            model_name="companyrolltype",
            constraint=models.CheckConstraint(
                condition=models.Q(("thickness_mm__range", (20, 400))),
                name="company_roll_type_thickness_mm",
                violation_error_message="thickness_mm: Give 20 to 400 mm: 17 cm is 170.",
            ),
        ),
        migrations.AddConstraint(
            model_name="companyrolltype",
            constraint=models.CheckConstraint(
                condition=models.Q(("width_mm__range", (200, 3000))),
                name="company_roll_type_width_mm",
                violation_error_message="width_mm: Give 200 to 3,000 mm: 1.14 m is 1140.",
            ),
        ),
        migrations.AddConstraint(
            model_name="companyrolltype",
            constraint=models.CheckConstraint(
                condition=models.Q(("length_mm__range", (1000, 30000))),
                name="company_roll_type_length_mm",
                violation_error_message="length_mm: Give 1,000 to 30,000 mm: 5 m is 5000.",
            ),
        ),
        migrations.AddConstraint(
            model_name="companyrolltype",
            constraint=models.CheckConstraint(
                condition=models.Q(("conductivity_w_mk__range", (0.02, 0.08))),
                name="company_roll_type_conductivity_w_mk",
                violation_error_message="conductivity_w_mk: Give 0.02 to 0.08 W/mK: 44 mW/mK is 0.044.",
            ),
        ),
        migrations.AddConstraint(
            model_name="companyrolltype",
            constraint=models.CheckConstraint(
                condition=models.Q(("cost__range", (0, 100000))),
                name="company_roll_type_cost",
                violation_error_message="cost: Give what one roll costs, 0 to 100,000.",
            ),
        ),
        migrations.AddConstraint(
            model_name="companyrolltype",
            constraint=models.CheckConstraint(
                condition=models.Q(("packed_volume_m3__range", (0, 10))),
                name="company_roll_type_packed_volume_m3",
                violation_error_message="packed_volume_m3: Give 0 to 10 m³ for one roll: 190 litres are 0.19.",
            ),
        ),
        migrations.AddConstraint(
            model_name="companyrolltype",
            constraint=models.CheckConstraint(
                condition=models.Q(("splits__contained_by", [2, 3, 4, 5, 6])),
                name="company_roll_type_splits",
                violation_error_message="splits: give numbers of equal parts from 2 to 6.",
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="companyrolltype",
            trigger=pgtrigger.compiler.Trigger(
                name="insert_insert",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func='INSERT INTO "jobs_companyrolltypeevent" ("code", "company_id", "conductivity_w_mk", "cost", "declared_in", "entered_at", "entered_by_id", "id", "is_active", "length_mm", "name", "packed_volume_m3", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "splits", "thickness_mm", "version", "width_mm") VALUES (NEW."code", NEW."company_id", NEW."conductivity_w_mk", NEW."cost", NEW."declared_in", NEW."entered_at", NEW."entered_by_id", NEW."id", NEW."is_active", NEW."length_mm", NEW."name", NEW."packed_volume_m3", _pgh_attach_context(), NOW(), \'insert\', NEW."id", NEW."splits", NEW."thickness_mm", NEW."version", NEW."width_mm"); RETURN NULL;',
                    hash="6b275d0b84f970c19005dbe2052f6bcf8d7cb900",
                    operation="INSERT",
                    pgid="pgtrigger_insert_insert_be60d",
                    table="jobs_companyrolltype",
                    when="AFTER",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="companyrolltype",
            trigger=pgtrigger.compiler.Trigger(
                name="update_update",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    condition="WHEN (OLD.* IS DISTINCT FROM NEW.*)",
                    func='INSERT INTO "jobs_companyrolltypeevent" ("code", "company_id", "conductivity_w_mk", "cost", "declared_in", "entered_at", "entered_by_id", "id", "is_active", "length_mm", "name", "packed_volume_m3", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "splits", "thickness_mm", "version", "width_mm") VALUES (NEW."code", NEW."company_id", NEW."conductivity_w_mk", NEW."cost", NEW."declared_in", NEW."entered_at", NEW."entered_by_id", NEW."id", NEW."is_active", NEW."length_mm", NEW."name", NEW."packed_volume_m3", _pgh_attach_context(), NOW(), \'update\', NEW."id", NEW."splits", NEW."thickness_mm", NEW."version", NEW."width_mm"); RETURN NULL;',
                    hash="087ec3c3d0ab71054ef37864886a29a0cf9e8740",
                    operation="UPDATE",
                    pgid="pgtrigger_update_update_b5254",
                    table="jobs_companyrolltype",
                    when="AFTER",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="companyrolltype",
            trigger=pgtrigger.compiler.Trigger(
                name="delete_delete",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func='INSERT INTO "jobs_companyrolltypeevent" ("code", "company_id", "conductivity_w_mk", "cost", "declared_in", "entered_at", "entered_by_id", "id", "is_active", "length_mm", "name", "packed_volume_m3", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "splits", "thickness_mm", "version", "width_mm") VALUES (OLD."code", OLD."company_id", OLD."conductivity_w_mk", OLD."cost", OLD."declared_in", OLD."entered_at", OLD."entered_by_id", OLD."id", OLD."is_active", OLD."length_mm", OLD."name", OLD."packed_volume_m3", _pgh_attach_context(), NOW(), \'delete\', OLD."id", OLD."splits", OLD."thickness_mm", OLD."version", OLD."width_mm"); RETURN NULL;',
                    hash="abb9d1352d885e10d478a81c2ab10a78c652a11b",
                    operation="DELETE",
                    pgid="pgtrigger_delete_delete_962da",
                    table="jobs_companyrolltype",
                    when="AFTER",
                ),
            ),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name="companyrolltypeevent",
            trigger=pgtrigger.compiler.Trigger(
                name="append_only",
                sql=pgtrigger.compiler.UpsertTriggerSql(
                    func="RAISE EXCEPTION 'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;",
                    hash="2875fba224de677d86a7a455aa68c311d9107b8f",
                    operation="UPDATE OR DELETE",
                    pgid="pgtrigger_append_only_ced1a",
                    table="jobs_companyrolltypeevent",
                    when="BEFORE",
                ),
            ),
        ),
    ]
