"""Runs over many jobs for one depth rule: a preview before its approval, judging anew after."""

from __future__ import annotations

from django.db import models
from django.utils import timezone

from compliance.models.rules import DepthRule
from jobs.managers import JobScopedQuerySet
from jobs.models import Job, User


class RuleRunQuerySet(models.QuerySet["RuleRun"]):
    def unfinished(self) -> RuleRunQuerySet:
        return self.filter(ended_at__isnull=True)

    def previews(self) -> RuleRunQuerySet:
        return self.filter(kind=RuleRun.Kind.PREVIEW)


class RuleRun(models.Model):
    """One walk over jobs in the order of their ids, in pieces, taken up again where it stopped."""

    class Kind(models.TextChoices):
        PREVIEW = "preview", "Preview"
        REASSESSMENT = "reassessment", "Judging anew"

    rule = models.ForeignKey(DepthRule, on_delete=models.CASCADE, related_name="runs")
    kind = models.CharField(max_length=12, choices=Kind)
    begun_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    begun_at = models.DateTimeField(default=timezone.now)
    total = models.PositiveIntegerField(default=0)
    done = models.PositiveIntegerField(default=0)
    last_job_id = models.BigIntegerField(default=0, help_text="Jobs up to this one are done.")
    moved_at = models.DateTimeField(default=timezone.now, help_text="When a piece was last done.")
    ended_at = models.DateTimeField(null=True, blank=True)

    objects = RuleRunQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["rule"],
                condition=models.Q(kind="reassessment"),
                name="rule_run_one_reassessment_a_rule",
                violation_error_message="Jobs are judged anew once for a rule.",
            ),
            models.UniqueConstraint(
                fields=["rule"],
                condition=models.Q(kind="preview", ended_at__isnull=True),
                name="rule_run_one_preview_at_a_time",
                violation_error_message="A preview of this rule is under way.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} for rule {self.rule_id}"

    @property
    def percent(self) -> int:
        return 100 if self.ended_at else min(99, self.done * 100 // max(1, self.total))


class RuleRunJobQuerySet(JobScopedQuerySet):
    def changed(self) -> RuleRunJobQuerySet:
        return self.exclude(before=models.F("after"))


class RuleRunJob(models.Model):
    """What a run found for one job: its verdict before, and by the rule."""

    run = models.ForeignKey(RuleRun, on_delete=models.CASCADE, related_name="jobs")
    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="+")
    before = models.CharField(max_length=8)
    after = models.CharField(max_length=8)

    objects = RuleRunJobQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["run", "job"], name="rule_run_job_once"),
        ]


class PreviewSeen(models.Model):
    """Somebody had what a preview found before their eyes: what an approval rests on."""

    run = models.ForeignKey(RuleRun, on_delete=models.CASCADE, related_name="seen")
    person = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    seen_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["run", "person"], name="preview_seen_once_a_person"),
        ]

    def __str__(self) -> str:
        return f"{self.person} saw {self.run}"
