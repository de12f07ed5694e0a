"""Verdicts on jobs, and the shortfalls that follow from them."""

from __future__ import annotations

from datetime import date

import pghistory
import pgtrigger
from django.db import models
from django.utils import timezone

from compliance.models.rules import DepthRule
from jobs.managers import JobScopedQuerySet
from jobs.models import Job, User, Visit
from jobs.models.evidence import kept_as_written


class AssessmentQuerySet(JobScopedQuerySet):
    def latest_per_job(self) -> AssessmentQuerySet:
        """Each job's newest assessment."""
        newer = Assessment.objects.filter(
            job=models.OuterRef("job"), number__gt=models.OuterRef("number")
        )
        return self.exclude(models.Exists(newer))

    def with_place(self) -> AssessmentQuerySet:
        return self.select_related("job__property", "job__scheme", "rule")


class Assessment(models.Model):
    """One verdict on one job, with everything needed to reach it again.

    `inputs` holds the loft, the readings, the requirement and the evidence counts exactly as
    the engine was given them; `arithmetic` its answer, step by step.
    """

    class Verdict(models.TextChoices):
        MEETS = "meets", "Meets"
        SHORT = "short", "Short"
        UNPROVEN = "unproven", "Unproven"

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="assessments")
    number = models.PositiveIntegerField(help_text="1 for a job's first assessment, and so on.")
    rule = models.ForeignKey(DepthRule, on_delete=models.PROTECT, related_name="assessments")
    engine_version = models.CharField(max_length=20)
    verdict = models.CharField(max_length=8, choices=Verdict)
    inputs = models.JSONField()
    inputs_sha256 = models.CharField(max_length=64)
    arithmetic = models.JSONField()
    missing = models.JSONField(default=list, help_text="Sentences: which evidence is missing.")
    deficit_mm = models.FloatField(default=0)
    deficit_area_m2 = models.FloatField(default=0)
    mean_depth_mm = models.FloatField(null=True)
    least_depth_mm = models.FloatField(null=True)
    reading_count = models.PositiveIntegerField(default=0)
    made_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = AssessmentQuerySet.as_manager()

    class Meta:
        ordering = ["job_id", "-number"]
        indexes = [
            models.Index(fields=["verdict", "made_at"], name="assessment_verdict_made"),
            models.Index(fields=["-made_at", "-id"], name="assessment_newest_first"),
        ]
        constraints = [
            models.UniqueConstraint(fields=["job", "number"], name="assessment_number_in_job"),
            # The target of composite foreign keys from certificates.
            models.UniqueConstraint(fields=["id", "job"], name="assessment_id_job"),
        ]
        triggers = [
            *kept_as_written("assessment_is_kept"),
            pgtrigger.Trigger(
                name="certificate_never_outlives_its_verdict",
                when=pgtrigger.After,
                operation=pgtrigger.Insert,
                timing=pgtrigger.Deferred,
                func="""
                    IF NEW.verdict <> 'meets' AND EXISTS (
                        SELECT 1 FROM compliance_certificate c
                        WHERE c.job_id = NEW.job_id AND NOT EXISTS (
                            SELECT 1 FROM compliance_certificatewithdrawal w
                            WHERE w.certificate_id = c.id)
                    ) AND NEW.number = (
                        SELECT max(number) FROM compliance_assessment WHERE job_id = NEW.job_id
                    ) THEN
                        RAISE EXCEPTION 'Job % no longer meets its rule: withdraw its '
                            'certificate with the same act.', NEW.job_id
                            USING ERRCODE = 'restrict_violation';
                    END IF;
                    RETURN NULL;
                """,
            ),
        ]

    def __str__(self) -> str:
        return f"Assessment {self.number} of job {self.job_id}: {self.verdict}"


class ShortfallQuerySet(JobScopedQuerySet):
    def open(self) -> ShortfallQuerySet:
        return self.filter(closed_at__isnull=True)

    def late(self, today: date) -> ShortfallQuerySet:
        return self.open().filter(due_on__lt=today)

    def without_call_back(self) -> ShortfallQuerySet:
        """Open ones to which no crew is booked or at work."""
        return self.open().exclude(call_back__status__in=("booked", "on_site"))

    def with_place(self) -> ShortfallQuerySet:
        return self.select_related(
            "job__property", "job__scheme", "owner", "call_back__crew", "assessment__rule"
        )


