"""Waivers: a shortfall that is left as it is, by one person's reason and another's consent."""

from __future__ import annotations

import pgtrigger
from django.db import models
from django.db.models.expressions import RawSQL
from django.utils import timezone

from compliance.models.assessments import Shortfall
from jobs.managers import JobScopedQuerySet
from jobs.models import Job, User
from jobs.models.jobs import reference_of
from jobs.models.phone_records import Salted, WordsHashed, kept_but_for_erasure


class WaiverQuerySet(JobScopedQuerySet):
    def waiting(self) -> WaiverQuerySet:
        """Those that no second person has answered, of shortfalls still open."""
        return self.filter(answer__isnull=True, shortfall__closed_at__isnull=True)

    def waiting_for(self, person: User) -> WaiverQuerySet:
        """Those that this person may answer as the second one."""
        able = RawSQL(
            "%s IN (SELECT compliance_second_people("
            "compliance_waiver.job_id, compliance_waiver.recorded_by_id))",
            [person.pk],
            output_field=models.BooleanField(),
        )
        return self.waiting().filter(able)

    def with_people(self) -> WaiverQuerySet:
        return self.select_related("recorded_by", "answer__answered_by", "job__property")


class Waiver(Salted, WordsHashed):
    """A compliance officer's reason to leave a shortfall. Counts once a second person agrees.

    It never makes the loft meet its rule, so no certificate follows from it.
    """

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="waivers")
    shortfall = models.ForeignKey(Shortfall, on_delete=models.PROTECT, related_name="waivers")
    reason = models.CharField(max_length=600)
    recorded_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = WaiverQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(reason__regex=r"\S"),
                name="waiver_has_reason",
                violation_error_message="reason: say why the shortfall is left as it is.",
            ),
        ]
        triggers = [
            *kept_but_for_erasure("waiver_is_kept", words=["reason"], words_hashed="true"),
            pgtrigger.Trigger(
                name="waiver_by_an_officer_of_an_open_shortfall",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert,
                func="""
                    IF NOT EXISTS (
                        SELECT 1 FROM jobs_user u JOIN jobs_job j ON j.company_id = u.company_id
                        WHERE u.id = NEW.recorded_by_id AND j.id = NEW.job_id
                          AND u.role = 'compliance_officer'
                    ) THEN
                        RAISE EXCEPTION 'A waiver is recorded by a compliance officer of the '
                            'company whose job it is.' USING ERRCODE = 'restrict_violation';
                    END IF;
                    IF NOT EXISTS (
                        SELECT 1 FROM compliance_shortfall s WHERE s.id = NEW.shortfall_id
                          AND s.job_id = NEW.job_id AND s.closed_at IS NULL
                    ) THEN
                        RAISE EXCEPTION 'A waiver is of an open shortfall of the same job.'
                            USING ERRCODE = 'restrict_violation';
                    END IF;
                    RETURN NEW;
                """,
            ),
        ]

    def __str__(self) -> str:
        return f"Waiver {self.pk} of {reference_of(self.job_id)}"

    @property
    def is_agreed(self) -> bool:
        return hasattr(self, "answer") and self.answer.agreed


class WaiverAnswer(Salted, WordsHashed):
    """What the second person says to a waiver, once."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="+")
    waiver = models.OneToOneField(Waiver, on_delete=models.PROTECT, related_name="answer")
    agreed = models.BooleanField()
    note = models.CharField(max_length=600, blank=True)
    answered_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    answered_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = JobScopedQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(agreed=True) | ~models.Q(note=""),
                name="waiver_turned_down_says_why",
                violation_error_message="note: say why the waiver is turned down.",
            ),
        ]
        triggers = [
            *kept_but_for_erasure("waiver_answer_is_kept", words=["note"], words_hashed="true"),
            pgtrigger.Trigger(
                name="waiver_answered_by_a_second_person",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert,
                func="""
                    IF NOT EXISTS (
                        SELECT 1 FROM compliance_waiver w
                        WHERE w.id = NEW.waiver_id AND w.job_id = NEW.job_id
                          AND NEW.answered_by_id IN (
                            SELECT compliance_second_people(w.job_id, w.recorded_by_id))
                    ) THEN
                        RAISE EXCEPTION 'A second person answers a waiver: another compliance '
                            'officer of the company or, without one, a planner; nobody who '
                            'worked on the loft, and its owner only where nobody else can.'
                            USING ERRCODE = 'restrict_violation';
                    END IF;
                    RETURN NEW;
                """,
            ),
        ]
