"""What follows from an audit: how the next lot is inspected, and what is asked of a company."""

from __future__ import annotations

from typing import Any, Self

import pgtrigger
from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.utils import timezone

from compliance.models.audits import AuditRound, OfRoundQuerySet, RoundScopedQuerySet
from compliance.models.certificates import CertificateWithdrawal
from compliance.models.findings import Finding
from jobs.models import Company, Crew, Job, Scheme, User, VisitNeed
from jobs.models.evidence import kept_as_written


class SwitchingStepQuerySet(RoundScopedQuerySet):
    def newest(self) -> Self:
        """Where each series stands today."""
        subject = ("scheme_id", "company_id", "crew_id")
        last = self.order_by(*subject, "-id").distinct(*subject).values("pk")
        return self.filter(pk__in=last).select_related("scheme", "company", "crew", "round")


class SwitchingStep(models.Model):
    """Where a crew, a company or a whole scheme stands by the switching rules, and why.

    The newest row of a subject holds; the subject is (scheme, company, crew), empty where the
    rounds are over all of them. Columns are those of `calculations.sampling.SwitchingState`.
    """

    scheme = models.ForeignKey(Scheme, on_delete=models.PROTECT, related_name="switching_steps")
    company = models.ForeignKey(
        Company, null=True, blank=True, on_delete=models.PROTECT, related_name="switching_steps"
    )
    crew = models.ForeignKey(
        Crew, null=True, blank=True, on_delete=models.PROTECT, related_name="switching_steps"
    )
    round = models.OneToOneField(
        AuditRound,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="switching_step",
        help_text="The round that led to it; empty where a person resumed inspection.",
    )
    severity = models.CharField(
        max_length=10,
        choices=[("normal", "Normal"), ("tightened", "Tightened"), ("reduced", "Reduced")],
    )
    recent = ArrayField(models.BooleanField(), default=list, blank=True, size=5)
    score = models.PositiveSmallIntegerField(default=0)
    missed_while_tightened = models.PositiveSmallIntegerField(default=0)
    stopped = models.BooleanField(default=False)
    why = models.CharField(max_length=300)
    recorded_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = SwitchingStepQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        indexes = [
            models.Index(fields=["scheme", "company", "crew"], name="switching_step_subject")
        ]
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(why=""),
                name="switching_step_says_why",
                violation_error_message="why: say what led to it.",
            ),
        ]
        triggers = kept_as_written("switching_step_is_kept")

    def __str__(self) -> str:
        return f"{self.get_severity_display()} inspection"


class AuditFollowUpQuerySet(OfRoundQuerySet):
    def visible_to(self, user: User | Any) -> Self:
        """The auditor's scheme; and a company what was asked about its own jobs."""
        if getattr(user, "role", None) in ("planner", "compliance_officer"):
            return self.filter(job__company_id=user.company_id)
        return super().visible_to(user)

    def waiting(self) -> Self:
        return self.filter(answer__isnull=True)

    def of_kind(self, kind: str) -> Self:
        return self.filter(kind=kind)

    def with_place(self) -> Self:
        return self.select_related(
            "round", "finding", "job__property", "asked_by", "answer__answered_by"
        )


