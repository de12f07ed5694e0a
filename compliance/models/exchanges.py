"""What auditor and company say to one another about a job, and drafts that nobody else sees yet."""

from __future__ import annotations

from typing import Any, Self

import pgtrigger
from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.utils import timezone

from compliance.models.audits import DrawnJob, OfRoundQuerySet
from compliance.models.findings import Finding, FindingAnswer
from jobs.models import User
from jobs.models.evidence import kept_as_written


class OfDrawnJobQuerySet(OfRoundQuerySet):
    """The auditors' own: nobody of the company sees them."""

    scheme_path = "drawn_job__round__scheme_id"


class FindingDraft(models.Model):
    """A finding as it is being written. It becomes a Finding, and a fact, when it is released."""

    drawn_job = models.ForeignKey(DrawnJob, on_delete=models.PROTECT, related_name="drafts")
    severity = models.CharField(
        max_length=12,
        choices=[choice for choice in Finding.Severity.choices if choice[0] != "sound"],
    )
    concerns = models.CharField(max_length=60, blank=True)
    text = models.TextField()
    written_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    written_at = models.DateTimeField(default=timezone.now)

    objects = OfDrawnJobQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(text="") & ~models.Q(severity="sound"),
                name="finding_draft_says_what",
                violation_error_message="text: say what was found.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.get_severity_display()}, not released"


class JobRead(models.Model):
    """That an auditor has read a drawn job to its end."""

    drawn_job = models.OneToOneField(
        DrawnJob, on_delete=models.PROTECT, related_name="reading_mark"
    )
    read_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    read_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = OfDrawnJobQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        triggers = kept_as_written("job_read_is_kept")

    def __str__(self) -> str:
        return f"read {self.read_at:%-d %b %Y}"


class PointsSeenQuerySet(OfDrawnJobQuerySet):
    def visible_to(self, user: User | Any) -> Self:
        """Each auditor's own."""
        return super().visible_to(user).filter(person=user)


class PointsSeen(models.Model):
    """How far an auditor has come on a job's contact sheet. It helps the reader, and proves
    nothing: what was opened is in the log of openings."""

    drawn_job = models.ForeignKey(DrawnJob, on_delete=models.PROTECT, related_name="points_seen")
    person = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    points = ArrayField(
        models.CharField(max_length=20, blank=True),
        default=list,
        blank=True,
        help_text="Labels of photo points; an empty one is photos at no point.",
    )
    changed_at = models.DateTimeField(default=timezone.now)

    objects = PointsSeenQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["drawn_job", "person"], name="points_seen_once")
        ]

    def __str__(self) -> str:
        return f"{len(self.points)} points seen"


class OfFindingQuerySet(models.QuerySet[Any]):
    def visible_to(self, user: User | Any) -> Self:
        return self.filter(finding__in=Finding.objects.visible_to(user))


class AnswerEvidence(models.Model):
    """What an answer is proved by: a file that came with it, or evidence stored already."""

    finding = models.ForeignKey(Finding, on_delete=models.PROTECT, related_name="+")
    answer = models.ForeignKey(FindingAnswer, on_delete=models.PROTECT, related_name="evidence")
    concerns = models.CharField(
        max_length=60, blank=True, help_text="Stored evidence of the job, such as photo:12."
    )
    sha256 = models.CharField(max_length=64, blank=True)
    size_bytes = models.PositiveBigIntegerField(default=0)
    media_type = models.CharField(max_length=40, blank=True)
    stored_name = models.CharField(max_length=200, blank=True)
    added_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    added_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = OfFindingQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        verbose_name_plural = "answer evidence"
        constraints = [
            models.CheckConstraint(
                condition=models.Q(concerns="", sha256__regex=r"^[0-9a-f]{64}$")
                & ~models.Q(stored_name="")
                | ~models.Q(concerns="") & models.Q(sha256="", stored_name=""),
                name="answer_evidence_is_file_or_link",
                violation_error_message="A file, or evidence that is stored already: one of both.",
            ),
            models.UniqueConstraint(
                fields=["answer", "concerns", "sha256"], name="answer_evidence_once"
            ),
        ]
        triggers = [
            *kept_as_written("answer_evidence_is_kept"),
            pgtrigger.Trigger(
                name="answer_evidence_of_its_finding",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert,
                func="""
                    IF NOT EXISTS (
                        SELECT 1 FROM compliance_findinganswer a
                        WHERE a.id = NEW.answer_id AND a.finding_id = NEW.finding_id
                          AND a.answered_by_id = NEW.added_by_id
                    ) THEN
                        RAISE EXCEPTION 'Evidence is added by who answers, to that answer.'
                            USING ERRCODE = 'restrict_violation';
                    END IF;
                    RETURN NEW;
                """,
            ),
        ]

    def __str__(self) -> str:
        return self.concerns or f"file {self.sha256[:12]}"


class FindingReply(models.Model):
    """The auditor's word on an answer: accepted, which closes the finding, or not, and why."""

    finding = models.ForeignKey(Finding, on_delete=models.PROTECT, related_name="replies")
    answer = models.OneToOneField(FindingAnswer, on_delete=models.PROTECT, related_name="reply")
    accepted = models.BooleanField()
    text = models.TextField(blank=True)
    answer_due_on = models.DateField(
        null=True, blank=True, help_text="Where it is not accepted: by when to answer again."
    )
    replied_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    replied_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = OfFindingQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        verbose_name_plural = "finding replies"
        constraints = [
            models.CheckConstraint(
                condition=models.Q(accepted=True) | ~models.Q(text=""),
                name="finding_reply_says_why_not",
                violation_error_message="text: say why the answer is not accepted.",
            ),
            models.CheckConstraint(
                condition=models.Q(accepted=True, answer_due_on__isnull=True)
                | models.Q(accepted=False, answer_due_on__isnull=False),
                name="finding_reply_gives_new_date",
                violation_error_message="answer_due_on: give a date where it is not accepted.",
            ),
            models.UniqueConstraint(
                fields=["finding"],
                condition=models.Q(accepted=True),
                name="finding_closed_once",
                violation_error_message="This finding is closed already.",
            ),
        ]
        triggers = [
            *kept_as_written("finding_reply_is_kept"),
            pgtrigger.Trigger(
                name="finding_reply_by_the_auditor",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert,
                func="""
                    IF NOT EXISTS (
                        SELECT 1 FROM compliance_findinganswer a
                        JOIN compliance_finding f ON f.id = a.finding_id
                        JOIN compliance_drawnjob d ON d.id = f.drawn_job_id
                        JOIN compliance_auditround r ON r.id = d.round_id
                        JOIN jobs_user u ON u.id = NEW.replied_by_id
                        WHERE a.id = NEW.answer_id AND f.id = NEW.finding_id
                          AND u.role = 'auditor' AND u.scheme_id = r.scheme_id
                    ) THEN
                        RAISE EXCEPTION 'An auditor of the scheme replies, to an answer of the '
                            'same finding.' USING ERRCODE = 'restrict_violation';
                    END IF;
                    RETURN NEW;
                """,
            ),
        ]

    def __str__(self) -> str:
        return "Accepted" if self.accepted else "Not accepted"
