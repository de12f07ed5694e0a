"""Depots of a planning problem: where they lie, when they are open, what can be loaded by when."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING

from django.utils import timezone

from jobs.loading.stock import needed_by_day
from jobs.models import Crew, Depot, StockBalance, StockItem, StockOrder
from jobs.planning.calendars import at, holiday_on
from jobs.planning.problem import DepotToPlan, Place, VisitToPlan, Window
from jobs.planning.travel import Position

if TYPE_CHECKING:
    from jobs.planning.gather import Frame

DAY_S = 24 * 3600


@dataclass(frozen=True, slots=True)
class Depots:
    """Depots by what the planner needs of them. `counted`: item codes whose stock is counted."""

    to_plan: tuple[DepotToPlan, ...]
    places: tuple[Place, ...]
    positions: Mapping[int, Position]
    counted: frozenset[str]
    notes: tuple[str, ...]
    item_names: Mapping[str, str]

    def key_of(self, crew: Crew) -> str | None:
        """The key of the crew's depot, if it has one that can be driven to."""
        return depot_key(crew.depot_id) if crew.depot_id in self.positions else None


def depot_key(depot_id: int | None) -> str:
    return f"depot:{depot_id}"


def with_booked_covered(
    depots: Depots, visits: Sequence[VisitToPlan], depot_of_crew: Mapping[str, str | None]
) -> Depots:
    """Depots with at least the stock that booked visits take on their days.

    What is booked is taken to be got in time: the stock ledger warns of it and says what to order,
    and a visit that somebody was promised is not thrown out for want of a roll. New visits get
    what is left beyond it.
    """
    demand: dict[str, dict[int, Counter[str]]] = defaultdict(lambda: defaultdict(Counter))
    for visit in visits:
        depot = depot_of_crew.get(visit.promised.crew) if visit.promised else None
        if depot is not None and visit.promised is not None:
            demand[depot][visit.promised.starts_s // DAY_S].update(visit.stock)
    notes: list[str] = []
    covered = tuple(
        _covered(depot, demand[depot.key], depots.item_names, notes) for depot in depots.to_plan
    )
    return replace(depots, to_plan=covered, notes=(*depots.notes, *notes))


def _covered(
    depot: DepotToPlan,
    demand: Mapping[int, Counter[str]],
    names: Mapping[str, str],
    notes: list[str],
) -> DepotToPlan:
    by_day, taken, short = [], Counter[str](), Counter[str]()
    for day, stock in enumerate(depot.stock_by_day):
        taken.update(demand.get(day, {}))
        missing = {item: taken[item] - stock.get(item, 0) for item in taken if item in stock}
        short |= Counter({item: count for item, count in missing.items() if count > 0})
        by_day.append({item: max(count, taken[item]) for item, count in stock.items()})
    if short:
        lacking = sorted(short.items())[:6]
        items = ", ".join(f"{names.get(item, item)} ({count})" for item, count in lacking)
        notes.append(f"{depot.label} has too little for what is booked. Order {items}.")
    return replace(depot, stock_by_day=tuple(by_day))


def depots_of(frame: Frame, crews: Sequence[Crew]) -> Depots:
    """The depots that crews load from. Five queries; four more a depot for a later first day."""
    wanted = {crew.depot_id for crew in crews if crew.depot_id is not None}
    depots = list(Depot.objects.filter(pk__in=wanted, is_active=True).prefetch_related("hours"))
    placed = [d for d in depots if d.latitude_deg is not None and d.longitude_deg is not None]
    kept = StockItem.objects.filter(company_id=frame.company_id, is_active=True)
    names = dict(kept.values_list("code", "name"))
    stock = _stock(frame, placed, names)
    notes = [
        f"{depot.name} has no position: its crews are planned without reloading or stock."
        for depot in depots
        if depot not in placed
    ]
    return Depots(
        tuple(_to_plan(frame, depot, stock[depot.pk]) for depot in placed),
        tuple(_place(depot) for depot in placed),
        {depot.pk: (depot.latitude_deg, depot.longitude_deg) for depot in placed},
        frozenset(code for counts in stock.values() for code in counts[0]),
        tuple(notes),
        names,
    )


def _place(depot: Depot) -> Place:
    return Place(
        depot_key(depot.pk), depot.name, depot.latitude_deg or 0.0, depot.longitude_deg or 0.0
    )


def _to_plan(frame: Frame, depot: Depot, stock: list[dict[str, int]]) -> DepotToPlan:
    return DepotToPlan(
        key=depot_key(depot.pk),
        place=depot_key(depot.pk),
        label=depot.name,
        windows=_windows(frame, depot),
        stock_by_day=tuple(stock),
        reload_s=depot.reload_minutes * 60,
    )


def _windows(frame: Frame, depot: Depot) -> tuple[Window, ...]:
    """When it is open on each day, bank holidays of its nation taken out."""
    hours = {row.weekday: row for row in depot.hours.all()}
    found = []
    for day in frame.days:
        row = hours.get(day.weekday())
        if row is not None and not holiday_on(day, depot.nation):
            opens, closes = at(day, row.opens_at), at(day, row.closes_at)
            found.append(Window(frame.seconds(opens), frame.seconds(closes)))
    return tuple(found)


def _stock(
    frame: Frame, depots: Sequence[Depot], codes: Iterable[str]
) -> dict[int, list[dict[str, int]]]:
    """By depot and day: units of each kept item that can have been loaded, in all, by that day.

    What is there now and what was ordered, less what visits booked before the first day take. An
    order of a day can be loaded from the next one on. A kept item without stock counts as none.
    """
    ids = [depot.pk for depot in depots]
    now: dict[int, dict[str, int]] = {pk: dict.fromkeys(codes, 0) for pk in ids}
    for pk, code, quantity in StockBalance.objects.filter(depot__in=ids).values_list(
        "depot_id", "item__code", "quantity"
    ):
        now[pk][code] = quantity
    today = timezone.localdate()
    if frame.days[0] > today:
        for depot in depots:
            for needs in needed_by_day(depot, today, frame.days[0]).values():
                for code, quantity in needs.units.items():
                    if code in now[depot.pk]:
                        now[depot.pk][code] = max(0, now[depot.pk][code] - quantity)
    coming: dict[int, list[tuple[str, int, int]]] = defaultdict(list)
    orders = StockOrder.objects.open().filter(depot__in=ids, due_on__gte=today)
    for pk, code, quantity, due_on in orders.values_list(
        "depot_id", "item__code", "quantity", "due_on"
    ):
        ready = due_on + timedelta(days=1)
        coming[pk].append((code, quantity, (ready - frame.days[0]).days))
    return {pk: _by_day(now[pk], coming[pk], len(frame.days)) for pk in ids}


def _by_day(
    now: dict[str, int], coming: list[tuple[str, int, int]], days: int
) -> list[dict[str, int]]:
    found = []
    for day in range(days):
        counts = dict(now)
        for code, quantity, ready in coming:
            if ready <= day:
                counts[code] = counts.get(code, 0) + quantity
        found.append(counts)
    return found
