"""The load list of a crew's day: what goes on the van, load by load, and for which visit.

A van that cannot hold the day comes back to the depot, so the day is split into loads. What was
marked as loaded is told as it was marked; what is still to load is worked out from the visits as
they stand now, less what the loads before were meant to cover.
"""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from calculations.crew_kit import KIT_ITEMS, PROTECTION_ITEMS
from jobs.loading.load_lines import LoadLine, line_of, summed, told
from jobs.loading.needs import (
    LOADING_KINDS,
    Material,
    VisitShare,
    materials_of,
    plans_of,
    shares_of,
)
from jobs.loading.splitting import ToCarry, Trip, split_into_trips
from jobs.loading.stock import stock_now, whole
from jobs.models import Crew, Depot, User, Van, VanLoading, Visit

__all__ = ["Load", "LoadList", "LoadPart", "load_list_for", "load_list_of_day", "plans_of"]


@dataclass(frozen=True, slots=True)
class LoadPart:
    """What one load carries for one visit: rolls and accessories as lines."""

    visit: Visit
    rolls: tuple[LoadLine, ...]
    accessories: tuple[LoadLine, ...]

    def to_dict(self) -> dict[str, Any]:
        return {
            "visit": self.visit.pk,
            "rolls": [told(line) for line in self.rolls],
            "accessories": [told(line) for line in self.accessories],
        }


@dataclass(frozen=True, slots=True)
class Load:
    """One load of the van. record: how it was marked; None while it is still to load.

    protection and tools go with the first load and stay on the van.
    """

    number: int
    parts: tuple[LoadPart, ...]
    protection: tuple[LoadLine, ...]
    tools: tuple[LoadLine, ...]
    volume_m3: float
    record: VanLoading | None = None

    @property
    def rolls(self) -> tuple[LoadLine, ...]:
        return summed(line for part in self.parts for line in part.rolls)

    @property
    def accessories(self) -> tuple[LoadLine, ...]:
        return summed(line for part in self.parts for line in part.accessories)

    @property
    def lines(self) -> tuple[LoadLine, ...]:
        return (*self.rolls, *self.accessories, *self.protection, *self.tools)

    @property
    def fingerprint(self) -> str:
        """Changes with what the load carries: whoever marks it marks what it saw."""
        seen = "|".join(f"{line.item}={line.units}" for line in self.lines)
        return hashlib.sha256(seen.encode()).hexdigest()[:16]

    @property
    def short_lines(self) -> tuple[LoadLine, ...]:
        """What the depot does not hold enough of."""
        return tuple(line for line in self.lines if line.missing)


@dataclass(frozen=True, slots=True)
class LoadList:
    """Everything for a crew's day. whole: whether the person sees all of it.

    checks: what has to be cleared or kept in mind at a visit, and is not carried.
    """

    crew: Crew
    day: date
    visits: tuple[Visit, ...]
    loads: tuple[Load, ...]
    checks: tuple[tuple[Visit, LoadLine], ...]
    van: Van | None
    depot: Depot | None
    without_plan: tuple[Visit, ...]
    whole: bool = True

    @property
    def packed_volume_m3(self) -> float:
        return sum(load.volume_m3 for load in self.loads)

    @property
    def over_m3(self) -> float:
        """By how much the day's rolls exceed the van [m3]; then it comes back to the depot."""
        return max(0.0, self.packed_volume_m3 - self.van.load_volume_m3) if self.van else 0.0

    @property
    def rolls(self) -> tuple[LoadLine, ...]:
        return summed(line for load in self.loads for line in load.rolls)

    @property
    def accessories(self) -> tuple[LoadLine, ...]:
        return summed(line for load in self.loads for line in load.accessories)

    @property
    def kit(self) -> tuple[LoadLine, ...]:
        return tuple(line for load in self.loads for line in (*load.protection, *load.tools))

    @property
    def next_load(self) -> Load | None:
        """The load to mark next."""
        return next((load for load in self.loads if load.record is None), None)


