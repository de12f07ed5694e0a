"""Runs that issue the certificates of many jobs: which jobs, how far, and why not."""

from __future__ import annotations

from django.db import models
from django.utils import timezone

from compliance.models.certificates import Certificate
from jobs.managers import CompanyScopedQuerySet, JobScopedQuerySet
from jobs.models import Company, Job, Scheme, User


class IssueRunQuerySet(CompanyScopedQuerySet):
    def unfinished(self) -> IssueRunQuerySet:
        return self.filter(ended_at__isnull=True)

    def with_people(self) -> IssueRunQuerySet:
        return self.select_related("begun_by", "scheme", "company")


class IssueRun(models.Model):
    """One walk over jobs that wait for a certificate, taken up again where it stopped."""

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="issue_runs")
    scheme = models.ForeignKey(
        Scheme, null=True, blank=True, on_delete=models.CASCADE, related_name="+"
    )
    begun_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    begun_at = models.DateTimeField(default=timezone.now)
    after_withdrawal = models.BooleanField(
        default=False, help_text="Also jobs whose last certificate a person withdrew."
    )
    moved_at = models.DateTimeField(default=timezone.now, help_text="When a piece was last done.")
    stop_asked_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    objects = IssueRunQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["company"],
                condition=models.Q(ended_at__isnull=True),
                name="issue_run_one_at_a_time",
                violation_error_message="Certificates are being issued for this company.",
            ),
        ]

    def __str__(self) -> str:
        return f"Issue run {self.pk}"

    @property
    def was_stopped(self) -> bool:
        return self.ended_at is not None and self.stop_asked_at is not None


class IssueRunJobQuerySet(JobScopedQuerySet):
    def waiting(self) -> IssueRunJobQuerySet:
        return self.filter(state=IssueRunJob.State.WAITING)

    def refused(self) -> IssueRunJobQuerySet:
        return self.filter(state=IssueRunJob.State.REFUSED)


class IssueRunJob(models.Model):
    """One job of a run and what came of it. `taken_at`: when a process last took it in hand."""

    class State(models.TextChoices):
        WAITING = "waiting", "Waiting"
        ISSUED = "issued", "Issued"
        HAD_ONE = "had_one", "Had one already"
        REFUSED = "refused", "Not issued"

    run = models.ForeignKey(IssueRun, on_delete=models.CASCADE, related_name="jobs")
    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="+")
    state = models.CharField(max_length=8, choices=State, default=State.WAITING)
    reason = models.CharField(max_length=600, blank=True, help_text="Why it was not issued.")
    certificate = models.ForeignKey(
        Certificate, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    taken_at = models.DateTimeField(null=True, blank=True)

    objects = IssueRunJobQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["run", "job"], name="issue_run_job_once"),
            models.CheckConstraint(
                condition=~models.Q(state="refused") | ~models.Q(reason=""),
                name="issue_run_refusal_has_reason",
                violation_error_message="reason: say why no certificate was issued.",
            ),
        ]
        indexes = [models.Index(fields=["run", "state"], name="issue_run_job_state")]
