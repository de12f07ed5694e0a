"""A week at a glance: crews down, days across, the visits of each in order of time."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta

from django.utils import timezone

from jobs.models import Crew, User, Visit


@dataclass(frozen=True, slots=True)
class CrewDay:
    """One crew's visits on one day and the hours booked [h]."""

    day: date
    visits: tuple[Visit, ...]
    booked_hours: float


@dataclass(frozen=True, slots=True)
class CrewWeek:
    crew: Crew
    days: tuple[CrewDay, ...]
    booked_hours: float


@dataclass(frozen=True, slots=True)
class Week:
    monday: date
    days: tuple[date, ...]
    crews: tuple[CrewWeek, ...]

    @property
    def before(self) -> date:
        return self.monday - timedelta(days=7)

    @property
    def after(self) -> date:
        return self.monday + timedelta(days=7)


def monday_of(day: date) -> date:
    return day - timedelta(days=day.weekday())


def week_of(user: User, day: date, *, days: int = 5) -> Week:
    """The week `day` lies in, Monday first; a weekend is shown when something is booked on it."""
    monday = monday_of(day)
    by_place: dict[tuple[int, date], list[Visit]] = defaultdict(list)
    last = days
    for visit in (
        Visit.objects.visible_to(user)
        .live()
        .between(monday, monday + timedelta(days=7))
        .with_job()
        .order_by("during", "id")
    ):
        on = timezone.localtime(visit.during.lower).date()
        by_place[visit.crew_id, on].append(visit)
        last = max(last, (on - monday).days + 1)
    shown = tuple(monday + timedelta(days=n) for n in range(last))
    crews = Crew.objects.visible_to(user).filter(is_active=True).select_related("van")
    return Week(monday, shown, tuple(_crew_week(crew, shown, by_place) for crew in crews))


@dataclass(frozen=True, slots=True)
class CrewOnDay:
    """Where a crew is on one day, and the hours booked [h]."""

    crew: Crew
    visits: tuple[Visit, ...]
    booked_hours: float


def crews_on_day(user: User, day: date) -> list[CrewOnDay]:
    """Every bookable crew with its visits of the day. Two queries."""
    visits: dict[int, list[Visit]] = defaultdict(list)
    for visit in Visit.objects.visible_to(user).live().on_day(day).with_job().order_by("during"):
        visits[visit.crew_id].append(visit)
    crews = Crew.objects.visible_to(user).filter(is_active=True)
    found = []
    for crew in crews:
        on_day = crew_day(day, visits[crew.pk])
        found.append(CrewOnDay(crew, on_day.visits, on_day.booked_hours))
    return found


def _crew_week(
    crew: Crew, days: tuple[date, ...], by_place: dict[tuple[int, date], list[Visit]]
) -> CrewWeek:
    crew_days = tuple(crew_day(day, by_place.get((crew.pk, day), [])) for day in days)
    return CrewWeek(crew, crew_days, sum(day.booked_hours for day in crew_days))


def crew_day(day: date, visits: list[Visit]) -> CrewDay:
    seconds = sum((v.during.upper - v.during.lower).total_seconds() for v in visits)
    return CrewDay(day, tuple(visits), seconds / 3600)
