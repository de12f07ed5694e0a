"""Certificates, and their withdrawal. Both stay readable for good."""

from __future__ import annotations

import pgtrigger
from django.db import models
from django.utils import timezone

from compliance.models.assessments import Assessment
from jobs.managers import JobScopedQuerySet
from jobs.models import Job, User
from jobs.models.phone_records import (
    Salted,
    WordsHashed,
    kept_as_written,
    kept_but_for_erasure,
)


class CertificateQuerySet(JobScopedQuerySet):
    def current(self) -> CertificateQuerySet:
        withdrawals = CertificateWithdrawal.objects.filter(certificate=models.OuterRef("pk"))
        return self.filter(~models.Exists(withdrawals))

    def in_place_of(self, former: Certificate) -> Certificate | None:
        """The valid certificate that took the place of one that is withdrawn, if there is one."""
        if former.is_current:
            return None
        found: Certificate | None = self.current().filter(job=former.job_id).first()
        return found

    def with_place(self) -> CertificateQuerySet:
        return self.select_related(
            "job__property", "job__scheme", "assessment__rule", "withdrawal", "issued_by"
        )


class Certificate(models.Model):
    """Says that a job met its rule. The database refuses one for a job that does not."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="certificates")
    assessment = models.ForeignKey(
        Assessment, on_delete=models.PROTECT, related_name="certificates"
    )
    code = models.CharField(max_length=16, unique=True, help_text="What the check page asks for.")
    issued_at = models.DateTimeField(default=timezone.now, editable=False)
    issued_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    pdf_name = models.CharField(max_length=200)
    pdf_sha256 = models.CharField(max_length=64)
    contents = models.JSONField(help_text="Everything printed, so that it can be made again.")
    key_fingerprint = models.CharField(
        max_length=64, blank=True, help_text="The CertificateKey that signed the file."
    )

    objects = CertificateQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        triggers = [
            *kept_as_written("certificate_is_kept"),
            pgtrigger.Trigger(
                name="certificate_only_where_the_rule_is_met",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert,
                func="""
                    PERFORM 1 FROM jobs_job WHERE id = NEW.job_id FOR UPDATE;
                    IF NOT EXISTS (
                        SELECT 1 FROM compliance_assessment a
                        WHERE a.id = NEW.assessment_id AND a.job_id = NEW.job_id
                          AND a.verdict = 'meets'
                          AND a.number = (SELECT max(number) FROM compliance_assessment
                                          WHERE job_id = NEW.job_id)
                    ) THEN
                        RAISE EXCEPTION 'A certificate needs a latest assessment that meets '
                            'the depth rule.' USING ERRCODE = 'restrict_violation';
                    END IF;
                    IF EXISTS (
                        SELECT 1 FROM compliance_certificate c
                        WHERE c.job_id = NEW.job_id AND NOT EXISTS (
                            SELECT 1 FROM compliance_certificatewithdrawal w
                            WHERE w.certificate_id = c.id)
                    ) THEN
                        RAISE EXCEPTION 'This job already has a current certificate.'
                            USING ERRCODE = 'unique_violation';
                    END IF;
                    RETURN NEW;
                """,
            ),
        ]

    def __str__(self) -> str:
        return f"Certificate {self.code}"

    @property
    def is_current(self) -> bool:
        return not hasattr(self, "withdrawal")


class CertificateWithdrawalQuerySet(JobScopedQuerySet):
    job_path = "certificate__job"


class CertificateWithdrawal(Salted, WordsHashed):
    class Kind(models.TextChoices):
        """Why, in words that anybody may read."""

        NEW_VERDICT = "new_verdict", "a new assessment of the loft no longer meets the rule"
        LOFT_CHANGED = "loft_changed", "the loft was changed after it was measured"
        MISTAKE = "mistake", "something on it was wrong"
        AUDIT = "audit", "an audit found otherwise"
        OTHER = "other", "the company took it back for another reason"

    certificate = models.OneToOneField(
        Certificate, on_delete=models.PROTECT, related_name="withdrawal"
    )
    kind = models.CharField(
        max_length=12,
        choices=Kind,
        blank=True,
        help_text="Shown to everybody with the code; empty on rows older than this column.",
    )
    reason = models.CharField(max_length=300, help_text="For the company and its auditor.")
    withdrawn_by = models.ForeignKey(
        User,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="Empty when a new assessment withdrew it.",
    )
    withdrawn_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = CertificateWithdrawalQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(reason=""),
                name="withdrawal_has_reason",
                violation_error_message="reason: say why the certificate is withdrawn.",
            )
        ]
        triggers = [
            *kept_but_for_erasure(
                "certificate_withdrawal_is_kept", words=["reason"], words_hashed="true"
            ),
            pgtrigger.Trigger(
                name="certificate_withdrawn_by_no_auditor",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert,
                condition=pgtrigger.Q(new__withdrawn_by__isnull=False),
                func="""
                    IF EXISTS (
                        SELECT 1 FROM jobs_user u
                        WHERE u.id = NEW.withdrawn_by_id AND u.role = 'auditor'
                    ) THEN
                        RAISE EXCEPTION 'An auditor asks for a withdrawal; the company’s '
                            'compliance officer withdraws.' USING ERRCODE = 'restrict_violation';
                    END IF;
                    RETURN NEW;
                """,
            ),
        ]

    @property
    def public_reason(self) -> str:
        """Why, without a word that somebody typed."""
        fallback = self.Kind.OTHER if self.withdrawn_by_id else self.Kind.NEW_VERDICT
        return self.Kind(self.kind or fallback).label
