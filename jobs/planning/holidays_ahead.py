"""The bank holidays that a company's crews have in the weeks ahead."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta

from jobs.models import Crew, User
from jobs.planning.calendars import holiday_on

DAYS_AHEAD = 200


@dataclass(frozen=True, slots=True)
class HolidayAhead:
    """One bank holiday and the crews that have it."""

    day: date
    name: str
    crews: tuple[Crew, ...]


def holidays_ahead(user: User, today: date) -> list[HolidayAhead]:
    """Bank holidays of the next half year on which a crew would otherwise work. One query."""
    crews = list(Crew.objects.visible_to(user).filter(is_active=True))
    found: dict[tuple[date, str], list[Crew]] = defaultdict(list)
    for day in (today + timedelta(days=n) for n in range(DAYS_AHEAD)):
        for crew in crews:
            name = holiday_on(day, crew.nation)
            if name and day.isoweekday() in crew.works_on:
                found[day, name].append(crew)
    return [HolidayAhead(day, name, tuple(own)) for (day, name), own in sorted(found.items())]
