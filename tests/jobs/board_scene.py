"""A planning board: an office with crews that have a base and a van, and days ahead of today."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from typing import Any

from django.utils import timezone

from jobs.models import Crew, Job, Nation, Stage, Visit, VisitNeed
from jobs.planning.board_parts import first_working_day
from jobs.planning.calendars import holiday_on
from tests.factories import OperativeFactory, PropertyFactory
from tests.jobs.planner_scene import Office, an_office

BASE = {"base_latitude_deg": 52.63, "base_longitude_deg": -1.13, "base_postcode": "LE1 1QZ"}


def a_board() -> Office:
    return an_office()


def a_crew(office: Office, name: str, *skills: str, **values: Any) -> Crew:
    """A crew of two with a van of its own, working out of Leicester."""
    van = values.pop("van", None) or office.van(name=f"Van {name}")
    able = skills or ("insulation",)
    crew = office.crew(*able, name=name, van=van, **BASE, **values)
    OperativeFactory(company=office.company, crew=crew, skills=list(able))
    return crew


def next_week() -> date:
    """A Monday to Thursday, a week or more ahead, that is no holiday anywhere in England."""
    day = first_working_day(timezone.localdate() + timedelta(days=7))
    while day.weekday() > 3 or holiday_on(day, Nation.ENGLAND):
        day = first_working_day(day + timedelta(days=1))
    return day


def at_clock(hour: float, day: date | None = None) -> datetime:
    clock = time(int(hour), round(hour % 1 * 60))
    return timezone.make_aware(datetime.combine(day or next_week(), clock))


def a_job(office: Office, address: str, stage: str = Stage.TO_PLAN, **values: Any) -> Job:
    place = {"latitude_deg": 52.68, "longitude_deg": -1.20} | values.pop("place", {})
    home = PropertyFactory(company=office.company, address_line_1=address, **place)
    return office.job(stage, property=home, **values)


def a_visit(office: Office, crew: Crew, address: str, hour: float = 8, **given: Any) -> Visit:
    """A fitting visit of four hours on the board's day, with the crew's van."""
    job = a_job(office, address, **given.pop("job", {}))
    starts_at = at_clock(hour, given.pop("day", None))
    return office.booked(job, crew, starts_at=starts_at, van=crew.van, **given)


def a_need(office: Office, address: str, **values: Any) -> VisitNeed:
    """A fitting of three hours that waits."""
    job = a_job(office, address)
    need, _ = VisitNeed.objects.get_or_create(
        job=job, kind="fitting", company=office.company, defaults={"part_hours": [3.0]}
    )
    for name, value in ({"part_hours": [3.0], "crew_size": 1} | values).items():
        setattr(need, name, value)
    need.save()
    return need
