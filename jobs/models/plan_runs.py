"""Runs of the planner, and what each proposes to change."""

from __future__ import annotations

from django.contrib.postgres.fields import ArrayField, DateTimeRangeField
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from jobs.managers import CompanyScopedQuerySet, ProposedVisitQuerySet
from jobs.models.crews import Crew, Van
from jobs.models.office_prices import OfficePrices
from jobs.models.organisations import Company
from jobs.models.people import User
from jobs.models.planning import VisitNeed
from jobs.models.visits import Visit


class PlanRun(models.Model):
    """One search for a plan, from the asking to the planner's answer.

    `best` is the best plan so far, written while the search goes on; proposals appear only
    together with the state `ready`, in one transaction.
    """

    class State(models.TextChoices):
        WAITING = "waiting", "Waiting for a planner process"
        RUNNING = "running", "Looking for a better plan"
        STOPPING = "stopping", "Stopping; the best plan so far is kept"
        READY = "ready", "Ready to be looked at"
        ANSWERED = "answered", "Accepted or discarded"
        FAILED = "failed", "Failed"

    UNDER_WAY = (State.WAITING, State.RUNNING, State.STOPPING)

    company = models.ForeignKey(Company, on_delete=models.PROTECT, related_name="plan_runs")
    first_day = models.DateField()
    days = models.PositiveSmallIntegerField(
        default=10, validators=[MinValueValidator(1), MaxValueValidator(42)]
    )
    from_moment = models.DateTimeField(help_text="Nothing before this moment is touched.")
    because = models.CharField(max_length=200, blank=True, help_text="Why it was asked for.")
    seconds = models.PositiveSmallIntegerField(
        default=60,
        validators=[MinValueValidator(1), MaxValueValidator(600)],
        help_text="How long to look at most.",
    )
    overruns = models.JSONField(
        default=dict, blank=True, help_text="Visits that last longer: id -> when they will end."
    )
    wishes = models.JSONField(
        default=dict, blank=True, help_text="What matters more than usual, and what may move."
    )
    prices = models.ForeignKey(
        OfficePrices,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="runs",
        help_text="The office's prices when it was asked for; none: the usual ones.",
    )
    seed = models.PositiveIntegerField(default=1)
    state = models.CharField(max_length=10, choices=State, default=State.WAITING)
    failure = models.CharField(max_length=400, blank=True)
    asked_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="plan_runs")
    asked_at = models.DateTimeField(auto_now_add=True)
    started_at = models.DateTimeField(null=True, blank=True)
    heartbeat_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    claim = models.UUIDField(null=True, blank=True, help_text="Which process works on it.")
    progress = models.JSONField(default=dict, blank=True)
    best = models.JSONField(null=True, blank=True)
    notes = ArrayField(models.CharField(max_length=300), default=list, blank=True)

    objects = CompanyScopedQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["company"],
                condition=models.Q(state__in=("waiting", "running", "stopping")),
                name="plan_run_one_at_a_time",
                violation_error_message="A plan is being looked for already. Stop it or wait.",
            ),
            models.CheckConstraint(
                condition=~models.Q(state="failed") | ~models.Q(failure=""),
                name="plan_run_failed_says_why",
                violation_error_message="failure: say why the run failed.",
            ),
        ]

    def __str__(self) -> str:
        return f"Plan of {self.days} days from {self.first_day:%-d %b %Y}"

    @property
    def is_under_way(self) -> bool:
        return self.state in self.UNDER_WAY

    @property
    def looks_at_all(self) -> bool:
        """Visits that are not booked yet are planned as well."""
        return bool(self.wishes.get("waiting", "plan") == "plan")


class ProposedVisit(models.Model):
    """One line of a plan beside what is booked: new, moved, another crew, kept, taken off, left.

    `need_version` and `visit_version` are those the plan was made with; a line whose need or
    visit has changed since is refused when it is accepted.
    """

    class Change(models.TextChoices):
        NEW = "new", "New"
        MOVED = "moved", "Moved"
        OTHER_CREW = "other_crew", "Another crew"
        KEPT = "kept", "As booked"
        TAKEN_OFF = "taken_off", "Taken off"
        LEFT = "left", "Not planned"

    class Answer(models.TextChoices):
        NONE = "none", "Not answered"
        ACCEPTED = "accepted", "Accepted"
        REFUSED = "refused", "Could not be accepted"
        DISCARDED = "discarded", "Discarded"

    run = models.ForeignKey(PlanRun, on_delete=models.CASCADE, related_name="proposals")
    need = models.ForeignKey(
        VisitNeed, null=True, blank=True, on_delete=models.PROTECT, related_name="proposals"
    )
    visit = models.ForeignKey(
        Visit, null=True, blank=True, on_delete=models.PROTECT, related_name="proposals"
    )
    part = models.PositiveSmallIntegerField(default=1)
    change = models.CharField(max_length=10, choices=Change)
    crew = models.ForeignKey(
        Crew, null=True, blank=True, on_delete=models.PROTECT, related_name="proposals"
    )
    van = models.ForeignKey(
        Van, null=True, blank=True, on_delete=models.PROTECT, related_name="proposals"
    )
    during = DateTimeRangeField(null=True, blank=True)
    sequence = models.PositiveSmallIntegerField(default=0, help_text="Place in the crew's day.")
    travel_s = models.PositiveIntegerField(default=0, help_text="Driving to it.")
    travel_m = models.PositiveIntegerField(default=0)
    was_crew = models.ForeignKey(
        Crew, null=True, blank=True, on_delete=models.PROTECT, related_name="left_proposals"
    )
    was_during = DateTimeRangeField(null=True, blank=True)
    cost_min = models.FloatField(
        null=True, blank=True, help_text="What leaving it elsewhere would cost (minutes of travel)."
    )
    why = models.CharField(max_length=600, blank=True)
    reasons = models.JSONField(default=list, blank=True)
    need_version = models.PositiveIntegerField(null=True, blank=True)
    visit_version = models.PositiveIntegerField(null=True, blank=True)
    answer = models.CharField(max_length=10, choices=Answer, default=Answer.NONE)
    answer_words = models.CharField(max_length=400, blank=True)
    answered_at = models.DateTimeField(null=True, blank=True)
    answered_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="answered_proposals"
    )

    objects = ProposedVisitQuerySet.as_manager()

    class Meta:
        ordering = ["run_id", "crew__name", "during", "id"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(need__isnull=False) | models.Q(visit__isnull=False),
                name="proposal_of_need_or_visit",
                violation_error_message="A proposal is about a visit or what waits for one.",
            ),
            models.CheckConstraint(
                condition=models.Q(change__in=("left", "taken_off"))
                | models.Q(crew__isnull=False, during__isnull=False),
                name="proposal_says_who_and_when",
                violation_error_message="A proposal names its crew and its time.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_change_display()}: {self.need or self.visit}"
