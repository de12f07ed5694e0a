"""Which rolls one above the other reach a target on the open floor of one area, and at what price.

A stack is what is added to the wool that stays: rolls between the joists until the joist depth is
filled, then rolls across. Every stack that reaches the target is priced by the square metre of
floor, and they are ranked; the exact count of rolls comes later, from the cutting plan.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import combinations_with_replacement
from typing import Literal

from calculations.catalogue import RollType
from calculations.heat import LaidWool, u_value_of_layers
from calculations.loft import LoftArea, Underlay
from calculations.outlines import LoftError, checked_number

Objective = Literal["cost", "rolls"]

SNUG_MM = 10.0
"""A strip is sawn this much wider than its bay, so that it fits snugly (common practice)."""
SPLIT_SLACK_MM = 30.0
"""A perforated width is used as it comes when it exceeds the bay by no more (common practice)."""
VOID_MM = 25.0
"""Existing wool that ends no more than this below the joists' top is laid across at once."""
FLUSH_MM = 25.0
"""A first layer fills its joists when it ends within this much above or below their top."""
PROUD_MM = 75.0
"""Where no roll ends flush, wool may stand this much above the joists; the next rests on it."""
MAX_BETWEEN, MAX_ACROSS = 2, 3


@dataclass(frozen=True, slots=True)
class Target:
    """What is to be reached: a depth of wool [mm], or a U-value on the open floor [W/m2K].

    Exactly one of the two. Raises LoftError otherwise, or for a value out of range.
    """

    depth_mm: float | None = None
    u_value_w_m2k: float | None = None

    def __post_init__(self) -> None:
        if (self.depth_mm is None) == (self.u_value_w_m2k is None):
            raise LoftError("target", "needs one aim.", "Give depth_mm or u_value_w_m2k, not both.")
        if self.depth_mm is not None:
            checked_number("target.depth_mm", self.depth_mm, 50, 1000, "mm")
        if self.u_value_w_m2k is not None:
            checked_number("target.u_value_w_m2k", self.u_value_w_m2k, 0.05, 2.3, "W/m2K")

    def __str__(self) -> str:
        if self.depth_mm is not None:
            return f"{self.depth_mm:g} mm"
        return f"{self.u_value_w_m2k:g} W/m2K"

    def reached_by(self, depth_mm: float, u_value_w_m2k: float) -> bool:
        """Whether a depth and U-value meet it; rounding noise (1e-9) is forgiven."""
        if self.depth_mm is not None:
            return depth_mm >= self.depth_mm - 1e-9
        assert self.u_value_w_m2k is not None
        return u_value_w_m2k <= self.u_value_w_m2k + 1e-9

    def shortfall(self, depth_mm: float, u_value_w_m2k: float) -> float:
        """By how much it is missed, in its own unit; 0 when reached."""
        if self.depth_mm is not None:
            return max(0.0, self.depth_mm - depth_mm)
        assert self.u_value_w_m2k is not None
        return max(0.0, u_value_w_m2k - self.u_value_w_m2k)


@dataclass(frozen=True, slots=True)
class CutWidth:
    """How wide a strip between joists is cut [mm], and whether a saw is needed for it."""

    width_mm: float
    sawn: bool


def cut_width(roll: RollType, clear_mm: float) -> CutWidth:
    """Width of the strip for a bay: a perforated width if one matches, else sawn [mm].

    A bay wider than the roll takes the whole roll's width (and a second strip beside it).
    """
    for width_mm in sorted(roll.split_widths_mm):
        if clear_mm <= width_mm <= clear_mm + SPLIT_SLACK_MM:
            return CutWidth(width_mm, sawn=False)
    return CutWidth(min(clear_mm + SNUG_MM, roll.width_mm), sawn=clear_mm + SNUG_MM < roll.width_mm)


@dataclass(frozen=True, slots=True)
class Stack:
    """One way to build up an area. Depths in mm; price is of one m2 of floor.

    top_mm: height of the upper face over the ceiling, voids included. depth_mm: of wool alone.
    """

    between: tuple[RollType, ...]
    across: tuple[RollType, ...]
    depth_mm: float
    top_mm: float
    u_value_w_m2k: float
    price: float

    def __str__(self) -> str:
        parts = [roll.name + " between the joists" for roll in self.between]
        parts += [roll.name + " across" for roll in self.across]
        return ", ".join(parts) or "nothing"


@dataclass(frozen=True, slots=True)
class RankedStacks:
    """The stacks that reach the target, best first; or the nearest one, alone, when none does."""

    reached: bool
    stacks: tuple[Stack, ...]
    considered: int


def rank_stacks(
    area: LoftArea,
    underlay: Underlay,
    target: Target,
    catalogue: tuple[RollType, ...],
    objective: Objective,
) -> RankedStacks:
    """The stacks for an area that reach the target, ranked by price of the open floor.

    A stack that would reach it without one of its rolls is left out. Ties go to fewer layers, then
    to the least excess depth. Cached by joists and existing wool, as lofts repeat themselves.
    """
    return _rank(_alike(area), underlay, target, catalogue, objective)


