"""What is to be planned in the demo: needs, times agreed, who is away, and a plan to look at."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta

import pghistory
from django.utils import timezone

from deploy.demo.people import CREW_NATIONS, Cast
from jobs.models import Absence, Operative, PlanRun, Visit, VisitNeed
from jobs.planning import run_work
from jobs.planning.absences import record_absence
from jobs.planning.agreeing import agree_window
from jobs.planning.calendars import at, midnight, works_on
from jobs.planning.needs import catch_up_needs

DAYS = 10
SECONDS = 1
AGREED = 8
URGENT = 4


def make_planning(cast: Cast, now: datetime) -> None:
    """Everything the planning page shows of an invented week."""
    for name, nations in CREW_NATIONS.items():
        crew = cast.crews[name]
        crew.nation, crew.overtime_minutes = nations[0], 60
        crew.save(update_fields=["nation", "overtime_minutes"])
    catch_up_needs(cast.company)
    _tell_householders(cast, now)
    _agree_times(cast, now)
    _send_away(cast, now)
    _look_for_a_plan(cast, now)


def _tell_householders(cast: Cast, now: datetime) -> None:
    """Every other visit ahead was told to the householder."""
    ahead = Visit.objects.filter(company=cast.company, status="booked", during__startswith__gt=now)
    ids = list(ahead.order_by("during").values_list("pk", flat=True))[::2]
    with pghistory.context(user=cast.people["planner"].pk, what="householder told"):
        Visit.objects.filter(pk__in=ids).update(promised_at=now)


def _agree_times(cast: Cast, now: datetime) -> None:
    """Some householders agreed to a morning or an afternoon; some jobs are urgent."""
    waiting = VisitNeed.objects.filter(company=cast.company, kind="fitting").open()
    needs = list(waiting.order_by("pk")[: AGREED + URGENT])
    planner = cast.people["planner"]
    for number, need in enumerate(needs[:AGREED]):
        day = _working_day(cast, now, 2 + number // 2)
        opens, closes = ((8, 12), (12, 16))[number % 2]
        agree_window(
            need, at(day, time(opens)), at(day, time(closes)), by=planner, note="Agreed by phone"
        )
    urgent = [need.pk for need in needs[AGREED:]]
    VisitNeed.objects.filter(pk__in=urgent).update(priority=5, set_by_hand=["priority"])


def _send_away(cast: Cast, now: datetime) -> None:
    """One operative on leave, one crew at a course for a morning."""
    planner = cast.people["planner"]
    person = Operative.objects.filter(company=cast.company, name="Kit Sedge").first()
    day = _working_day(cast, now, 4)
    if person is not None:
        record_absence(
            cast.company,
            by=planner,
            operative=person,
            starts_at=midnight(day),
            ends_at=midnight(day + timedelta(days=3)),
            reason=Absence.Reason.LEAVE,
        )
    record_absence(
        cast.company,
        by=planner,
        crew=cast.crews["Crew Heron"],
        starts_at=at(day, time(8)),
        ends_at=at(day, time(11)),
        reason=Absence.Reason.COURSE,
        note="Ladders and working at height",
    )


def _look_for_a_plan(cast: Cast, now: datetime) -> None:
    """A plan of the next two weeks, found in a second, for the planner to answer."""
    run = PlanRun.objects.create(
        company=cast.company,
        first_day=timezone.localdate(now) + timedelta(days=1),
        days=DAYS,
        seconds=SECONDS,
        from_moment=now,
        because="The weeks ahead",
        asked_by=cast.people["planner"],
    )
    run_work.work_on(run.pk)


def _working_day(cast: Cast, now: datetime, ahead: int) -> date:
    """A day at least so many days ahead on which the crews work."""
    day = timezone.localdate(now) + timedelta(days=ahead)
    while not all(works_on(crew, day) for crew in cast.crews.values()):
        day += timedelta(days=1)
    return day
