"""A job: one property's insulation under one scheme, and the stages it goes through."""

from __future__ import annotations

import builtins

import pghistory
import pgtrigger
from django.db import models

from jobs.managers import JobQuerySet
from jobs.models.organisations import Company, Scheme
from jobs.models.phone_records import erasable_history
from jobs.models.properties import Property


class Stage(models.TextChoices):
    TO_SURVEY = "to_survey", "To survey"
    TO_QUANTIFY = "to_quantify", "To quantify"
    TO_PLAN = "to_plan", "To plan"
    BOOKED = "booked", "Booked"
    ON_SITE = "on_site", "On site"
    TO_ASSESS = "to_assess", "To assess"
    SHORT = "short", "Short"
    CERTIFIED = "certified", "Certified"
    CALLED_OFF = "called_off", "Called off"


ALLOWED_MOVES: tuple[tuple[Stage, Stage], ...] = (
    (Stage.TO_SURVEY, Stage.TO_QUANTIFY),
    (Stage.TO_QUANTIFY, Stage.TO_SURVEY),
    (Stage.TO_QUANTIFY, Stage.TO_PLAN),
    (Stage.TO_PLAN, Stage.TO_SURVEY),
    (Stage.TO_PLAN, Stage.TO_QUANTIFY),
    (Stage.TO_PLAN, Stage.BOOKED),
    (Stage.BOOKED, Stage.TO_PLAN),
    (Stage.BOOKED, Stage.ON_SITE),
    (Stage.ON_SITE, Stage.TO_PLAN),
    (Stage.ON_SITE, Stage.TO_ASSESS),
    (Stage.TO_ASSESS, Stage.SHORT),
    (Stage.TO_ASSESS, Stage.CERTIFIED),
    (Stage.TO_ASSESS, Stage.BOOKED),
    (Stage.SHORT, Stage.BOOKED),
    (Stage.SHORT, Stage.TO_ASSESS),
    (Stage.BOOKED, Stage.SHORT),
    (Stage.BOOKED, Stage.TO_ASSESS),
    (Stage.ON_SITE, Stage.SHORT),
    (Stage.CERTIFIED, Stage.TO_ASSESS),
    *(
        (stage, Stage.CALLED_OFF)
        for stage in Stage
        if stage not in (Stage.CERTIFIED, Stage.CALLED_OFF)
    ),
)


@pghistory.track(**erasable_history("jobs_job", "job_history_is_kept", "called_off_reason"))
class Job(models.Model):
    """The work on one property under one scheme, from survey to certificate."""

    company = models.ForeignKey(Company, on_delete=models.PROTECT, related_name="jobs")
    property = models.ForeignKey(Property, on_delete=models.PROTECT, related_name="jobs")
    scheme = models.ForeignKey(Scheme, on_delete=models.PROTECT, related_name="jobs")
    stage = models.CharField(max_length=12, choices=Stage, default=Stage.TO_SURVEY)
    stage_since = models.DateTimeField(auto_now_add=True)
    due_on = models.DateField(null=True, blank=True)
    called_off_reason = models.CharField(max_length=200, blank=True)
    version = models.PositiveIntegerField(default=1)
    created_at = models.DateTimeField(auto_now_add=True)

    objects = JobQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        indexes = [
            models.Index(fields=["company", "stage", "due_on"], name="job_company_stage_due"),
            models.Index(fields=["scheme", "stage"], name="job_scheme_stage"),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["property", "scheme"],
                condition=~models.Q(stage=Stage.CALLED_OFF),
                name="job_one_live_per_property_and_scheme",
                violation_error_message="This property already has a job under this scheme.",
            ),
            models.UniqueConstraint(fields=["id", "company"], name="job_id_company"),
            models.CheckConstraint(
                condition=~models.Q(stage=Stage.CALLED_OFF) | ~models.Q(called_off_reason=""),
                name="job_called_off_has_reason",
                violation_error_message="called_off_reason: say why the job is called off.",
            ),
        ]
        triggers = [
            pgtrigger.FSM(
                name="job_stage_moves",
                field="stage",
                transitions=[(str(a), str(b)) for a, b in ALLOWED_MOVES],
            )
        ]

    def __str__(self) -> str:
        return f"{self.reference} {self.property}"

    @builtins.property  # the field above takes the plain name
    def reference(self) -> str:
        """What people call the job, such as J-000123."""
        return reference_of(self.pk)


def reference_of(job_id: int) -> str:
    """The reference of the job with that id."""
    return f"J-{job_id:06d}"
