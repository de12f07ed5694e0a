"""What is still to be planned: needs of visits, the times agreed for them, and who is away."""

from __future__ import annotations

import pghistory
import pgtrigger
from django.contrib.postgres.fields import ArrayField, DateTimeRangeField
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from jobs.managers import AgreedWindowQuerySet, CompanyScopedQuerySet, VisitNeedQuerySet
from jobs.models.crews import Crew, Operative, Skill
from jobs.models.jobs import Job
from jobs.models.organisations import Company
from jobs.models.phone_records import erasable_history
from jobs.models.visit_kinds import VisitKind

HAS_START_AND_END = (
    models.Q(during__startswith__isnull=False)
    & models.Q(during__endswith__isnull=False)
    & models.Q(during__isempty=False)
)


@pghistory.track(**erasable_history("jobs_visitneed", "need_history_is_kept", "note"))
class VisitNeed(models.Model):
    """One visit, perhaps of several days, that a job needs before it can go on.

    Made and kept in step by `jobs.planning.needs`; what a planner set by hand (`set_by_hand`)
    stays. `state` is kept by a trigger on visits: a need is booked when every part of it has a
    visit, done when every part is done, and open again when one is cancelled or stopped.
    """

    class State(models.TextChoices):
        OPEN = "open", "To be booked"
        BOOKED = "booked", "Booked"
        DONE = "done", "Done"
        WITHDRAWN = "withdrawn", "Not needed any more"

    company = models.ForeignKey(Company, on_delete=models.PROTECT, related_name="visit_needs")
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="visit_needs")
    kind = models.CharField(max_length=10, choices=VisitKind)
    state = models.CharField(max_length=10, choices=State, default=State.OPEN)
    part_hours = ArrayField(
        models.FloatField(validators=[MinValueValidator(0.25), MaxValueValidator(14)]),
        help_text="Hours of each day's work; more than one where it takes longer than a day.",
    )
    crew_size = models.PositiveSmallIntegerField(
        default=2,
        validators=[MinValueValidator(1), MaxValueValidator(12)],
        help_text="How many operatives it needs at least.",
    )
    skills = ArrayField(models.CharField(max_length=24, choices=Skill), default=list, blank=True)
    volume_m3 = models.FloatField(
        default=0, validators=[MinValueValidator(0)], help_text="Packed volume of its rolls."
    )
    priority = models.PositiveSmallIntegerField(
        default=3,
        validators=[MinValueValidator(1), MaxValueValidator(5)],
        help_text="1 can wait, 5 comes first.",
    )
    earliest_on = models.DateField(null=True, blank=True)
    due_on = models.DateField(null=True, blank=True)
    fixed_crew = models.ForeignKey(
        Crew,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="needs_fixed_to_it",
        help_text="No other crew may do it.",
    )
    preferred_crew = models.ForeignKey(
        Crew,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="needs_that_prefer_it",
    )
    barred_crews = models.ManyToManyField(Crew, blank=True, related_name="needs_barred_to_it")
    after = models.ForeignKey(
        "self",
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="followed_by",
        help_text="The visit that must be over before this one begins.",
    )
    after_gap_hours = models.FloatField(
        default=0, validators=[MinValueValidator(0), MaxValueValidator(24 * 60)]
    )
    note = models.CharField(max_length=300, blank=True)
    set_by_hand = ArrayField(
        models.CharField(max_length=24),
        default=list,
        blank=True,
        help_text="Names of fields that a planner set and that are not worked out again.",
    )
    version = models.PositiveIntegerField(default=1)
    created_at = models.DateTimeField(auto_now_add=True)

    objects = VisitNeedQuerySet.as_manager()

    class Meta:
        ordering = ["-priority", "due_on", "id"]
        indexes = [
            models.Index(fields=["company", "state", "kind"], name="need_company_state_kind"),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["job", "kind"],
                condition=models.Q(state__in=("open", "booked")),
                name="need_one_live_a_job_and_kind",
                violation_error_message=(
                    "kind: this job waits for a visit of this kind already. Change that one."
                ),
            ),
            models.UniqueConstraint(fields=["id", "company"], name="need_id_company"),
            models.CheckConstraint(
                condition=models.Q(part_hours__len__gt=0),
                name="need_has_a_part",
                violation_error_message="part_hours: say how long the visit takes.",
            ),
            models.CheckConstraint(
                condition=models.Q(earliest_on__isnull=True)
                | models.Q(due_on__isnull=True)
                | models.Q(due_on__gte=models.F("earliest_on")),
                name="need_due_not_before_earliest",
                violation_error_message="due_on: a visit cannot be due before it may begin.",
            ),
            models.CheckConstraint(
                condition=models.Q(priority__range=(1, 5)),
                name="need_priority_one_to_five",
                violation_error_message="priority: give 1 (can wait) to 5 (comes first).",
            ),
        ]
        triggers = [
            pgtrigger.Trigger(
                name="need_follows_no_circle",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert | pgtrigger.UpdateOf("after_id"),
                condition=pgtrigger.Q(new__after__isnull=False),
                func="""
                    IF EXISTS (
                        WITH RECURSIVE before_it(id) AS (
                            SELECT NEW.after_id
                            UNION
                            SELECT n.after_id FROM jobs_visitneed n
                            JOIN before_it b ON n.id = b.id WHERE n.after_id IS NOT NULL
                        )
                        SELECT 1 FROM before_it WHERE id = NEW.id
                    ) THEN
                        RAISE EXCEPTION 'these visits would wait for each other'
                            USING ERRCODE = 'restrict_violation';
                    END IF;
                    RETURN NEW;
                """,
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} of {self.job.reference}"

    @property
    def hours(self) -> float:
        """How long it takes in all [h]."""
        return sum(self.part_hours)

    @property
    def key(self) -> str:
        """What the plan calls it."""
        return f"need:{self.pk}"


@pghistory.track(pghistory.InsertEvent(), pghistory.DeleteEvent(), obj_field=None)
class BarredCrew(VisitNeed.barred_crews.through):  # type: ignore[misc, name-defined]
    """That a crew is not sent to a needed visit, so that it has a history."""

    class Meta:
        proxy = True


@pghistory.track(
    pghistory.InsertEvent(),
    pghistory.UpdateEvent(),
    pghistory.DeleteEvent(),
    **erasable_history("jobs_agreedwindow", "window_history_is_kept", "note"),
)
class AgreedWindow(models.Model):
    """A time that the householder agreed to. A need with any is planned only inside one."""

    need = models.ForeignKey(VisitNeed, on_delete=models.CASCADE, related_name="windows")
    during = DateTimeRangeField(help_text="Between which times the crew may arrive.")
    whole = models.BooleanField(
        default=False, help_text="The crew must also have left by the end of it."
    )
    note = models.CharField(max_length=200, blank=True)
    version = models.PositiveIntegerField(default=1)

    objects = AgreedWindowQuerySet.as_manager()

    class Meta:
        ordering = ["during", "id"]
        constraints = [
            models.CheckConstraint(
                condition=HAS_START_AND_END,
                name="agreed_window_has_start_and_end",
                violation_error_message="during: an agreed time needs a start and a later end.",
            ),
            models.UniqueConstraint(
                fields=["need", "during"],
                name="agreed_window_once",
                violation_error_message="during: this time is agreed already.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.during.lower:%-d %b %Y %H:%M} to {self.during.upper:%-d %b %H:%M}"


@pghistory.track(pghistory.InsertEvent(), pghistory.UpdateEvent(), pghistory.DeleteEvent())
class Absence(models.Model):
    """A stretch of time in which a crew, or one operative of a crew, cannot be sent."""

    class Reason(models.TextChoices):
        ILL = "ill", "Ill"
        LEAVE = "leave", "Leave"
        COURSE = "course", "Course"
        VAN = "van", "Van off the road"
        OTHER = "other", "Other"

    company = models.ForeignKey(Company, on_delete=models.PROTECT, related_name="absences")
    crew = models.ForeignKey(
        Crew, null=True, blank=True, on_delete=models.CASCADE, related_name="absences"
    )
    operative = models.ForeignKey(
        Operative, null=True, blank=True, on_delete=models.CASCADE, related_name="absences"
    )
    during = DateTimeRangeField()
    reason = models.CharField(max_length=10, choices=Reason, default=Reason.LEAVE)
    note = models.CharField(max_length=200, blank=True)
    version = models.PositiveIntegerField(default=1)
    created_at = models.DateTimeField(auto_now_add=True)

    objects = CompanyScopedQuerySet.as_manager()

    class Meta:
        ordering = ["during", "id"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(crew__isnull=True, operative__isnull=False)
                | models.Q(crew__isnull=False, operative__isnull=True),
                name="absence_of_crew_or_operative",
                violation_error_message="crew: choose a crew or an operative, not both.",
            ),
            models.CheckConstraint(
                condition=HAS_START_AND_END,
                name="absence_has_start_and_end",
                violation_error_message="during: an absence needs a start and a later end.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.crew or self.operative} away ({self.get_reason_display().lower()})"