class AuditFollowUp(models.Model):
    """Something an auditor asks for after a finding, or that follows from a round."""

    class Kind(models.TextChoices):
        TIGHTENED = "tightened", "Inspection changes"
        WIDENING = "widening", "More jobs drawn"
        CALL_BACK = "call_back", "Call-back"
        WITHDRAWAL = "withdrawal", "Withdrawal of the certificate"

    kind = models.CharField(max_length=12, choices=Kind)
    round = models.ForeignKey(AuditRound, on_delete=models.PROTECT, related_name="follow_ups")
    finding = models.ForeignKey(
        Finding, null=True, blank=True, on_delete=models.PROTECT, related_name="follow_ups"
    )
    job = models.ForeignKey(
        Job, null=True, blank=True, on_delete=models.PROTECT, related_name="audit_follow_ups"
    )
    reason = models.CharField(max_length=600)
    due_on = models.DateField(null=True, blank=True)
    asked_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    asked_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = AuditFollowUpQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(reason=""),
                name="follow_up_has_reason",
                violation_error_message="reason: say why it is asked for.",
            ),
            models.CheckConstraint(
                condition=models.Q(
                    kind__in=("call_back", "withdrawal"),
                    finding__isnull=False,
                    job__isnull=False,
                    due_on__isnull=False,
                )
                | models.Q(
                    kind__in=("tightened", "widening"), finding__isnull=True, job__isnull=True
                ),
                name="follow_up_is_of_a_finding_or_a_round",
                violation_error_message="finding: a call-back or withdrawal follows from one.",
            ),
            models.UniqueConstraint(
                fields=["finding", "kind"],
                condition=models.Q(finding__isnull=False),
                name="follow_up_once_a_finding",
                violation_error_message="This was asked for already because of this finding.",
            ),
        ]
        triggers = [
            *kept_as_written("follow_up_is_kept"),
            pgtrigger.Trigger(
                name="follow_up_by_the_auditor_of_its_job",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert,
                func="""
                    IF NOT EXISTS (
                        SELECT 1 FROM compliance_auditround r
                        JOIN jobs_user u ON u.id = NEW.asked_by_id
                        WHERE r.id = NEW.round_id AND u.role = 'auditor'
                          AND u.scheme_id = r.scheme_id
                    ) OR NEW.finding_id IS NOT NULL AND NOT EXISTS (
                        SELECT 1 FROM compliance_finding f
                        JOIN compliance_drawnjob d ON d.id = f.drawn_job_id
                        WHERE f.id = NEW.finding_id AND d.round_id = NEW.round_id
                          AND d.job_id = NEW.job_id AND f.severity <> 'sound'
                    ) THEN
                        RAISE EXCEPTION 'The auditor of the scheme asks, because of a finding on '
                            'the very job.' USING ERRCODE = 'restrict_violation';
                    END IF;
                    RETURN NEW;
                """,
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} of {self.round}"


class AuditFollowUpAnswerQuerySet(models.QuerySet[Any]):
    def visible_to(self, user: User | Any) -> Self:
        return self.filter(follow_up__in=AuditFollowUp.objects.visible_to(user))


class AuditFollowUpAnswer(models.Model):
    """That something asked for was done, or turned down and why; by whom and when."""

    follow_up = models.OneToOneField(AuditFollowUp, on_delete=models.PROTECT, related_name="answer")
    job = models.ForeignKey(Job, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    done = models.BooleanField()
    note = models.CharField(max_length=600, blank=True)
    need = models.ForeignKey(
        VisitNeed,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="The call-back that now waits to be booked.",
    )
    withdrawal = models.ForeignKey(
        CertificateWithdrawal, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    answered_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    answered_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = AuditFollowUpAnswerQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(done=True) | ~models.Q(note=""),
                name="follow_up_turned_down_says_why",
                violation_error_message="note: say why it is not done.",
            ),
        ]
        triggers = [
            *kept_as_written("follow_up_answer_is_kept"),
            pgtrigger.Trigger(
                name="follow_up_answered_by_the_company",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert,
                func="""
                    IF NOT EXISTS (
                        SELECT 1 FROM compliance_auditfollowup f
                        JOIN jobs_user u ON u.id = NEW.answered_by_id
                        LEFT JOIN jobs_job j ON j.id = f.job_id
                        WHERE f.id = NEW.follow_up_id AND NEW.job_id IS NOT DISTINCT FROM f.job_id
                          AND (f.job_id IS NULL AND u.role = 'auditor'
                               OR u.company_id = j.company_id AND (u.role = 'compliance_officer'
                                   OR u.role = 'planner' AND f.kind = 'call_back'))
                    ) THEN
                        RAISE EXCEPTION 'The company whose job it is answers: its compliance '
                            'officer, or for a call-back its planner.'
                            USING ERRCODE = 'restrict_violation';
                    END IF;
                    IF NEW.done AND EXISTS (
                        SELECT 1 FROM compliance_auditfollowup f
                        WHERE f.id = NEW.follow_up_id AND f.kind = 'withdrawal'
                    ) AND NOT EXISTS (
                        SELECT 1 FROM compliance_certificatewithdrawal w
                        JOIN compliance_certificate c ON c.id = w.certificate_id
                        WHERE w.id = NEW.withdrawal_id AND c.job_id = NEW.job_id
                    ) THEN
                        RAISE EXCEPTION 'A withdrawal is done once the certificate of this job '
                            'is withdrawn.' USING ERRCODE = 'restrict_violation';
                    END IF;
                    RETURN NEW;
                """,
            ),
        ]

    def __str__(self) -> str:
        return f"Answer to {self.follow_up}"
