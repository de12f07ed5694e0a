"""When a crew works: its days of the week, its nation's bank holidays, who of it is away.

Bank holidays come from the `holidays` library, by nation of the United Kingdom. A company that
works on one gives the crew another nation or books by hand: booking does not refuse a holiday.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import lru_cache

import holidays
from django.utils import timezone

from jobs.models import Absence, Crew, Nation, Operative

SUBDIVISIONS: dict[str, str] = {
    Nation.ENGLAND: "ENG",
    Nation.WALES: "WLS",
    Nation.SCOTLAND: "SCT",
    Nation.NORTHERN_IRELAND: "NIR",
}


@lru_cache(maxsize=64)
def _holidays_of(year: int, subdivision: str) -> Mapping[date, str]:
    found = holidays.country_holidays("GB", subdiv=subdivision, years=year, language="en_GB")
    return dict(found.items())


def holiday_on(day: date, nation: str) -> str:
    """The name of the bank holiday of a nation on a day, or nothing."""
    return _holidays_of(day.year, SUBDIVISIONS[nation]).get(day, "")


def works_on(crew: Crew, day: date) -> bool:
    """Whether a day is one of the crew's weekdays and no bank holiday of its nation."""
    return day.isoweekday() in crew.works_on and not holiday_on(day, crew.nation)


@dataclass(frozen=True, slots=True)
class Stretch:
    """From one moment to another, and why."""

    begins: datetime
    ends: datetime
    why: str = ""


@dataclass(frozen=True, slots=True)
class WorkingDay:
    """One crew's working time on one day, holidays and absences already taken out.

    `pauses`: stretches inside it in which the crew is away; its own break is not among them.
    `operatives`: who is there, with their skills; somebody away for a part of the day counts as
    away all day, since a crew is sent as it sets off.
    """

    crew: Crew
    day: date
    opens: datetime
    closes: datetime
    pauses: tuple[Stretch, ...]
    operatives: tuple[Operative, ...]

    @property
    def crew_size(self) -> int:
        return len(self.operatives)

    @property
    def skills(self) -> frozenset[str]:
        return frozenset(skill for person in self.operatives for skill in person.skills)


@dataclass(frozen=True, slots=True)
class Away:
    """Who is away when: stretches by crew and by operative."""

    crews: Mapping[int, tuple[Stretch, ...]]
    operatives: Mapping[int, tuple[Stretch, ...]]


def away_between(company_id: int, begins: datetime, ends: datetime) -> Away:
    """The absences of a company that touch a time. One query."""
    crews: dict[int, list[Stretch]] = defaultdict(list)
    operatives: dict[int, list[Stretch]] = defaultdict(list)
    found = Absence.objects.filter(company_id=company_id, during__overlap=(begins, ends))
    for absence in found.order_by("during"):
        stretch = Stretch(
            absence.during.lower, absence.during.upper, absence.get_reason_display().lower()
        )
        if absence.crew_id is not None:
            crews[absence.crew_id].append(stretch)
        else:
            operatives[absence.operative_id].append(stretch)
    return Away(
        {key: tuple(value) for key, value in crews.items()},
        {key: tuple(value) for key, value in operatives.items()},
    )


def at(day: date, clock: time) -> datetime:
    """A time of day on the clock of the project's time zone."""
    return timezone.make_aware(datetime.combine(day, clock))


def midnight(day: date) -> datetime:
    return at(day, time())


def working_day(crew: Crew, day: date, away: Away) -> WorkingDay | None:
    """The crew's working time on a day; None when it does not work at all.

    Absences at the start or the end of its day shorten it; those in the middle become pauses.
    The crew's operatives must be loaded (`prefetch_related("operatives")`).
    """
    if not crew.is_active or not works_on(crew, day):
        return None
    opens, closes = at(day, crew.day_starts_at), at(day, crew.day_ends_at)
    pauses: list[Stretch] = []
    for stretch in _merged(away.crews.get(crew.pk, ())):
        if stretch.ends <= opens or stretch.begins >= closes:
            continue
        if stretch.begins <= opens:
            opens = max(opens, stretch.ends)
        elif stretch.ends >= closes:
            closes = min(closes, stretch.begins)
        else:
            pauses.append(stretch)
    there = tuple(
        person
        for person in crew.operatives.all()
        if not _touches(away.operatives.get(person.pk, ()), opens, closes)
    )
    if opens >= closes or not there:
        return None
    return WorkingDay(crew, day, opens, closes, tuple(pauses), there)


def days_from(first: date, days: int) -> tuple[date, ...]:
    """`days` days of the calendar, the first included."""
    return tuple(first + timedelta(days=n) for n in range(days))


def longest_working_seconds(crews: Iterable[Crew]) -> int:
    """The longest working day among crews, their breaks taken out [s]; 0 without crews."""
    return max((_working_seconds(crew) for crew in crews), default=0)


def _working_seconds(crew: Crew) -> int:
    first, last = crew.day_starts_at, crew.day_ends_at
    minutes = (last.hour - first.hour) * 60 + last.minute - first.minute - crew.break_minutes
    return max(0, minutes * 60)


def _merged(stretches: Iterable[Stretch]) -> list[Stretch]:
    """Stretches in order of time, those that touch made one."""
    merged: list[Stretch] = []
    for stretch in sorted(stretches, key=lambda each: each.begins):
        if merged and stretch.begins <= merged[-1].ends:
            last = merged[-1]
            merged[-1] = Stretch(last.begins, max(last.ends, stretch.ends), last.why)
        else:
            merged.append(stretch)
    return merged


def _touches(stretches: Iterable[Stretch], begins: datetime, ends: datetime) -> bool:
    return any(stretch.begins < ends and stretch.ends > begins for stretch in stretches)
