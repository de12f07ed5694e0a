"""Personal data of households: how long each kind is kept, what must be held, what was erased."""

from __future__ import annotations

from typing import Any, Self

import pghistory
import pgtrigger
from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.utils import timezone

from compliance.personal.kinds import BY_TWO, CHOICES, EVIDENCE, KINDS
from jobs.managers import CompanyScopedQuerySet, JobScopedQuerySet
from jobs.models import Company, Job, User
from jobs.models.phone_records import erasable_history, kept_as_written

EVIDENCE_ARRAY = f"ARRAY[{', '.join(repr(kind) for kind in EVIDENCE)}]::varchar[]"
BY_TWO_ARRAY = f"ARRAY[{', '.join(repr(kind) for kind in BY_TWO)}]::varchar[]"
OFFICER_OF_THE_COMPANY = """
    EXISTS (SELECT 1 FROM jobs_user u JOIN jobs_job j ON j.company_id = u.company_id
            WHERE u.id = {person} AND j.id = NEW.job_id AND u.role = 'compliance_officer')
"""


@pghistory.track()
class RetentionPeriod(models.Model):
    """How long a company keeps a kind of personal data after a job was closed."""

    company = models.ForeignKey(Company, on_delete=models.PROTECT, related_name="retention_periods")
    kind = models.CharField(max_length=12, choices=CHOICES)
    months = models.PositiveSmallIntegerField()
    set_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    set_at = models.DateTimeField(default=timezone.now)

    objects = CompanyScopedQuerySet.as_manager()

    class Meta:
        ordering = ["company_id", "kind"]
        constraints = [
            models.UniqueConstraint(fields=["company", "kind"], name="retention_once_a_kind"),
            models.CheckConstraint(
                condition=models.Q(
                    *(
                        models.Q(kind=k.code, months__range=(k.least_months, k.most_months))
                        for k in KINDS
                    ),
                    _connector=models.Q.OR,
                ),
                name="retention_within_its_limits",
                violation_error_message="months: it is kept no shorter and no longer than the "
                "limits say.",
            ),
        ]
        triggers = [pgtrigger.Protect(name="retention_is_kept", operation=pgtrigger.Delete)]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.months} months"


class LegalHoldQuerySet(JobScopedQuerySet):
    def open(self) -> Self:
        return self.filter(lifted_at__isnull=True)

    def visible_to(self, user: User | Any) -> Self:
        """The compliance officer's matter alone."""
        if getattr(user, "role", None) != "compliance_officer":
            return self.none()
        return super().visible_to(user)


