"""What a depot holds, and what it will hold: stock now, on a day, and day by day."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from django.db.models import Sum
from django.utils import timezone

from jobs.loading.needs import LOADING_KINDS, VisitShare, materials_of, shares_of
from jobs.models import Depot, StockBalance, StockItem, StockMovement, StockOrder, VanLoading, Visit

COMING = (Visit.Status.BOOKED, Visit.Status.ON_SITE)


def stock_now(depot: Depot) -> dict[str, int]:
    """Units of every item that ever moved at the depot, by its code. One query."""
    rows = StockBalance.objects.filter(depot=depot).values_list("item__code", "quantity")
    return dict(rows)


def stock_on(depot: Depot, day: date, *, minus_booked: bool = False) -> dict[str, int]:
    """Units by item code that vans can be loaded with on the morning of `day`.

    For today and later: what is there now and every order due before that day. What visits
    booked before it will take is not taken off unless `minus_booked` (then below zero tells by
    how much it is short): a planner that moves those visits takes it off itself, as it goes.
    For a day gone by: what the ledger held when the day began.
    """
    today = timezone.localdate()
    if day < today:
        return _at(depot, timezone.make_aware(datetime.combine(day, time.min)))
    found = defaultdict(int, stock_now(depot))
    due = StockOrder.objects.open().filter(depot=depot, due_on__lt=day, due_on__gte=today)
    for code, quantity in due.values_list("item__code", "quantity"):
        found[code] += quantity
    if minus_booked:
        for needs in needed_by_day(depot, today, day).values():
            for code, quantity in needs.units.items():
                found[code] -= quantity
    return dict(found)


def _at(depot: Depot, moment: datetime) -> dict[str, int]:
    rows = (
        StockMovement.objects.filter(depot=depot, at__lt=moment)
        .order_by()
        .values_list("item__code")
        .annotate(Sum("effect"))
    )
    return dict(rows)


@dataclass(frozen=True, slots=True)
class DayNeeds:
    """What the vans of a depot still take on a day: units by item code, and by which visits.

    roll_names: of the rolls among them, as the plans call them.
    """

    day: date
    units: Mapping[str, int]
    visits: Mapping[str, tuple[Visit, ...]]
    volume_m3: float
    roll_names: Mapping[str, str]


def needed_by_day(depot: Depot, first: date, until: date) -> dict[date, DayNeeds]:
    """What booked visits of the depot's crews take from `first` to before `until`, by day.

    What went onto a van already is left out. Four queries, whatever the number of visits.
    """
    visits = list(
        Visit.objects.between(first, until)
        .filter(crew__depot=depot, kind__in=LOADING_KINDS, status__in=COMING)
        .with_job()
        .order_by("during", "id")
    )
    materials = materials_of(visit.job_id for visit in visits)
    shares = shares_of(visits, materials)
    loaded = _covered(depot, first, until)
    by_day: dict[date, list[Visit]] = defaultdict(list)
    for visit in visits:
        by_day[timezone.localdate(visit.during.lower)].append(visit)
    return {day: _day_needs(day, by_day[day], shares, loaded) for day in sorted(by_day)}


def _covered(depot: Depot, first: date, until: date) -> dict[tuple[int, date], dict[str, int]]:
    """What the load lists asked for and is on the vans: (crew, day) -> item code -> units."""
    found: dict[tuple[int, date], dict[str, int]] = {}
    for crew_id, day, lines in VanLoading.objects.filter(
        crew__depot=depot, day__gte=first, day__lt=until
    ).values_list("crew_id", "day", "lines"):
        covered = found.setdefault((crew_id, day), defaultdict(int))
        for line in lines:
            covered[line["item"]] += line["expected"]
    return found


def _day_needs(
    day: date,
    visits: list[Visit],
    shares: Mapping[int, VisitShare],
    loaded: Mapping[tuple[int, date], Mapping[str, int]],
) -> DayNeeds:
    by_crew: dict[int, dict[str, float]] = defaultdict(lambda: defaultdict(float))
    takers: dict[str, list[Visit]] = defaultdict(list)
    names: dict[str, str] = {}
    volume = 0.0
    for visit in visits:
        share = shares.get(visit.pk)
        if share is None:
            continue
        volume += share.volume_m3
        names |= share.material.names
        for code, quantity in units_of(share).items():
            by_crew[visit.crew_id][code] += quantity
            takers[code].append(visit)
    units: dict[str, int] = defaultdict(int)
    for crew_id, needed in by_crew.items():
        on_van = loaded.get((crew_id, day), {})
        for code, quantity in needed.items():
            left = whole(quantity) - on_van.get(code, 0)
            if left > 0:
                units[code] += left
    return DayNeeds(
        day,
        dict(units),
        {code: tuple(found) for code, found in takers.items() if code in units},
        volume,
        {code: name for code, name in names.items() if code in units},
    )


def units_of(share: VisitShare) -> dict[str, float]:
    """Rolls and accessories of a visit by item code, in the unit of each."""
    found: dict[str, float] = dict(share.rolls)
    if share.first:
        found |= share.material.needs.accessories
    return found


def whole(quantity: float) -> int:
    """Whole units: part of a metre or a square metre leaves the depot as a whole one."""
    return math.ceil(quantity - 1e-6)


@dataclass(frozen=True, slots=True)
class ItemDay:
    """An item on a day: at its beginning, taken by vans, arriving, and what is left."""

    day: date
    opening: int
    needed: int
    arriving: int

    @property
    def closing(self) -> int:
        return self.opening - self.needed + self.arriving


@dataclass(frozen=True, slots=True)
class Projection:
    """The stock of a depot day by day, by item code; `needs` by day tells which visits take it."""

    depot: Depot
    days: tuple[date, ...]
    items: Mapping[str, StockItem]
    by_item: Mapping[str, tuple[ItemDay, ...]]
    needs: Mapping[date, DayNeeds]

    def short_on(self, day: date) -> dict[str, int]:
        """Units missing by item code on the morning of a day, of what is needed by then."""
        found = {}
        for code, rows in self.by_item.items():
            row = rows[self.days.index(day)]
            if row.needed and row.opening < row.needed:
                found[code] = row.needed - max(row.opening, 0)
        return found


def projection_of(depot: Depot, first: date, days: int) -> Projection:
    """The stock of a depot from `first` (today or later) over `days` days.

    Every item the company keeps and every roll that is needed; accessories that it does not keep
    in stock are left out. The number of queries does not grow with visits or items.
    Vans load in the morning, so what arrives on a day can be loaded from the next one on.
    Orders whose day has passed are not counted on.
    """
    last = first + timedelta(days=days)
    span = tuple(first + timedelta(days=n) for n in range(days))
    needs = needed_by_day(depot, first, last)
    items = {item.code: item for item in StockItem.objects.filter(company=depot.company_id)}
    arriving = _arriving(depot, first, last)
    opening = stock_on(depot, first, minus_booked=first > timezone.localdate())
    rolls = {code for day in needs.values() for code in day.roll_names}
    codes = {*opening, *items, *rolls}
    by_item = {
        code: tuple(_item_days(code, opening.get(code, 0), span, needs, arriving))
        for code in sorted(codes)
    }
    return Projection(depot, span, items, by_item, needs)


def _arriving(depot: Depot, first: date, until: date) -> dict[tuple[str, date], int]:
    found: dict[tuple[str, date], int] = defaultdict(int)
    orders = StockOrder.objects.open().filter(depot=depot, due_on__gte=first, due_on__lt=until)
    for code, due_on, quantity in orders.values_list("item__code", "due_on", "quantity"):
        found[code, due_on] += quantity
    return found


def _item_days(
    code: str,
    opening: int,
    days: Iterable[date],
    needs: Mapping[date, DayNeeds],
    arriving: Mapping[tuple[str, date], int],
) -> Iterable[ItemDay]:
    for day in days:
        needed = needs[day].units.get(code, 0) if day in needs else 0
        row = ItemDay(day, opening, needed, arriving.get((code, day), 0))
        yield row
        opening = row.closing
