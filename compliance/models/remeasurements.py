"""Depths that an auditor measures again, each at a reading of the installer's."""

from __future__ import annotations

import uuid
from typing import Any, Self

import pgtrigger
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils import timezone

from compliance.models.audits import DrawnJob
from jobs.models import DepthReading, User
from jobs.models.evidence import ByPhoneClock, corrected_from, kept_as_written

NEAR_READING_MM = 600.0
"""How far from the reading it may lie: a joist's spacing [common practice, no published source]."""

BY_THE_AUDITOR = f"""
    IF NOT EXISTS (
        SELECT 1 FROM compliance_drawnjob d
        JOIN compliance_auditround r ON r.id = d.round_id
        JOIN jobs_user u ON u.id = NEW.measured_by_id
        WHERE d.id = NEW.drawn_job_id AND u.role = 'auditor' AND u.scheme_id = r.scheme_id
    ) THEN
        RAISE EXCEPTION 'Only an auditor of the scheme measures again.'
            USING ERRCODE = 'restrict_violation';
    END IF;
    IF NOT EXISTS (
        SELECT 1 FROM jobs_depthreading g
        JOIN jobs_visit v ON v.id = g.visit_id
        JOIN compliance_drawnjob d ON d.job_id = v.job_id
        WHERE g.id = NEW.reading_id AND d.id = NEW.drawn_job_id
    ) THEN
        RAISE EXCEPTION 'reading: choose a reading of the drawn job.'
            USING ERRCODE = 'restrict_violation';
    END IF;
    IF NOT EXISTS (
        SELECT 1 FROM jobs_depthreading g WHERE g.id = NEW.reading_id
          AND (g.x_mm - NEW.x_mm) ^ 2 + (g.y_mm - NEW.y_mm) ^ 2 <= {NEAR_READING_MM:.0f} ^ 2
    ) THEN
        RAISE EXCEPTION 'x_mm: measure within {NEAR_READING_MM:.0f} mm of the reading.'
            USING ERRCODE = 'restrict_violation';
    END IF;
    RETURN NEW;
"""


class RemeasurementQuerySet(models.QuerySet[Any]):
    def visible_to(self, user: User | Any) -> Self:
        """The auditor's scheme; the company's own jobs once the round is closed."""
        role = getattr(user, "role", None)
        if role == "auditor":
            return self.filter(drawn_job__round__scheme_id=user.scheme_id)
        if role in ("planner", "compliance_officer"):
            return self.filter(
                drawn_job__job__company_id=user.company_id, drawn_job__round__state="closed"
            )
        return self.none()

    def current(self) -> Self:
        """Those that no later one replaces."""
        return self.filter(replaced_by__isnull=True)

    def with_pairs(self) -> Self:
        """With the installer's reading beside each, its crew and its loft area."""
        return self.select_related(
            "reading__area", "reading__visit__crew__company", "drawn_job__job", "measured_by"
        ).order_by("drawn_job__draw_order", "reading_id", "id")


class Remeasurement(ByPhoneClock):
    """A depth [mm] that the auditor measured at, or close to, a reading of the installer's."""

    drawn_job = models.ForeignKey(DrawnJob, on_delete=models.PROTECT, related_name="remeasurements")
    reading = models.ForeignKey(
        DepthReading, on_delete=models.PROTECT, related_name="remeasurements"
    )
    x_mm = models.FloatField()
    y_mm = models.FloatField()
    depth_mm = models.FloatField(validators=[MinValueValidator(0), MaxValueValidator(1500)])
    note = models.CharField(max_length=200, blank=True)
    measured_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    measured_at = models.DateTimeField(
        default=timezone.now, help_text="By the phone's clock, if it tells one."
    )
    corrected_at = corrected_from("measured_at")
    received_at = models.DateTimeField(default=timezone.now, editable=False)
    client_key = models.UUIDField(default=uuid.uuid4, unique=True)
    correction_reason = models.CharField(max_length=200, blank=True)
    replaces = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="replaced_by"
    )

    objects = RemeasurementQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(depth_mm__range=(0, 1500)),
                name="remeasured_depth_between_0_and_1500_mm",
                violation_error_message="depth_mm: a depth lies between 0 and 1500 mm.",
            ),
            models.CheckConstraint(
                condition=models.Q(replaces__isnull=True) | ~models.Q(correction_reason=""),
                name="remeasurement_correction_has_reason",
                violation_error_message="correction_reason: say why it is corrected.",
            ),
            models.UniqueConstraint(
                fields=["drawn_job", "reading"],
                condition=models.Q(replaces__isnull=True),
                name="remeasured_once_a_reading",
                violation_error_message="reading: it was measured again already; correct that.",
            ),
        ]
        triggers = [
            *kept_as_written("remeasurement_is_kept"),
            pgtrigger.Trigger(
                name="remeasured_by_the_auditor",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert,
                func=BY_THE_AUDITOR,
            ),
        ]

    def __str__(self) -> str:
        return f"{self.depth_mm:g} mm at reading {self.reading_id}"

    @property
    def difference_mm(self) -> float:
        """The auditor's depth less the installer's [mm]."""
        return float(self.depth_mm - self.reading.depth_mm)
