"""One line of a load list: what, how much, why, and whether the depot has it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from jobs.loading.stock import whole

EACH_ITS_OWN = "for more than one visit"


@dataclass(frozen=True, slots=True)
class LoadLine:
    """One thing to put on the van; `carried_once` for what serves every visit of the day.

    m3_each: packed volume of a roll. held: units the depot has for this load, None where the
    depot does not keep the item.
    """

    item: str
    name: str
    quantity: float
    unit: str
    reason: str
    caution: str = ""
    carried_once: bool = False
    m3_each: float = 0.0
    held: int | None = None

    @property
    def units(self) -> int:
        """Whole units to take."""
        return whole(self.quantity)

    @property
    def missing(self) -> int:
        """Units the depot has too few of, as far as it keeps the item."""
        return 0 if self.held is None else max(0, self.units - self.held)


def line_of(row: Mapping[str, Any], *, carried_once: bool = False) -> LoadLine:
    """A line of a layer plan, or of a load that was marked, as a line of the load list."""
    return LoadLine(
        item=str(row["item"]),
        name=str(row["name"]),
        quantity=float(row["quantity"]),
        unit=str(row["unit"]),
        reason=str(row.get("reason") or ""),
        caution=str(row.get("caution") or ""),
        carried_once=carried_once,
        m3_each=float(row.get("m3_each") or 0.0),
    )


def told(line: LoadLine) -> dict[str, Any]:
    """A line as a marked load keeps it."""
    return {
        "item": line.item,
        "name": line.name,
        "quantity": line.quantity,
        "unit": line.unit,
        "reason": line.reason,
        "caution": line.caution,
        "m3_each": line.m3_each,
    }


def summed(lines: Iterable[LoadLine]) -> tuple[LoadLine, ...]:
    """The same things together, in the order in which they first come."""
    found: dict[str, LoadLine] = {}
    for line in lines:
        before = found.get(line.item)
        if before is None:
            found[line.item] = line
            continue
        found[line.item] = replace(
            before,
            quantity=before.quantity + line.quantity,
            reason=before.reason if before.reason == line.reason else EACH_ITS_OWN,
            caution=before.caution or line.caution,
        )
    return tuple(found.values())