def load_list_of_day(crew: Crew, day: date) -> LoadList:
    """What the crew's fitting visits and call-backs of a day need on the van."""
    visits = tuple(_visits(crew, day))
    materials = materials_of(visit.job_id for visit in visits)
    shares = shares_of(visits, materials)
    records = list(VanLoading.objects.of_day(crew.pk, day).with_names())
    stock = stock_now(crew.depot) if crew.depot else {}
    van = next((visit.van for visit in visits if visit.van is not None), crew.van)
    marked = tuple(_marked(record, visits) for record in records)
    coming = _to_load(visits, shares, records, van)
    loads = [*marked, *coming]
    kit = _kit(materials[v.job_id] for v in visits if v.job_id in materials)
    return LoadList(
        crew=crew,
        day=day,
        visits=visits,
        loads=tuple(_with_stock(load, stock, crew.depot) for load in _with_kit(loads, kit)),
        checks=_checks(visits, materials),
        van=van,
        depot=crew.depot,
        without_plan=tuple(v for v in visits if v.pk not in shares),
    )


def load_list_for(user: User, crew: Crew, day: date) -> LoadList | None:
    """The load list as a person may see it; None where nothing on it concerns this person.

    Who was lent to the crew for a visit sees what is loaded for that visit, and no other.
    """
    return seen_by(user, load_list_of_day(crew, day))


def seen_by(user: User, found: LoadList) -> LoadList | None:
    """`load_list_for`, of a load list that is made already."""
    crew = found.crew
    if user.role != "installer" or crew.operatives.filter(user=user).exists():
        return found
    own = set(Visit.objects.visible_to(user).filter(crew=crew).values_list("pk", flat=True))
    return only_visits(found, own)


def only_visits(full: LoadList, ids: set[int]) -> LoadList | None:
    """The part of a load list that is for these visits; None where there is none."""
    visits = tuple(visit for visit in full.visits if visit.pk in ids)
    if not visits:
        return None
    loads = []
    for load in full.loads:
        parts = tuple(part for part in load.parts if part.visit.pk in ids)
        if parts:
            loads.append(replace(load, parts=parts, volume_m3=_volume(parts)))
    return replace(
        full,
        visits=visits,
        loads=tuple(loads),
        checks=tuple(row for row in full.checks if row[0].pk in ids),
        without_plan=tuple(visit for visit in full.without_plan if visit.pk in ids),
        whole=False,
    )


def _visits(crew: Crew, day: date) -> Any:
    return (
        Visit.objects.live()
        .with_job()
        .on_day(day)
        .filter(crew=crew, kind__in=LOADING_KINDS)
        .order_by("during", "id")
    )


def _marked(record: VanLoading, visits: Sequence[Visit]) -> Load:
    """A load as it was marked; a visit that was moved away since is left out."""
    by_id = {visit.pk: visit for visit in visits}
    parts = tuple(
        LoadPart(
            by_id[part["visit"]],
            tuple(line_of(line) for line in part["rolls"]),
            tuple(line_of(line) for line in part["accessories"]),
        )
        for part in record.visits
        if part["visit"] in by_id
    )
    return Load(record.number, parts, (), (), _volume(parts), record)


def _to_load(
    visits: Sequence[Visit],
    shares: Mapping[int, VisitShare],
    records: Sequence[VanLoading],
    van: Van | None,
) -> list[Load]:
    covered: dict[str, float] = defaultdict(float)
    for record in records:
        for line in record.lines:
            covered[line["item"]] += line["expected"]
    open_parts = {
        visit.pk: still_needed(shares[visit.pk], covered) for visit in visits if visit.pk in shares
    }
    to_carry = [
        _to_carry(pk, part, shares[pk])
        for pk, part in open_parts.items()
        if _any(part) or not records  # a call-back takes the kit, if nothing else
    ]
    trips = split_into_trips(to_carry, van.load_volume_m3 if van else None)
    numbered = enumerate(trips, start=len(records) + 1)
    seen: set[int] = set()
    return [_load(number, trip, open_parts, seen) for number, trip in numbered]


def _any(part: LoadPart) -> bool:
    return any(line.quantity for line in (*part.rolls, *part.accessories))


