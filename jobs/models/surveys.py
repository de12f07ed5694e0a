"""What a surveyor measured. The engine's view of it is made by `jobs.lofts.loft_of`."""

from __future__ import annotations

from enum import StrEnum

import pghistory
from django.contrib.postgres.fields import ArrayField
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from calculations import loft as engine
from jobs.managers import JobScopedQuerySet
from jobs.models.jobs import Job
from jobs.models.people import User
from jobs.models.phone_records import erasable_history


def choices_of(kind: type[StrEnum]) -> list[tuple[str, str]]:
    return [(member.value, member.value.replace("_", " ").capitalize()) for member in kind]


class SurveyQuerySet(JobScopedQuerySet):
    def complete(self) -> SurveyQuerySet:
        return self.filter(completed_at__isnull=False)

    def with_measurements(self) -> SurveyQuerySet:
        return self.prefetch_related("areas", "obstacles", "fixtures", "hazards")


@pghistory.track(**erasable_history("jobs_survey", "survey_history_is_kept", "access_note", "note"))
class Survey(models.Model):
    """One look at a loft. A completed survey is kept; measuring again makes a new one."""

    FIRST_VERSION = 1

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="surveys")
    surveyed_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="surveys")
    surveyed_on = models.DateField()
    completed_at = models.DateTimeField(null=True, blank=True)

    roof_form = models.CharField(
        max_length=20, choices=choices_of(engine.RoofForm), default=engine.RoofForm.DUO_PITCH
    )
    roof_pitch_deg = models.FloatField(
        default=35.0, validators=[MinValueValidator(5), MaxValueValidator(70)]
    )
    rafter_depth_mm = models.FloatField(
        default=100.0, validators=[MinValueValidator(50), MaxValueValidator(400)]
    )
    roof_span_m = models.FloatField(
        null=True, blank=True, validators=[MinValueValidator(1.5), MaxValueValidator(40)]
    )
    underlay = models.CharField(
        max_length=20, choices=choices_of(engine.Underlay), default=engine.Underlay.FELT
    )
    eaves_opening_mm = models.FloatField(default=10.0, validators=[MinValueValidator(0)])
    ridge_opening_mm = models.FloatField(default=0.0, validators=[MinValueValidator(0)])

    loft_is_empty = models.BooleanField(default=False)
    access_note = models.TextField(blank=True)
    note = models.TextField(blank=True)
    version = models.PositiveIntegerField(default=FIRST_VERSION)

    objects = SurveyQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["job"],
                condition=models.Q(completed_at__isnull=True),
                name="survey_one_draft_per_job",
                violation_error_message="This job already has a survey that is not finished.",
            )
        ]

    def __str__(self) -> str:
        return f"Survey of {self.job.reference} on {self.surveyed_on:%-d %b %Y}"


class SurveyPartQuerySet(JobScopedQuerySet):
    job_path = "survey__job"


@pghistory.track()
class LoftArea(models.Model):
    """A polygon of loft floor with joists of one spacing, size and direction."""

    survey = models.ForeignKey(Survey, on_delete=models.CASCADE, related_name="areas")
    name = models.CharField(max_length=40)
    outline_mm = models.JSONField(help_text="Corner points [[x, y], ...] in millimetres, in order.")
    holes_mm = models.JSONField(default=list, blank=True)
    eaves_edges = ArrayField(models.PositiveSmallIntegerField(), default=list, blank=True)
    joist_spacing_mm = models.FloatField(
        default=400, validators=[MinValueValidator(200), MaxValueValidator(1200)]
    )
    joist_depth_mm = models.FloatField(
        default=100, validators=[MinValueValidator(50), MaxValueValidator(400)]
    )
    joist_width_mm = models.FloatField(
        default=47, validators=[MinValueValidator(20), MaxValueValidator(150)]
    )
    joist_direction_deg = models.FloatField(
        default=90,
        validators=[MinValueValidator(0), MaxValueValidator(180)],
        help_text="0: joists run along x (left to right); 90: along y.",
    )
    existing_depth_mm = models.FloatField(
        default=0, validators=[MinValueValidator(0), MaxValueValidator(1000)]
    )
    existing_condition = models.CharField(
        max_length=8, choices=choices_of(engine.Condition), default=engine.Condition.KEEP
    )
    existing_conductivity_w_mk = models.FloatField(
        default=0.044, validators=[MinValueValidator(0.02), MaxValueValidator(0.2)]
    )

    objects = SurveyPartQuerySet.as_manager()

    class Meta:
        ordering = ["survey_id", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["survey", "name"],
                name="area_name_unique_in_survey",
                violation_error_message="Two areas of one survey cannot have the same name.",
            )
        ]

    def __str__(self) -> str:
        return self.name


@pghistory.track()
class Obstacle(models.Model):
    """A tank, chimney, hatch or boarded deck, with its outline on the floor."""

    survey = models.ForeignKey(Survey, on_delete=models.CASCADE, related_name="obstacles")
    name = models.CharField(max_length=40)
    kind = models.CharField(max_length=10, choices=choices_of(engine.ObstacleKind))
    outline_mm = models.JSONField()
    underside_mm = models.FloatField(
        null=True,
        blank=True,
        validators=[MinValueValidator(0), MaxValueValidator(2000)],
        help_text="Of a raised deck: height of its underside above the ceiling.",
    )

    objects = SurveyPartQuerySet.as_manager()

    class Meta:
        ordering = ["survey_id", "id"]

    def __str__(self) -> str:
        return f"{self.name} ({self.kind})"


@pghistory.track()
class Fixture(models.Model):
    """A downlight, cable, fan or pipe that the insulation must mind."""

    survey = models.ForeignKey(Survey, on_delete=models.CASCADE, related_name="fixtures")
    name = models.CharField(max_length=40)
    kind = models.CharField(max_length=10, choices=choices_of(engine.FixtureKind))
    x_mm = models.FloatField()
    y_mm = models.FloatField()
    to_x_mm = models.FloatField(null=True, blank=True)
    to_y_mm = models.FloatField(null=True, blank=True)
    load_w = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0)])
    conductor_mm2 = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0.5)])
    high_load = models.BooleanField(default=False)

    objects = SurveyPartQuerySet.as_manager()

    class Meta:
        ordering = ["survey_id", "id"]

    def __str__(self) -> str:
        return f"{self.name} ({self.kind})"


@pghistory.track()
class Hazard(models.Model):
    """Something that can hurt people or that the law protects."""

    survey = models.ForeignKey(Survey, on_delete=models.CASCADE, related_name="hazards")
    kind = models.CharField(max_length=20, choices=choices_of(engine.HazardKind))
    note = models.CharField(max_length=300, blank=True)

    objects = SurveyPartQuerySet.as_manager()

    class Meta:
        ordering = ["survey_id", "id"]

    def __str__(self) -> str:
        return self.get_kind_display()
