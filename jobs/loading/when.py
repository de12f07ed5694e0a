"""When a load may be marked as on the van: on its day, or since the crew's working day before.

Vans are often loaded the evening before, and on Friday for Monday [common practice, no published
source]. Marked earlier, the depot's stock would be short of what still lies there.
"""

from __future__ import annotations

from datetime import date, timedelta

from django.utils import timezone

from jobs.errors import Conflict
from jobs.models import Crew
from jobs.planning.calendars import works_on

LONGEST_PAUSE_DAYS = 31
"""So far back a crew's working day before is looked for."""


def today() -> date:
    return timezone.localdate()


def loads_from(crew: Crew, day: date) -> date:
    """The first day on which the loads of the crew's `day` may be marked."""
    earlier = (day - timedelta(days=back) for back in range(1, LONGEST_PAUSE_DAYS + 1))
    return next((each for each in earlier if works_on(crew, each)), day)


def may_be_loaded(crew: Crew, day: date) -> bool:
    return today() >= loads_from(crew, day)


def refuse_too_early(crew: Crew, day: date) -> None:
    """Raises Conflict: it is too early to mark the loads of that day."""
    first = loads_from(crew, day)
    if today() < first:
        raise Conflict(
            f"It is too early: this load is for {day:%a %-d %b %Y}.",
            field="day",
            remedy=f"Mark it from {first:%a %-d %b} on, the working day before.",
        )
