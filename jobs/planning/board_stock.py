"""What the depots' stock says about each day that the board shows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.utils import timezone

from jobs.loading.stock import Projection, projection_of
from jobs.models import Depot, User

FURTHEST_DAYS = 60


@dataclass(frozen=True, slots=True)
class DayStock:
    """What the depots' stock says about a day; `short`: something would run out."""

    words: str
    short: bool


def stock_of_days(user: User, days: Sequence[date]) -> dict[date, DayStock]:
    """By day, whether what is booked can be loaded; empty for a company without a depot.

    Days gone by and days further than FURTHEST_DAYS away are left out. The number of queries
    grows with the depots, not with visits or days.
    """
    today = timezone.localdate()
    ahead = [day for day in days if 0 <= (day - today).days < FURTHEST_DAYS]
    if not ahead:
        return {}
    depots = Depot.objects.visible_to(user).filter(is_active=True)
    span = (ahead[-1] - today).days + 1
    projections = [projection_of(depot, today, span) for depot in depots]
    return {day: _of_day(projections, day) for day in ahead if projections}


def _of_day(projections: Sequence[Projection], day: date) -> DayStock:
    short = [
        f"{_name_of(projection, code)}: {missing} too few"
        for projection in projections
        for code, missing in projection.short_on(day).items()
    ]
    if not short:
        return DayStock("stock covers it", short=False)
    more = f" and {len(short) - 1} more" if len(short) > 1 else ""
    return DayStock(f"{short[0]}{more}", short=True)


def _name_of(projection: Projection, code: str) -> str:
    item = projection.items.get(code)
    return item.name if item else code
