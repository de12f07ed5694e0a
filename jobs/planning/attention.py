"""What needs the planner's hand: counted here, shown on the desk and in the header."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Count, Exists, OuterRef, Q, QuerySet

from jobs.intake.nations import AREA_NATIONS
from jobs.models import IntakeBatch, IntakeRow, Job, Property, Stage, User, Visit

BOOKED = ("booked", "on_site")
LAYERS_TAKE_AT_MOST = timedelta(minutes=15)


@dataclass(frozen=True, slots=True)
class StageCount:
    stage: Stage
    count: int


def stage_counts(user: User) -> list[StageCount]:
    """How many jobs stand at each stage, in the order of the road; stages without any count 0."""
    found = dict(Job.objects.visible_to(user).order_by().values_list("stage").annotate(Count("pk")))
    return [StageCount(stage, found.get(stage.value, 0)) for stage in Stage]


def without_visit(jobs: QuerySet[Job], *kinds: str) -> QuerySet[Job]:
    """Jobs that no booked or running visit of these kinds is for."""
    coming = Visit.objects.filter(job=OuterRef("pk"), kind__in=kinds, status__in=BOOKED)
    return jobs.exclude(Exists(coming))


def late_jobs(user: User, today: date) -> QuerySet[Job]:
    return Job.objects.visible_to(user).late(today)


def jobs_to_plan(user: User) -> QuerySet[Job]:
    return Job.objects.visible_to(user).at_stage(Stage.TO_PLAN)


def jobs_left_to_quantify(user: User, now: datetime) -> QuerySet[Job]:
    """Surveyed jobs whose layers should have been worked out a while ago."""
    waiting = Job.objects.visible_to(user).at_stage(Stage.TO_QUANTIFY)
    return waiting.filter(stage_since__lt=now - LAYERS_TAKE_AT_MOST)


def jobs_to_survey_unbooked(user: User) -> QuerySet[Job]:
    return without_visit(Job.objects.visible_to(user).at_stage(Stage.TO_SURVEY), "survey")


def overdue_visits(user: User, today: date) -> QuerySet[Visit]:
    """Visits of days gone by that nobody began."""
    return Visit.objects.visible_to(user).never_begun(today)


def unconfirmed_homes(user: User) -> QuerySet[Property]:
    """Homes near a border whose nation nobody confirmed (taken in by another way than ours)."""
    straddling = [area for area, nations in AREA_NATIONS.items() if len(nations) > 1]
    near = Q()
    for area in straddling:
        near |= Q(postcode__regex=rf"^{area}[0-9]")
    return Property.objects.visible_to(user).filter(near, nation_confirmed=False)


def batches_to_mend(user: User) -> QuerySet[IntakeBatch]:
    """Spreadsheets looked through but not taken in, or refused, not older than the latest."""
    return IntakeBatch.objects.visible_to(user).filter(state=IntakeBatch.State.PREVIEW)


def rows_to_mend(user: User) -> int:
    latest = IntakeBatch.objects.visible_to(user).order_by("-pk").values("pk")[:1]
    return IntakeRow.objects.filter(
        batch__in=latest, outcome=IntakeRow.Outcome.BAD, batch__state="imported"
    ).count()