def _alike(area: LoftArea) -> LoftArea:
    """The area without what its stacks do not depend on, so that like areas share a cache entry."""
    plain = ((0.0, 0.0), (1000.0, 0.0), (1000.0, 1000.0), (0.0, 1000.0))
    return replace(
        area, name="-", outline_mm=plain, holes_mm=(), eaves_edges=(), joist_direction_deg=0.0
    )


@lru_cache(maxsize=2048)
def _rank(
    area_kind: LoftArea,
    underlay: Underlay,
    target: Target,
    catalogue: tuple[RollType, ...],
    objective: Objective,
) -> RankedStacks:
    stacks: list[Stack] = []
    reaching: list[Stack] = []
    for between in _between_options(area_kind, catalogue):
        enough: set[tuple[RollType, ...]] = set()
        for across in _across_options(catalogue):
            if any(across[:i] + across[i + 1 :] in enough for i in range(len(across))):
                # It does without one of its rolls, so that it cannot be the least.
                enough.add(across)
                continue
            stack = _priced(area_kind, underlay, between, across, objective)
            stacks.append(stack)
            if target.reached_by(stack.depth_mm, stack.u_value_w_m2k):
                enough.add(across)
                reaching.append(stack)
    reaching.sort(key=lambda s: (round(s.price, 9), len(s.between) + len(s.across), s.depth_mm))
    if reaching:
        return RankedStacks(True, tuple(reaching[:20]), len(reaching))
    nearest = min(
        stacks, key=lambda s: (round(target.shortfall(s.depth_mm, s.u_value_w_m2k), 6), s.price)
    )
    return RankedStacks(False, (nearest,), len(stacks))


def _between_options(
    area: LoftArea, catalogue: Sequence[RollType]
) -> tuple[tuple[RollType, ...], ...]:
    """Ways to fill the joist depth: flush if a roll allows it, else proud, else the nearest."""
    kept, joist = area.kept_depth_mm, area.joist_depth_mm
    if kept >= joist - VOID_MM:
        return ((),)
    ways = [
        way
        for count in range(1, MAX_BETWEEN + 1)
        for way in combinations_with_replacement(catalogue, count)
    ]
    tops = {way: kept + sum(roll.thickness_mm for roll in way) for way in ways}
    for above_mm in (FLUSH_MM, PROUD_MM):
        fitting = [way for way in ways if joist - VOID_MM <= tops[way] <= joist + above_mm]
        single = [way for way in fitting if len(way) == 1]
        if fitting:
            return tuple(single or fitting)
    return (min(ways, key=lambda way: (abs(tops[way] - joist), len(way))),)


def _across_options(catalogue: Sequence[RollType]) -> Iterator[tuple[RollType, ...]]:
    """Thinner rolls first, as they may start nearer to the eaves."""
    ordered = sorted(catalogue, key=lambda roll: roll.thickness_mm)
    for count in range(MAX_ACROSS + 1):
        yield from combinations_with_replacement(ordered, count)


def _priced(
    area: LoftArea,
    underlay: Underlay,
    between: tuple[RollType, ...],
    across: tuple[RollType, ...],
    objective: Objective,
) -> Stack:
    filled = area.kept_depth_mm + sum(roll.thickness_mm for roll in between)
    over = sum(roll.thickness_mm for roll in across)
    top = max(filled, area.joist_depth_mm) + over if across else filled
    u_value = u_value_of_layers(area, existing_wool(area) + laid_wool(between, across), underlay)
    price = sum(_price_per_m2(roll, cover_between_m2(area, roll), objective) for roll in between)
    price += sum(_price_per_m2(roll, roll.area_m2, objective) for roll in across)
    return Stack(between, across, filled + over, top, u_value.u_value_w_m2k, price)


def _price_per_m2(roll: RollType, cover_m2: float, objective: Objective) -> float:
    return (roll.cost if objective == "cost" else 1.0) / cover_m2


def cover_between_m2(area: LoftArea, roll: RollType) -> float:
    """Floor, joists included, that one roll covers when cut for the area's bays [m2]."""
    beside = strips_beside(roll, area.clear_bay_mm)
    lanes = int(roll.width_mm / cut_width(roll, area.clear_bay_mm / beside).width_mm + 1e-9)
    return lanes * area.joist_spacing_mm / beside * roll.length_mm / 1e6


def strips_beside(roll: RollType, bay_mm: float) -> int:
    """How many strips side by side fill a bay: more than one only where it is wider than a roll."""
    return max(1, math.ceil(bay_mm / roll.width_mm - 1e-9))


def existing_wool(area: LoftArea) -> tuple[LaidWool, ...]:
    """The wool that stays in an area, as heat.py wants it."""
    if area.kept_depth_mm <= 0:
        return ()
    return (LaidWool(area.kept_depth_mm, area.existing_conductivity_w_mk, "between_joists"),)


def laid_wool(between: Sequence[RollType], across: Sequence[RollType]) -> tuple[LaidWool, ...]:
    """New wool on the open floor, lowest first, as heat.py wants it."""
    low = [LaidWool(r.thickness_mm, r.conductivity_w_mk, "between_joists") for r in between]
    high = [LaidWool(r.thickness_mm, r.conductivity_w_mk, "across_joists") for r in across]
    return (*low, *high)