def still_needed(share: VisitShare, covered: dict[str, float]) -> LoadPart:
    """The visit's needs less what earlier loads cover; what is used of `covered` is taken off."""
    rolls = [
        line_of(
            {
                "item": line["roll"],
                "name": line["name"],
                "quantity": share.rolls[line["roll"]],
                "unit": "rolls",
                "reason": line.get("reason") or "by the cutting plan",
                "m3_each": share.material.roll_m3(line["roll"]),
            }
        )
        for line in share.material.roll_lines
        if share.rolls.get(line["roll"])
    ]
    lines = share.material.accessory_lines if share.first else ()
    accessories = [line_of(line) for line in lines if is_carried(line) and not _is_kit(line)]
    return LoadPart(share.visit, _less(summed(rolls), covered), _less(summed(accessories), covered))


def _less(lines: Iterable[LoadLine], covered: dict[str, float]) -> tuple[LoadLine, ...]:
    found = []
    for line in lines:
        used = min(line.quantity, covered[line.item])
        covered[line.item] -= used
        if line.quantity - used > 1e-6:
            found.append(replace(line, quantity=line.quantity - used))
    return tuple(found)


def _to_carry(pk: int, part: LoadPart, share: VisitShare) -> ToCarry:
    rolls = {line.item: int(line.quantity) for line in part.rolls}
    return ToCarry(pk, rolls, {code: share.material.roll_m3(code) for code in rolls})


def _load(number: int, trip: Trip, parts: Mapping[int, LoadPart], seen: set[int]) -> Load:
    found = []
    for pk, rolls in trip.parts:
        part = parts[pk]
        lines = tuple(replace(r, quantity=rolls[r.item]) for r in part.rolls if rolls.get(r.item))
        found.append(LoadPart(part.visit, lines, part.accessories if pk not in seen else ()))
        seen.add(pk)
    return Load(number, tuple(found), (), (), trip.volume_m3)


def _volume(parts: Iterable[LoadPart]) -> float:
    return sum(line.quantity * line.m3_each for part in parts for line in part.rolls)


def _is_kit(line: Mapping[str, Any]) -> bool:
    return line["item"] in KIT_ITEMS


def is_carried(line: Mapping[str, Any]) -> bool:
    """Whether a line is put on the van; clearances and cables to lay on top are not."""
    return line["unit"] != "check" and line["item"] != "cable_on_top"


def _kit(materials: Iterable[Material]) -> dict[str, LoadLine]:
    """The day's kit: of each item the most that one visit takes."""
    found: dict[str, LoadLine] = {}
    for material in materials:
        for row in material.accessory_lines:
            if not _is_kit(row):
                continue
            line = line_of(row, carried_once=True)
            if line.item not in found or found[line.item].quantity < line.quantity:
                found[line.item] = line
    return found


def _with_kit(loads: list[Load], kit: Mapping[str, LoadLine]) -> list[Load]:
    """Kit with the first load; once a load is marked, as it was marked."""
    if not loads:
        return loads
    first = loads[0]
    lines = kit.values()
    worn = tuple(line for line in lines if line.item in PROTECTION_ITEMS)
    tools = tuple(line for line in lines if line.item not in PROTECTION_ITEMS)
    return [replace(first, protection=worn, tools=tools), *loads[1:]]


def _checks(
    visits: Iterable[Visit], materials: Mapping[int, Material]
) -> tuple[tuple[Visit, LoadLine], ...]:
    return tuple(
        (visit, line_of(row))
        for visit in visits
        if visit.job_id in materials
        for row in materials[visit.job_id].accessory_lines
        if not is_carried(row)
    )


def _with_stock(load: Load, stock: dict[str, int], depot: Depot | None) -> Load:
    """What the depot holds beside each line. Earlier loads of the list take theirs first."""
    if depot is None or load.record is not None:
        return load
    wanted: dict[str, int] = {line.item: whole(line.quantity) for line in load.lines}
    held = {item: stock[item] for item in wanted if item in stock}
    for item, units in wanted.items():
        if item in stock:
            stock[item] = max(0, stock[item] - units)
    return replace(
        load,
        parts=tuple(
            replace(
                part,
                rolls=tuple(replace(r, held=held.get(r.item)) for r in part.rolls),
                accessories=tuple(replace(a, held=held.get(a.item)) for a in part.accessories),
            )
            for part in load.parts
        ),
        protection=tuple(replace(p, held=held.get(p.item)) for p in load.protection),
        tools=tuple(replace(t, held=held.get(t.item)) for t in load.tools),
    )