@pghistory.track()
class Shortfall(models.Model):
    """A flagged job and its putting right. Closed by an assessment that meets, or waived by two."""

    class Cause(models.TextChoices):
        TOO_FEW_LAYERS = "too_few_layers", "A layer is missing"
        COMPRESSED = "compressed", "Layers laid compressed or uneven"
        PATCH = "patch", "A patch was left thin"
        UNKNOWN = "unknown", "Not clear from the readings"

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="shortfalls")
    assessment = models.ForeignKey(
        Assessment, on_delete=models.PROTECT, related_name="flagged_shortfalls"
    )
    deficit_mm = models.FloatField()
    deficit_area_m2 = models.FloatField()
    likely_cause = models.CharField(max_length=16, choices=Cause, default=Cause.UNKNOWN)
    owner = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="shortfalls"
    )
    due_on = models.DateField()
    call_back = models.ForeignKey(
        Visit, null=True, blank=True, on_delete=models.PROTECT, related_name="puts_right"
    )
    flagged_at = models.DateTimeField(default=timezone.now)
    closed_by = models.ForeignKey(
        Assessment,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="closed_shortfalls",
    )
    waived_by = models.OneToOneField(
        "compliance.Waiver",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="closes",
    )
    closed_at = models.DateTimeField(null=True, blank=True)

    objects = ShortfallQuerySet.as_manager()

    class Meta:
        ordering = ["due_on", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["job"],
                condition=models.Q(closed_at__isnull=True),
                name="shortfall_one_open_per_job",
                violation_error_message="This job already has an open shortfall.",
            ),
            models.CheckConstraint(
                condition=models.Q(
                    closed_by__isnull=True, waived_by__isnull=True, closed_at__isnull=True
                )
                | models.Q(closed_by__isnull=False, waived_by__isnull=True, closed_at__isnull=False)
                | models.Q(
                    closed_by__isnull=True, waived_by__isnull=False, closed_at__isnull=False
                ),
                name="shortfall_closed_by_an_assessment",
                violation_error_message="Only an assessment that meets the rule closes it, or a "
                "waiver that a second person agreed to.",
            ),
        ]
        triggers = [
            pgtrigger.Protect(name="shortfall_is_never_deleted", operation=pgtrigger.Delete),
            pgtrigger.Protect(
                name="closed_shortfall_stays_as_it_is",
                operation=pgtrigger.Update,
                condition=pgtrigger.Q(old__closed_at__isnull=False),
            ),
            pgtrigger.Trigger(
                name="shortfall_closed_only_by_meets",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert | pgtrigger.Update,
                condition=pgtrigger.Q(new__closed_by__isnull=False),
                func="""
                    IF NOT EXISTS (
                        SELECT 1 FROM compliance_assessment a
                        WHERE a.id = NEW.closed_by_id AND a.job_id = NEW.job_id
                          AND a.verdict = 'meets' AND a.number > (
                            SELECT f.number FROM compliance_assessment f
                            WHERE f.id = NEW.assessment_id)
                    ) THEN
                        RAISE EXCEPTION 'A shortfall is closed only by a later assessment of the '
                            'same job that meets the rule.'
                            USING ERRCODE = 'restrict_violation';
                    END IF;
                    RETURN NEW;
                """,
            ),
            pgtrigger.Trigger(
                name="shortfall_waived_only_by_two",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert | pgtrigger.Update,
                condition=pgtrigger.Q(new__waived_by__isnull=False),
                func="""
                    IF NOT EXISTS (
                        SELECT 1 FROM compliance_waiver w
                        JOIN compliance_waiveranswer a ON a.waiver_id = w.id
                        WHERE w.id = NEW.waived_by_id AND w.shortfall_id = NEW.id AND a.agreed
                    ) THEN
                        RAISE EXCEPTION 'A shortfall is waived only by a waiver of its own that a '
                            'second person agreed to.' USING ERRCODE = 'restrict_violation';
                    END IF;
                    RETURN NEW;
                """,
            ),
            pgtrigger.Trigger(
                name="shortfall_keeps_to_its_job",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert | pgtrigger.Update,
                func="""
                    IF NEW.call_back_id IS NOT NULL AND NOT EXISTS (
                        SELECT 1 FROM jobs_visit v
                        WHERE v.id = NEW.call_back_id AND v.job_id = NEW.job_id
                    ) THEN
                        RAISE EXCEPTION 'A call-back is a visit to the very job that is short.'
                            USING ERRCODE = 'restrict_violation';
                    END IF;
                    IF NEW.owner_id IS NOT NULL AND NOT EXISTS (
                        SELECT 1 FROM jobs_user u JOIN jobs_job j ON j.company_id = u.company_id
                        WHERE u.id = NEW.owner_id AND j.id = NEW.job_id
                    ) THEN
                        RAISE EXCEPTION 'The owner of a shortfall is a person of the company '
                            'whose job it is.' USING ERRCODE = 'restrict_violation';
                    END IF;
                    RETURN NEW;
                """,
            ),
        ]

    def __str__(self) -> str:
        return f"Shortfall of job {self.job_id}: {self.deficit_mm:.0f} mm"
