"""Visits: a crew, with a van, at a property, for a stretch of time."""

from __future__ import annotations

from typing import Self

import pghistory
import pgtrigger
from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import DateTimeRangeField, RangeOperators
from django.contrib.postgres.fields.ranges import RangeStartsWith
from django.db import models

from jobs.managers import JobScopedQuerySet, VisitQuerySet
from jobs.models.crews import Crew, Operative, Van
from jobs.models.jobs import Job
from jobs.models.organisations import Company
from jobs.models.people import User
from jobs.models.phone_records import erasable_history
from jobs.models.planning import Absence, VisitNeed
from jobs.models.visit_kinds import VisitKind


def never_twice(name: str, field: str, who: str, *, live: models.Q) -> ExclusionConstraint:
    """An exclusion constraint: `field` is in one place at a time.

    Checked after each statement; a transaction that makes two visits change places defers the
    check to its end (`jobs.planning.swaps`).
    """
    return ExclusionConstraint(
        name=name,
        expressions=[(field, RangeOperators.EQUAL), ("during", RangeOperators.OVERLAPS)],
        condition=live,
        deferrable=models.Deferrable.IMMEDIATE,
        violation_error_message=(
            f"This {who} is already booked on another visit at that time. "
            f"Choose another time or another {who}."
        ),
    )


# The state of a need, by the parts of it that visits stand for, whoever changed the visits.
NEED_FOLLOWS_ITS_VISITS = """
    UPDATE jobs_visitneed n
    SET state = now_at.state, version = n.version + 1
    FROM (
        SELECT CASE
            WHEN count(*) FILTER (WHERE v.status = 'done') >= cardinality(w.part_hours)
                THEN 'done'
            WHEN count(*) FILTER (WHERE v.status IN ('booked', 'on_site', 'done'))
                >= cardinality(w.part_hours) THEN 'booked'
            ELSE 'open'
        END AS state
        FROM jobs_visitneed w LEFT JOIN jobs_visit v ON v.need_id = w.id
        WHERE w.id = NEW.need_id
        GROUP BY w.id, w.part_hours
    ) now_at
    WHERE n.id = NEW.need_id AND n.state <> 'withdrawn' AND n.state <> now_at.state;
    RETURN NULL;
"""


