"""Vans loaded at a depot and unloaded again: who took what, in one act a load."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID, uuid4, uuid5

from django.db.models import Sum

from jobs.errors import Conflict, Refused, Stale, refusals_explained
from jobs.loading.load_lines import LoadLine
from jobs.loading.load_list import Load, load_list_of_day
from jobs.loading.movements import MOST_UNITS, Kind, one_act
from jobs.loading.when import refuse_too_early
from jobs.models import Crew, Role, StockItem, StockMovement, User, VanLoading


@dataclass(frozen=True, slots=True)
class Taken:
    """Whole units that went onto the van, and why they are not what the load list asks for."""

    units: int
    reason: str = ""


def may_load(user: User, crew: Crew) -> bool:
    """A planner of the company, or an installer who belongs to the crew."""
    if user.company_id != crew.company_id:
        return False
    if user.role == Role.PLANNER:
        return True
    return user.role == Role.INSTALLER and crew.operatives.filter(user=user).exists()


def mark_loaded(
    crew: Crew,
    day: date,
    number: int,
    *,
    by: User,
    taken: Mapping[str, Taken] | None = None,
    seen: str = "",
    key: UUID | None = None,
) -> VanLoading:
    """Mark a load of the crew's day as on the van; the depot's stock goes down by it.

    `taken`: item code -> what was taken, for the lines that differ from the load list. `seen`:
    the fingerprint of the load that was looked at. Sent twice under the same key it is stored
    once. Items the depot does not keep are noted only.

    Raises:
        Refused: a difference without a reason, or units that cannot be (field: the item's code);
            there is nothing to load, or somebody who is not of the crew marks it.
        Conflict: the load is on the van already, another comes first, the depot holds too few, or
            its day is further off than the crew's next working day.
        Stale: the load changed since it was looked at.
    """
    if not may_load(by, crew):
        raise Refused("Only a planner or somebody of this crew marks its van.", field="crew")
    with refusals_explained():
        crew = lock_crew(crew)
        known = VanLoading.objects.filter(client_key=key).first() if key else None
        if known is not None:
            return _same(known, crew, day)
        refuse_too_early(crew, day)
        load = _open_load(crew, day, number)
        if seen and seen != load.fingerprint:
            raise Stale("This load")
        lines = [_line(line, (taken or {}).get(line.item)) for line in load.lines]
        return _store(crew, day, load, lines, by, key or uuid4())


def lock_crew(crew: Crew) -> Crew:
    """The crew, so that its loads are marked one after another."""
    locked: Crew = (
        Crew.objects.select_for_update(of=("self",), no_key=True)
        .select_related("depot", "van", "company")
        .get(pk=crew.pk)
    )
    return locked


def _same(known: VanLoading, crew: Crew, day: date) -> VanLoading:
    if (known.crew_id, known.day) != (crew.pk, day):
        raise Conflict(
            "This key came with another load.",
            field="client_key",
            remedy="Make a new key for each load.",
        )
    return known


def _open_load(crew: Crew, day: date, number: int) -> Load:
    found = load_list_of_day(crew, day)
    load = found.next_load
    if load is not None and load.number == number:
        return load
    if any(other.number == number and other.record for other in found.loads):
        raise Conflict(f"Load {number} is on the van already.", field="number")
    if load is None:
        raise Refused(
            "There is nothing to load.", field="number", remedy="Look at the load list again."
        )
    raise Conflict(
        f"Load {load.number} comes before load {number}.",
        field="number",
        remedy=f"Mark load {load.number} first.",
    )


def _line(line: LoadLine, taken: Taken | None) -> dict[str, Any]:
    """The line as it is kept; a difference says why."""
    units = line.units if taken is None else taken.units
    reason = "" if taken is None else taken.reason.strip()[:200]
    if not 0 <= units <= MOST_UNITS:
        raise Refused(
            f"{units:,} of {line.name} cannot be.",
            field=line.item,
            remedy=f"Give 0 to {MOST_UNITS:,} whole units.",
        )
    if units != line.units and not reason:
        raise Refused(
            f"{line.name}: {units:,} taken, {line.units:,} asked for.",
            field=line.item,
            remedy="Say why, such as “two left on the van from yesterday”.",
        )
    return {
        "item": line.item,
        "name": line.name,
        "unit": line.unit,
        "expected": line.units,
        "loaded": units,
        "reason": reason if units != line.units else "",
    }


def _store(
    crew: Crew, day: date, load: Load, lines: list[dict[str, Any]], by: User, key: UUID
) -> VanLoading:
    van = next((part.visit.van for part in load.parts if part.visit.van), crew.van)
    record = VanLoading.objects.create(
        company_id=crew.company_id,
        crew=crew,
        day=day,
        number=load.number,
        depot=crew.depot,
        van=van,
        visits=[part.to_dict() for part in load.parts],
        lines=lines,
        loaded_by=by,
        client_key=key,
    )
    if crew.depot is not None:
        _take_from_depot(record, lines, by)
    return record


def _take_from_depot(record: VanLoading, lines: list[dict[str, Any]], by: User) -> None:
    taken = {line["item"]: line for line in lines if line["loaded"]}
    items = _kept_items(record.company_id, taken)
    with one_act(record.depot, items, uuid5(record.client_key, "load")) as act:
        for item in act.items:
            line = taken[item.code]
            act.move(
                item,
                Kind.LOADED,
                -line["loaded"],
                by=by,
                reason=line["reason"],
                loading=record,
                crew_id=record.crew_id,
                van_id=record.van_id,
                day=record.day,
            )


def _kept_items(company_id: int, codes: Any) -> list[StockItem]:
    return list(StockItem.objects.filter(company=company_id, code__in=list(codes)))


def on_van(crew: Crew, day: date) -> dict[StockItem, int]:
    """Units that the crew's day took from its depot and did not bring back, by item."""
    rows = (
        StockMovement.objects.of_crews_day(crew.pk, day)
        .filter(depot=crew.depot)
        .order_by()
        .values_list("item")
        .annotate(Sum("effect"))
    )
    out: dict[int, int] = defaultdict(int, {item: -effect for item, effect in rows})
    items = StockItem.objects.filter(pk__in=[pk for pk, units in out.items() if units > 0])
    return {item: out[item.pk] for item in items}


def return_unused(
    crew: Crew,
    day: date,
    quantities: Mapping[str, int],
    *,
    by: User,
    note: str = "",
    key: UUID | None = None,
) -> list[StockMovement]:
    """Bring back what a crew's day did not use: units by item code; the stock rises by it.

    Raises:
        Refused: nothing to bring back, units that cannot be (field: the item's code), or
            somebody who is not of the crew.
        Conflict: more comes back than went out.
    """
    if not may_load(by, crew):
        raise Refused("Only a planner or somebody of this crew brings back.", field="crew")
    wanted = {code: units for code, units in quantities.items() if units}
    if not wanted:
        raise Refused("Nothing is filled in.", remedy="Give the units of at least one item.")
    with refusals_explained():
        crew = lock_crew(crew)
        if crew.depot is None:
            raise Refused(f"{crew} has no depot to bring it back to.", field="crew")
        items = _kept_items(crew.company_id, wanted)
        with one_act(crew.depot, items, key) as act:
            if act.stored:
                return act.stored
            _check_out(on_van(crew, day), wanted)
            van_id = _van_of(crew, day)
            return [
                act.move(
                    item, Kind.RETURNED, wanted[item.code], by=by, reason=note.strip(),
                    crew_id=crew.pk, van_id=van_id, day=day,
                )
                for item in act.items
            ]  # fmt: skip


def _check_out(out: Mapping[StockItem, int], wanted: Mapping[str, int]) -> None:
    held = {item.code: (item.name, units) for item, units in out.items()}
    for code, units in wanted.items():
        name, most = held.get(code, (code, 0))
        if units < 0:
            raise Refused(f"{units:,} of {name} cannot be.", field=code, remedy="Give 0 or more.")
        if units > most:
            raise Conflict(
                f"{units:,} of {name} come back, but {most:,} went out on this day.",
                field=code,
                remedy="Give what came back; a stock-take finds what was never booked out.",
            )


def _van_of(crew: Crew, day: date) -> int | None:
    record = VanLoading.objects.of_day(crew.pk, day).last()
    return record.van_id if record else None
