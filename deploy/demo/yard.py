"""The invented company's depots: what they keep, and how it came and went over ten weeks."""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from itertools import groupby
from typing import Any

from calculations.catalogue import INVENTED_CATALOGUE
from deploy.demo.courses import LONDON, working_days
from deploy.demo.people import Cast
from jobs.loading.load_list import LoadPart, still_needed
from jobs.loading.needs import LOADING_KINDS, shares_of
from jobs.models import Depot, DepotHours, StockItem, StockMovement, StockOrder, VanLoading, Visit

WEEKS_BACK = 10
DEPOTS = {
    "Midlands depot": (
        "Unit 4, Kiln Yard, Leicester", "LE4 9QZ", "england", 52.651, -1.122,
        ("Crew Wren", "Survey Swift"),
    ),
    "Marches depot": (
        "Unit 2, Weir Yard, Shrewsbury", "SY1 3QZ", "england", 52.722, -2.741,
        ("Crew Heron",),
    ),
    "Lothian depot": (
        "Shed 2, Tannery Lane, Edinburgh", "EH14 1QZ", "scotland", 55.925, -3.268,
        ("Crew Linnet",),
    ),
}  # fmt: skip
# code: name, unit, units a pack, m3 a pack, lead time in working days, units to keep
ACCESSORIES = {
    "eaves_tray": ("Eaves trays", "piece", 50, 0.3, 5, 60),
    "sealant": ("Sealant for ceilings", "tube", 12, 0.01, 2, 12),
    "downlight_cover": ("Downlight covers, non-combustible", "piece", 10, 0.08, 6, 15),
    "tank_jacket": ("Tank jackets with lids", "set", 4, 0.4, 6, 3),
    "pipe_lagging": ("Pipe lagging", "m", 50, 0.25, 3, 40),
    "draught_strip": ("Draught strip", "m", 50, 0.02, 2, 25),
    "hatch_catch": ("Hatch catches", "piece", 20, 0.01, 2, 10),
    "dust_mask": ("Dust masks", "piece", 100, 0.05, 2, 60),
}
LASTS_DAYS = {"W170": 3, "W100": 9, "sealant": 12, "eaves_tray": 6}
"""For how many working days ahead the last delivery of an item lasts; the rest has plenty."""
PLENTY_DAYS = 11


@dataclass(slots=True)
class _Yard:
    """One depot while its story is written."""

    depot: Depot
    items: dict[str, StockItem]
    stock: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    movements: list[StockMovement] = field(default_factory=list)


def make_yards(cast: Cast, now: datetime) -> None:
    """Depots with ten weeks of deliveries and loads up to today, and two orders under way."""
    items = _items(cast)
    by_crew: dict[int, _Yard] = {}
    for name, (address, postcode, nation, latitude, longitude, crews) in DEPOTS.items():
        depot = Depot.objects.create(
            company=cast.company, name=name, address=address, postcode=postcode, nation=nation,
            latitude_deg=latitude, longitude_deg=longitude,
        )  # fmt: skip
        DepotHours.objects.bulk_create(DepotHours(depot=depot, weekday=day) for day in range(5))
        yard = _Yard(depot, items)
        for crew in crews:
            cast.crews[crew].depot = depot
            cast.crews[crew].save(update_fields=["depot"])
            by_crew[cast.crews[crew].pk] = yard
    _write_history(cast, by_crew, now)
    for yard in {id(yard): yard for yard in by_crew.values()}.values():
        StockMovement.objects.bulk_create(yard.movements)
        _orders(cast, yard, now.date())


def _items(cast: Cast) -> dict[str, StockItem]:
    rolls = [
        StockItem(
            company=cast.company, code=roll.code, name=roll.name, unit="roll", units_per_pack=24,
            pack_volume_m3=round(24 * roll.packed_volume_m3, 2), lead_time_days=4,
            reorder_point=24, supplier="Teasel Trade Supplies (invented)",
        )
        for roll in INVENTED_CATALOGUE
    ]  # fmt: skip
    rest = [
        StockItem(
            company=cast.company, code=code, name=name, unit=unit, units_per_pack=pack,
            pack_volume_m3=volume, lead_time_days=lead, reorder_point=keep,
            supplier="Burdock Fixings (invented)",
        )
        for code, (name, unit, pack, volume, lead, keep) in ACCESSORIES.items()
    ]  # fmt: skip
    return {item.code: item for item in StockItem.objects.bulk_create(rolls + rest)}


@dataclass(frozen=True, slots=True)
class _CrewDay:
    day: date
    visits: tuple[Visit, ...]
    parts: tuple[LoadPart, ...]

    @property
    def units(self) -> dict[str, int]:
        found: dict[str, float] = defaultdict(float)
        for part in self.parts:
            for line in (*part.rolls, *part.accessories):
                found[line.item] += line.quantity
        return {code: math.ceil(quantity - 1e-6) for code, quantity in found.items()}


