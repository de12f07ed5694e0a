"""The load list of a crew's day: rolls, accessories, tools and PPE of all its visits."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from calculations.crew_kit import KIT_ITEMS
from jobs.loading.needs import plans_of
from jobs.models import Crew, LayerPlan, Van, Visit


@dataclass(frozen=True, slots=True)
class LoadLine:
    """One thing to put on the van; `carried_once` for what serves every visit of the day."""

    item: str
    name: str
    quantity: float
    unit: str
    reason: str
    caution: str = ""
    carried_once: bool = False


@dataclass(frozen=True, slots=True)
class LoadList:
    """Everything for a crew's day. `over_m3`: by how much the rolls exceed the van's volume."""

    visits: tuple[Visit, ...]
    rolls: tuple[LoadLine, ...]
    accessories: tuple[LoadLine, ...]
    kit: tuple[LoadLine, ...]
    packed_volume_m3: float
    van: Van | None
    without_plan: tuple[Visit, ...]

    @property
    def over_m3(self) -> float:
        if self.van is None:
            return 0.0
        return max(0.0, self.packed_volume_m3 - self.van.load_volume_m3)


def load_list_of_day(crew: Crew, day: date) -> LoadList:
    """What the crew's fitting visits and call-backs of a day need on the van."""
    visits = tuple(
        Visit.objects.live()
        .with_job()
        .on_day(day)
        .filter(crew=crew, kind__in=(Visit.Kind.FITTING, Visit.Kind.CALL_BACK))
    )
    return load_list_of(visits)


def load_list_of(visits: tuple[Visit, ...]) -> LoadList:
    """What these visits need on one van. Rolls of a call-back are decided by its shortfall."""
    plans = plans_of(visit.job for visit in visits)
    planned = [plans[visit.job_id] for visit in visits if visit.job_id in plans]
    lines = [line for plan in planned for line in plan.quantities["accessories"]]
    return LoadList(
        visits=visits,
        rolls=_rolls(planned),
        accessories=_summed(line for line in lines if line["item"] not in KIT_ITEMS),
        kit=_most(line for line in lines if line["item"] in KIT_ITEMS),
        packed_volume_m3=sum(plan.packed_volume_m3 for plan in planned),
        van=next((visit.van for visit in visits if visit.van is not None), None),
        without_plan=tuple(visit for visit in visits if visit.job_id not in plans),
    )


def _rolls(plans: list[LayerPlan]) -> tuple[LoadLine, ...]:
    counts: dict[str, LoadLine] = {}
    for plan in plans:
        for roll in plan.quantities["rolls"]:
            so_far = counts[roll["roll"]].quantity if roll["roll"] in counts else 0
            counts[roll["roll"]] = LoadLine(
                item=roll["roll"],
                name=roll["name"],
                quantity=so_far + roll["count"],
                unit="rolls",
                reason="By the cutting plan",
            )
    return tuple(counts.values())


def _line(line: dict[str, object], quantity: float, *, once: bool) -> LoadLine:
    return LoadLine(
        item=str(line["item"]),
        name=str(line["name"]),
        quantity=quantity,
        unit=str(line["unit"]),
        reason=str(line["reason"]),
        caution=str(line.get("caution") or ""),
        carried_once=once,
    )


def _summed(lines: Iterable[dict[str, object]]) -> tuple[LoadLine, ...]:
    found: dict[str, LoadLine] = {}
    for line in lines:
        key = str(line["item"])
        before = found[key].quantity if key in found else 0.0
        found[key] = _line(line, before + float(str(line["quantity"])), once=False)
    return tuple(found.values())


def _most(lines: Iterable[dict[str, object]]) -> tuple[LoadLine, ...]:
    found: dict[str, LoadLine] = {}
    for line in lines:
        key = str(line["item"])
        before = found[key].quantity if key in found else 0.0
        found[key] = _line(line, max(before, float(str(line["quantity"]))), once=True)
    return tuple(found.values())