@pghistory.track(**erasable_history("jobs_visit", "visit_history_is_kept", "note", "stop_reason"))
class Visit(models.Model):
    Kind = VisitKind

    class Status(models.TextChoices):
        BOOKED = "booked", "Booked"
        ON_SITE = "on_site", "On site"
        DONE = "done", "Done"
        STOPPED = "stopped", "Stopped"
        CANCELLED = "cancelled", "Cancelled"

    company = models.ForeignKey(Company, on_delete=models.PROTECT, related_name="visits")
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="visits")
    kind = models.CharField(max_length=10, choices=Kind)
    status = models.CharField(max_length=10, choices=Status, default=Status.BOOKED)
    crew = models.ForeignKey(Crew, on_delete=models.PROTECT, related_name="visits")
    van = models.ForeignKey(
        Van, null=True, blank=True, on_delete=models.PROTECT, related_name="visits"
    )
    during = DateTimeRangeField(help_text="From arrival to leaving.")
    need = models.ForeignKey(
        VisitNeed, null=True, blank=True, on_delete=models.PROTECT, related_name="visits"
    )
    part = models.PositiveSmallIntegerField(
        default=1, help_text="Which day's work of its need, the first is 1."
    )
    promised_at = models.DateTimeField(
        null=True, blank=True, help_text="When the householder was told; moving it has a price."
    )
    held = models.BooleanField(default=False, help_text="A new plan must not move it.")
    note = models.TextField(blank=True)
    stop_reason = models.CharField(max_length=300, blank=True)
    booked_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="booked_visits")
    booked_at = models.DateTimeField(auto_now_add=True)
    arrived_at = models.DateTimeField(null=True, blank=True)
    left_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    objects = VisitQuerySet.as_manager()

    class Meta:
        ordering = ["during", "id"]
        # Days and weeks are asked for by their first and last moment, see VisitQuerySet.
        indexes = [models.Index(RangeStartsWith("during"), name="visit_begins")]
        constraints = [
            never_twice("crew_in_one_place", "crew", "crew", live=~models.Q(status="cancelled")),
            never_twice(
                "van_in_one_place",
                "van",
                "van",
                live=~models.Q(status="cancelled") & models.Q(van__isnull=False),
            ),
            models.CheckConstraint(
                condition=models.Q(during__startswith__isnull=False)
                & models.Q(during__endswith__isnull=False)
                & models.Q(during__isempty=False),
                name="visit_has_start_and_end",
                violation_error_message="during: a visit needs a start and a later end.",
            ),
            models.CheckConstraint(
                condition=~models.Q(status="stopped") | ~models.Q(stop_reason=""),
                name="visit_stopped_has_reason",
                violation_error_message="stop_reason: say why the work was stopped.",
            ),
            models.UniqueConstraint(
                fields=["need", "part"],
                condition=models.Q(need__isnull=False)
                & models.Q(status__in=("booked", "on_site", "done")),
                name="need_part_booked_once",
                violation_error_message="This visit was booked by somebody else meanwhile.",
            ),
        ]
        triggers = [
            pgtrigger.Trigger(
                name="visit_times_reach_operatives",
                when=pgtrigger.After,
                operation=pgtrigger.Update,
                func="""
                    UPDATE jobs_visitoperative
                    SET during = NEW.during, live = (NEW.status <> 'cancelled')
                    WHERE visit_id = NEW.id;
                    RETURN NULL;
                """,
            ),
            pgtrigger.Trigger(
                name="visit_keeps_its_need",
                when=pgtrigger.After,
                operation=pgtrigger.Insert | pgtrigger.UpdateOf("status", "need_id", "part"),
                condition=pgtrigger.Q(new__need__isnull=False),
                func=NEED_FOLLOWS_ITS_VISITS,
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.during.lower:%-d %b %Y %H:%M}"

    @property
    def starts_at(self):  # type: ignore[no-untyped-def]
        return self.during.lower

    @property
    def ends_at(self):  # type: ignore[no-untyped-def]
        return self.during.upper


class VisitOperativeQuerySet(JobScopedQuerySet):
    job_path = "visit__job"

    def with_absences(self) -> Self:
        """Each row with `is_away`: the operative has an absence during the visit."""
        absences = Absence.objects.filter(
            operative=models.OuterRef("operative"), during__overlap=models.OuterRef("during")
        )
        return self.annotate(is_away=models.Exists(absences))


@pghistory.track(pghistory.InsertEvent(), pghistory.DeleteEvent(), exclude=["during", "live"])
class VisitOperative(models.Model):
    """One operative on one visit. `during` and `live` are the visit's own, kept by triggers."""

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="visit_operatives")
    operative = models.ForeignKey(Operative, on_delete=models.PROTECT, related_name="on_visits")
    during = DateTimeRangeField(editable=False, null=True)
    live = models.BooleanField(editable=False, default=True)

    objects = VisitOperativeQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["visit", "operative"], name="operative_once_a_visit"),
            never_twice(
                "operative_in_one_place", "operative", "operative", live=models.Q(live=True)
            ),
        ]
        triggers = [
            pgtrigger.Trigger(
                name="visit_operative_takes_visit_times",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert,
                func="""
                    SELECT v.during, v.status <> 'cancelled' INTO NEW.during, NEW.live
                    FROM jobs_visit v WHERE v.id = NEW.visit_id;
                    RETURN NEW;
                """,
            )
        ]

    def __str__(self) -> str:
        return f"{self.operative} on visit {self.visit_id}"
