"""What auditors find, what companies say to it, and who opened whose evidence."""

from __future__ import annotations

from typing import Any, Self

from django.db import models
from django.utils import timezone

from compliance.models.audits import DrawnJob, OfRoundQuerySet
from jobs.models import Job, User
from jobs.models.evidence import kept_as_written


class FindingQuerySet(OfRoundQuerySet):
    scheme_path = "drawn_job__round__scheme_id"

    def visible_to(self, user: User | Any) -> Self:
        """The auditor's scheme; and the company's own, once released."""
        if getattr(user, "role", None) in ("planner", "compliance_officer"):
            return self.filter(
                drawn_job__job__company_id=user.company_id, released_at__isnull=False
            )
        return super().visible_to(user)

    def defects(self) -> Self:
        return self.exclude(severity=Finding.Severity.SOUND)

    def with_answers(self) -> Self:
        return self.select_related(
            "drawn_job__job__property", "drawn_job__round", "found_by"
        ).prefetch_related("answers__answered_by")

    def unanswered(self) -> Self:
        return self.filter(answers__isnull=True)

    def unanswered_first(self) -> Self:
        answered = models.Exists(FindingAnswer.objects.filter(finding=models.OuterRef("pk")))
        return self.annotate(is_answered=answered).order_by("is_answered", "answer_due_on", "pk")


class Finding(models.Model):
    """What an auditor found on a drawn job. Also written when the job was found sound."""

    class Severity(models.TextChoices):
        SOUND = "sound", "Sound"
        OBSERVATION = "observation", "Observation"
        MINOR = "minor", "Minor"
        MAJOR = "major", "Major"
        CRITICAL = "critical", "Critical"

    drawn_job = models.ForeignKey(DrawnJob, on_delete=models.PROTECT, related_name="findings")
    severity = models.CharField(max_length=12, choices=Severity)
    concerns = models.CharField(
        max_length=60, blank=True, help_text="The thing it is about, such as photo:12."
    )
    text = models.TextField(blank=True)
    found_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="findings")
    found_at = models.DateTimeField(default=timezone.now, editable=False)
    released_at = models.DateTimeField(
        default=timezone.now, help_text="When the company may see it."
    )
    answer_due_on = models.DateField(null=True, blank=True)

    objects = FindingQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(severity="sound") | ~models.Q(text=""),
                name="finding_says_what",
                violation_error_message="text: say what was found.",
            )
        ]
        triggers = kept_as_written("finding_is_kept")


class FindingAnswerQuerySet(models.QuerySet[Any]):
    def visible_to(self, user: User | Any) -> Self:
        return self.filter(finding__in=Finding.objects.visible_to(user))


class FindingAnswer(models.Model):
    """What the company says to a finding."""

    finding = models.ForeignKey(Finding, on_delete=models.PROTECT, related_name="answers")
    text = models.TextField()
    answered_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    answered_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = FindingAnswerQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        triggers = kept_as_written("finding_answer_is_kept")


class EvidenceAccess(models.Model):
    """Who opened which job's evidence, and when."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="evidence_accesses")
    person = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    what = models.CharField(max_length=80)
    opened_at = models.DateTimeField(default=timezone.now, editable=False)

    class Meta:
        ordering = ["-id"]
        verbose_name_plural = "evidence accesses"
        triggers = kept_as_written("evidence_access_is_kept")