@pghistory.track(
    **erasable_history(
        "compliance_legalhold", "legal_hold_history_is_kept", "reason", "lifted_because"
    )
)
class LegalHold(models.Model):
    """Nothing of this job is erased by one person alone, such as while a claim is open."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="legal_holds")
    reason = models.CharField(max_length=300)
    placed_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    placed_at = models.DateTimeField(default=timezone.now)
    lifted_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    lifted_at = models.DateTimeField(null=True, blank=True)
    lifted_because = models.CharField(max_length=300, blank=True)

    objects = LegalHoldQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["job"],
                condition=models.Q(lifted_at__isnull=True),
                name="legal_hold_one_open_a_job",
                violation_error_message="This job is on hold already.",
            ),
            models.CheckConstraint(
                condition=~models.Q(reason=""),
                name="legal_hold_has_reason",
                violation_error_message="reason: say what it is held for.",
            ),
            models.CheckConstraint(
                condition=models.Q(lifted_at__isnull=True, lifted_by__isnull=True)
                | (
                    models.Q(lifted_at__isnull=False, lifted_by__isnull=False)
                    & ~models.Q(lifted_because="")
                ),
                name="legal_hold_lifted_says_why",
                violation_error_message="reason: say why it is held no longer.",
            ),
        ]
        triggers = [pgtrigger.Protect(name="legal_hold_is_kept", operation=pgtrigger.Delete)]

    def __str__(self) -> str:
        return f"Legal hold on job {self.job_id}"


class ErasureRequestQuerySet(JobScopedQuerySet):
    def visible_to(self, user: User | Any) -> Self:
        if getattr(user, "role", None) not in ("compliance_officer", "auditor"):
            return self.none()
        return super().visible_to(user)

    def waiting(self) -> Self:
        return self.filter(answered_at__isnull=True)


@pghistory.track()
class ErasureRequest(models.Model):
    """Asked by one, or by a retention period that ended; it waits for a second person."""

    class Because(models.TextChoices):
        ASKED = "asked", "Somebody of the household asked"
        RETENTION = "retention", "The retention period has ended"

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="erasure_requests")
    kinds = ArrayField(models.CharField(max_length=12, choices=CHOICES))
    because = models.CharField(max_length=10, choices=Because)
    reason = models.CharField(max_length=300)
    stands_against = models.JSONField(default=list, help_text="Sentences: why one is not enough.")
    asked_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    asked_at = models.DateTimeField(default=timezone.now)
    agreed = models.BooleanField(null=True)
    answer = models.CharField(max_length=300, blank=True)
    answered_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    answered_at = models.DateTimeField(null=True, blank=True)

    objects = ErasureRequestQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["job"],
                condition=models.Q(answered_at__isnull=True),
                name="erasure_request_one_waiting_a_job",
                violation_error_message="An erasure of this job waits for a second person already.",
            ),
            models.CheckConstraint(
                condition=models.Q(answered_at__isnull=True, answered_by__isnull=True, agreed=None)
                | models.Q(
                    answered_at__isnull=False, answered_by__isnull=False, agreed__isnull=False
                ),
                name="erasure_request_answered_whole",
                violation_error_message="An answer has a person and a time.",
            ),
        ]
        triggers = [pgtrigger.Protect(name="erasure_request_is_kept", operation=pgtrigger.Delete)]

    def __str__(self) -> str:
        return f"Erasure asked for on job {self.job_id}"


class ErasureQuerySet(JobScopedQuerySet):
    def with_people(self) -> Self:
        return self.select_related("asked_by", "agreed_by")


class Erasure(models.Model):
    """That personal data of a job were erased: which columns of which rows, why, and by whom.

    A fact. What it names is gone from its rows; the hashes that entered the ledger when they were
    written stay, and so does every proof. items: table -> id -> names of columns; of a photo
    "bytes".
    """

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="erasures")
    kinds = ArrayField(models.CharField(max_length=12, choices=CHOICES))
    because = models.CharField(max_length=10, choices=ErasureRequest.Because)
    reason = models.CharField(max_length=300)
    items = models.JSONField()
    asked_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    agreed_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    erased_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = ErasureQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(reason=""),
                name="erasure_has_reason",
                violation_error_message="reason: say why it is erased.",
            ),
        ]
        triggers = [
            *kept_as_written("erasure_is_kept"),
            pgtrigger.Trigger(
                name="erasure_by_whom_it_takes",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert,
                func=f"""
                    IF NOT (NEW.asked_by_id IS NULL AND NEW.because = 'retention')
                        AND NOT {OFFICER_OF_THE_COMPANY.format(person="NEW.asked_by_id")} THEN
                        RAISE EXCEPTION 'Personal data are erased by a compliance officer of the '
                            'company whose job it is.' USING ERRCODE = 'restrict_violation';
                    END IF;
                    IF NEW.agreed_by_id IS NOT NULL AND (
                        NEW.agreed_by_id IS NOT DISTINCT FROM NEW.asked_by_id
                        OR NOT {OFFICER_OF_THE_COMPANY.format(person="NEW.agreed_by_id")}
                    ) THEN
                        RAISE EXCEPTION 'The second person is another compliance officer of the '
                            'company.' USING ERRCODE = 'restrict_violation';
                    END IF;
                    IF NEW.agreed_by_id IS NULL AND (
                        NEW.kinds && {BY_TWO_ARRAY}
                        OR EXISTS (SELECT 1 FROM compliance_legalhold h
                                WHERE h.job_id = NEW.job_id AND h.lifted_at IS NULL)
                        OR (NEW.kinds && {EVIDENCE_ARRAY}
                            AND (EXISTS (SELECT 1 FROM compliance_certificate c
                                    WHERE c.job_id = NEW.job_id AND NOT EXISTS (
                                        SELECT 1 FROM compliance_certificatewithdrawal w
                                        WHERE w.certificate_id = c.id))
                                OR EXISTS (SELECT 1 FROM jobs_job j WHERE j.id = NEW.job_id
                                    AND j.stage NOT IN ('certified', 'called_off'))))
                    ) THEN
                        RAISE EXCEPTION 'This is still needed, so a second person has to agree '
                            'to erase it.' USING ERRCODE = 'restrict_violation';
                    END IF;
                    RETURN NEW;
                """,
            ),
        ]

    def __str__(self) -> str:
        return f"Erasure on job {self.job_id}"


class BytesToRemove(models.Model):
    """A stored file that nothing needs any more; gone from storage, its row goes too. No fact."""

    name = models.CharField(max_length=300, unique=True)
    noted_at = models.DateTimeField(default=timezone.now)
