"""An office whose crews can be planned: positions, vans, needs, and a run that is ready."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any

from django.utils import timezone

from jobs.models import Crew, Job, PlanRun, ProposedVisit, Stage, Visit, VisitNeed
from jobs.planning import run_work, runs
from jobs.planning.calendars import at, works_on
from jobs.planning.needs import keep_needs_in_step, need_for
from tests.factories import OperativeFactory, PropertyFactory
from tests.jobs.planner_scene import Office

LEICESTER = (52.6345, -1.1297)


def a_day_ahead(crew: Crew) -> date:
    """The next day but one on which the crew works."""
    day = timezone.localdate() + timedelta(days=2)
    while not works_on(crew, day):
        day += timedelta(days=1)
    return day


def based_crew(office: Office, *skills: str, hands: int = 2, **values: Any) -> Crew:
    """A crew with a base in the middle of its homes, and enough operatives to lay."""
    crew = office.crew(
        *skills, base_latitude_deg=LEICESTER[0], base_longitude_deg=LEICESTER[1], **values
    )
    for _ in range(hands - 1):
        OperativeFactory(company=office.company, crew=crew, skills=list(skills or ["insulation"]))
    return crew


def home(office: Office, north_km: float = 1.0, east_km: float = 0.0, **values: Any) -> Any:
    """A home so far from the base."""
    place = {
        "latitude_deg": LEICESTER[0] + north_km / 111.2,
        "longitude_deg": LEICESTER[1] + east_km / 67.5,
    }
    return PropertyFactory(company=office.company, **{**place, **values})


def to_fit(office: Office, north_km: float = 1.0, **values: Any) -> VisitNeed:
    """A job that waits for its fitting visit of four hours."""
    job: Job = office.job(Stage.TO_PLAN, property=home(office, north_km), **values)
    keep_needs_in_step(job)
    need = need_for(job, "fitting")
    assert need is not None
    return need


def booked(office: Office, crew: Crew, day: date, hour: float, **given: Any) -> Visit:
    """A fitting visit of that crew; `hour` is by the clock."""
    need = given.pop("need", None) or to_fit(office, given.pop("north_km", 1.0))
    starts_at = at(day, (datetime.min + timedelta(hours=hour)).time())
    return office.booked(need.job, crew, starts_at=starts_at, **given)


def asked(office: Office, day: date, **given: Any) -> PlanRun:
    """A run that waits for a process."""
    values = {"days": 5, "seconds": 2} | given
    return runs.start_run(office.company, by=office.planner, first_day=day, **values)


def planned(office: Office, day: date, **given: Any) -> PlanRun:
    """A run that is ready."""
    run = run_work.work_on(asked(office, day, **given).pk)
    assert run is not None
    assert run.state == "ready", run.failure
    return run


def ready_run(office: Office, **values: Any) -> PlanRun:
    """A run that is ready, without any lines yet."""
    plain = {"first_day": timezone.localdate(), "from_moment": timezone.now(), "state": "ready"}
    return PlanRun.objects.create(
        company=office.company, asked_by=office.planner, **{**plain, **values}
    )


def line_for(run: PlanRun, visit: Visit, crew: Crew, starts_at: datetime) -> ProposedVisit:
    """A line that moves a visit."""
    visit.refresh_from_db()
    lasts = visit.during.upper - visit.during.lower
    return ProposedVisit.objects.create(
        run=run,
        need=visit.need,
        visit=visit,
        part=visit.part,
        change="moved" if crew.pk == visit.crew_id else "other_crew",
        crew=crew,
        van=visit.van,
        during=(starts_at, starts_at + lasts),
        was_crew=visit.crew,
        was_during=visit.during,
        need_version=visit.need.version,
        visit_version=visit.version,
    )


def line_of_need(run: PlanRun, need: VisitNeed, crew: Crew, starts_at: datetime) -> ProposedVisit:
    """A line that books the first part of a need."""
    need.refresh_from_db()
    return ProposedVisit.objects.create(
        run=run,
        need=need,
        change="new",
        crew=crew,
        van=crew.van,
        during=(starts_at, starts_at + timedelta(hours=need.part_hours[0])),
        need_version=need.version,
    )