def _crew_days(cast: Cast) -> list[_CrewDay]:
    """Every day of every crew with what its visits take, in order of time."""
    visits = list(
        Visit.objects.live()
        .filter(company=cast.company, kind__in=LOADING_KINDS)
        .with_job()
        .order_by("during", "crew")
    )
    shares = shares_of(visits)

    def place(visit: Visit) -> tuple[date, int]:
        return visit.during.lower.astimezone(LONDON).date(), visit.crew_id

    found = []
    for (day, _), group in groupby(sorted(visits, key=place), place):
        mine = tuple(visit for visit in group)
        parts = tuple(
            still_needed(shares[v.pk], defaultdict(float)) for v in mine if v.pk in shares
        )
        found.append(_CrewDay(day, mine, parts))
    return found


def _write_history(cast: Cast, by_crew: dict[int, _Yard], now: datetime) -> None:
    days = _crew_days(cast)
    today = now.date()
    needed: dict[int, dict[date, dict[str, int]]] = defaultdict(lambda: defaultdict(dict))
    for crew_day in days:
        yard = by_crew[crew_day.visits[0].crew_id]
        of_day = needed[yard.depot.pk][crew_day.day]
        for code, units in crew_day.units.items():
            of_day[code] = of_day.get(code, 0) + units
    first = today - timedelta(weeks=WEEKS_BACK)
    for day in working_days(first, today):
        for yard in {id(yard): yard for yard in by_crew.values()}.values():
            if day.weekday() == 0 or day == working_days(first, today)[0]:
                _deliver(cast, yard, day, needed[yard.depot.pk], today)
        for crew_day in days:
            begun = any(visit.status != Visit.Status.BOOKED for visit in crew_day.visits)
            if crew_day.day == day and (day < today or begun):
                _load(cast, by_crew[crew_day.visits[0].crew_id], crew_day)


def _deliver(
    cast: Cast, yard: _Yard, day: date, needed: dict[date, dict[str, int]], today: date
) -> None:
    """What the coming days take, in whole packs; the last delivery does not last for all items."""
    last_one = today - day < timedelta(days=7)
    for code, item in yard.items.items():
        days = working_days(day, min(day + timedelta(days=6), today - timedelta(days=1)))
        if last_one:
            ahead = LASTS_DAYS.get(code, PLENTY_DAYS)
            days += working_days(today, today + timedelta(days=30))[:ahead]
        wanted = sum(needed.get(d, {}).get(code, 0) for d in days) - yard.stock[code]
        if code not in LASTS_DAYS:
            wanted += item.reorder_point
        packs = math.ceil(wanted / item.units_per_pack)
        if packs > 0:
            _move(cast, yard, item, "received", packs * item.units_per_pack, _at(day, 6, 40))


def _load(cast: Cast, yard: _Yard, crew_day: _CrewDay) -> None:
    visit = crew_day.visits[0]
    lead, at = cast.lead_of(visit.crew.name), _at(crew_day.day, 7, 20)
    units = {code: n for code, n in crew_day.units.items() if n}
    names = {x.item: (x.name, x.unit) for p in crew_day.parts for x in (*p.rolls, *p.accessories)}
    record = VanLoading.objects.create(
        company=cast.company, crew=visit.crew, day=crew_day.day, number=1, depot=yard.depot,
        van=visit.van, visits=[part.to_dict() for part in crew_day.parts], loaded_by=lead,
        loaded_at=at, lines=[
            {
                "item": code, "name": names[code][0], "unit": names[code][1], "expected": n,
                "loaded": n, "reason": "",
            }
            for code, n in units.items()
        ],
    )  # fmt: skip
    mine = {"crew": visit.crew, "van": visit.van, "day": crew_day.day}
    for code, n in units.items():
        taken = min(n, yard.stock[code])
        if code in yard.items and taken:
            _move(cast, yard, yard.items[code], "loaded", -taken, at, lead, loading=record, **mine)
    if visit.pk % 6 == 0 and units.get("W100", 0) > 2:
        item, back = yard.items["W100"], _at(crew_day.day, 16, 50)
        _move(cast, yard, item, "returned", 1, back, lead, reason="one roll too many", **mine)
    if visit.pk % 41 == 0 and yard.stock["W170"] > 2:
        item, then = yard.items["W170"], _at(crew_day.day, 17, 5)
        _move(cast, yard, item, "spoilt", -1, then, reason="torn by the fork lift")


def _move(
    cast: Cast,
    yard: _Yard,
    item: StockItem,
    kind: str,
    quantity: int,
    at: datetime,
    by: Any = None,
    **values: Any,
) -> None:
    yard.stock[item.code] += quantity
    yard.movements.append(
        StockMovement(
            company=cast.company, depot=yard.depot, item=item, kind=kind, quantity=quantity,
            by=by or cast.people["planner"], at=at, **values,
        )
    )  # fmt: skip


def _at(day: date, hour: int, minute: int) -> datetime:
    return datetime.combine(day, time(hour, minute), LONDON)


def _orders(cast: Cast, yard: _Yard, today: date) -> None:
    """One order on its way, and one that should have come."""
    for code, due_on, note in (
        (
            "W100",
            working_days(today + timedelta(days=3), today + timedelta(days=9))[0],
            "second half",
        ),
        ("hatch_catch", today - timedelta(days=2), "rung twice"),
    ):
        item = yard.items[code]
        StockOrder.objects.create(
            company=cast.company, depot=yard.depot, item=item, quantity=item.units_per_pack,
            due_on=due_on, note=note, ordered_by=cast.people["planner"],
        )  # fmt: skip
