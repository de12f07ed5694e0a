"""What would run out, and what to order by when: looked ahead from the visits that are booked."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from django.utils import timezone

from jobs.loading.stock import ItemDay, Projection, projection_of
from jobs.models import Depot, StockItem, StockOrder, Visit
from jobs.planning.calendars import holiday_on

DAYS_AHEAD = 21
LONGEST_LOOK_BACK = 400


class Kind(StrEnum):
    RUNS_OUT = "runs_out"
    LOW = "low"
    NOT_KEPT = "not_kept"


@dataclass(frozen=True, slots=True)
class StockWarning:
    """An item that booked visits bring below what there is, or below its reorder point.

    on: the first day on which it does. left: units at the end of that day (below zero is what is
    missing). visits: those of that day that take it. packs, units: what to order in whole packs
    to be back above the reorder point until the end of the look ahead. order_by: the last working
    day on which it can be ordered and still be there on the working day before `on`. `late`: that
    day has passed and something is missing; `comes_on` is when an order of today would come.
    """

    code: str
    name: str
    kind: Kind
    on: date
    left: int
    visits: tuple[Visit, ...]
    item: StockItem | None = None
    packs: int = 0
    order_by: date | None = None
    comes_on: date | None = None
    late: bool = False

    @property
    def units(self) -> int:
        return self.packs * self.item.units_per_pack if self.item else 0

    @property
    def why(self) -> str:
        """What is wrong, to be read beside the item's name."""
        day = f"{self.on:%a %-d %b}"
        if self.item is None:
            return f"{-self.left:,} needed on {day}, and the depot keeps none."
        if self.kind is Kind.RUNS_OUT:
            return f"{-self.left:,} too few on {day}."
        return f"{self.left:,} left on {day}, {self.item.reorder_point:,} to be kept."

    @property
    def sentence(self) -> str:
        """The warning by itself."""
        return f"{self.name}: {self.why}"


def warnings_of(
    depot: Depot, days: int = DAYS_AHEAD, *, today: date | None = None
) -> tuple[StockWarning, ...]:
    """What booked visits of the next `days` days run short of, the most urgent first."""
    today = today or timezone.localdate()
    return warnings_in(projection_of(depot, today, days), today)


def warnings_in(projection: Projection, today: date) -> tuple[StockWarning, ...]:
    """The warnings of a projection that was made already."""
    yard = WorkingDays(projection.depot)
    found = (
        _warning(projection, code, rows, yard, today) for code, rows in projection.by_item.items()
    )
    order = {Kind.NOT_KEPT: 0, Kind.RUNS_OUT: 0, Kind.LOW: 1}
    return tuple(
        sorted((w for w in found if w), key=lambda w: (order[w.kind], w.order_by or w.on, w.code))
    )


def overdue_orders(depot: Depot, today: date) -> list[StockOrder]:
    """Orders that were due on a day gone by and never arrived; nothing counts on them."""
    return list(StockOrder.objects.open().filter(depot=depot, due_on__lt=today).with_names())


def _warning(
    projection: Projection,
    code: str,
    rows: tuple[ItemDay, ...],
    yard: WorkingDays,
    today: date,
) -> StockWarning | None:
    item = projection.items.get(code)
    keep = item.reorder_point if item else 0
    short = next((row for row in rows if row.needed and row.opening < row.needed), None)
    low = next((row for row in rows if row.closing < keep), None)
    row = short or low
    if row is None or (item is not None and not item.is_active and short is None):
        return None
    left = row.opening - row.needed if short else row.closing
    needs = projection.needs.get(row.day)
    visits = needs.visits.get(code, ()) if needs else ()
    if item is None:
        name = needs.roll_names.get(code, code) if needs else code
        return StockWarning(code, name, Kind.NOT_KEPT, row.day, left, visits)
    least = min(min(r.closing, r.opening - r.needed) for r in rows)
    order_by = yard.order_by(row.day, item.lead_time_days)
    return StockWarning(
        code=code,
        name=item.name,
        kind=Kind.RUNS_OUT if short else Kind.LOW,
        on=row.day,
        left=left,
        visits=visits,
        item=item,
        packs=math.ceil((keep - least) / item.units_per_pack),
        order_by=order_by if short else max(order_by, today),
        comes_on=yard.comes_on(today, item.lead_time_days),
        late=bool(short) and order_by < today,
    )


class WorkingDays:
    """Days on which suppliers deliver to a depot: its weekdays, no bank holiday of its nation.

    A depot without opening hours is taken as open Monday to Friday. A lead time counts working
    days from Monday to Friday, bank holidays left out, the day of the order not counted [common
    practice].
    """

    def __init__(self, depot: Depot) -> None:
        self.nation = depot.nation
        self.weekdays = {hours.weekday for hours in depot.hours.all()} or set(range(5))

    def is_working(self, day: date) -> bool:
        return day.weekday() < 5 and not holiday_on(day, self.nation)

    def is_open(self, day: date) -> bool:
        return day.weekday() in self.weekdays and not holiday_on(day, self.nation)

    def order_by(self, needed_on: date, lead_time_days: int) -> date:
        """The last day to order what is loaded on the morning of `needed_on`."""
        there_by = next(day for day in _back_from(needed_on) if self.is_open(day))
        if lead_time_days == 0:
            return there_by
        working = (day for day in _back_from(there_by) if self.is_working(day))
        return next(day for n, day in enumerate(working, start=1) if n == lead_time_days)

    def comes_on(self, ordered_on: date, lead_time_days: int) -> date:
        """When an order of a day arrives: after the lead time, on a day the depot is open."""
        day, left = ordered_on, lead_time_days
        while left:
            day += timedelta(days=1)
            left -= self.is_working(day)
        while not self.is_open(day):
            day += timedelta(days=1)
        return day


def _back_from(day: date) -> Iterator[date]:
    return (day - timedelta(days=n) for n in range(1, LONGEST_LOOK_BACK))
