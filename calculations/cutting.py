"""Pieces to rolls: the cutting plan of one roll type, with the bound that proves its count.

A quick plan (see `calculations.packing`) is tried in several ways and stops as soon as it meets the
lower bound (see `calculations.roll_bound`), which proves it best. What is left open goes to an
exact search within the time allowed. Fewer rolls come first, then fewer butt joints.
"""

from __future__ import annotations

import math
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from calculations.catalogue import RollType
from calculations.exact_cutting import try_rolls
from calculations.outlines import Outline
from calculations.packing import ALL_HABITS, Cut, Item, Packing, finish, pack
from calculations.pattern_plan import begin_by_patterns
from calculations.roll_bound import roll_lower_bound
from calculations.strips import Piece, Zone, outline_of

__all__ = ["CuttingPlan", "Strip", "plan_cuts"]

ROUGH_HABITS = 6
TURNS = 2
"""Shuffled plans and the exact search take this many turns; each has half of the time."""


Part = tuple[Piece, Cut]
"""A piece, or part of a joined one, and where on which roll it is cut."""


@dataclass(frozen=True, slots=True)
class Strip:
    """One line of the cut list: a piece as it is laid, in the order of laying.

    outline_mm: where it lies, loft coordinates. length_mm, width_mm: as cut from the roll.
    from_roll: number of the roll of its type, 1 = opened first. roll_x_mm, roll_y_mm: the corner of
    the cut on that roll, across it and along it. sawn: the width is no perforated one. note: what
    to mind when laying it (see `calculations.strip_notes`), or empty.
    """

    number: int
    area: str
    layer: int
    roll: str
    outline_mm: Outline
    length_mm: float
    width_mm: float
    bay: int
    zone: Zone
    from_roll: int
    roll_x_mm: float = 0.0
    roll_y_mm: float = 0.0
    sawn: bool = False
    note: str = ""


@dataclass(frozen=True, slots=True)
class CuttingPlan:
    """Rolls of one type: the count, what proves it, and which piece part comes from which roll.

    parts: pieces, or parts of joined ones, with their place on a roll, in no order. lower_bound: no
    plan gets by with fewer.
    """

    roll: str
    rolls: int
    lower_bound: int
    proved_optimal: bool
    joints: int
    parts: tuple[Part, ...]
    packing: Packing


def plan_cuts(
    pieces: Sequence[Piece], roll: RollType, seconds: float = 1.0, *, rough: bool = False
) -> CuttingPlan:
    """The cutting plan of all pieces of one roll type.

    seconds: for the exact search; 0 = none, and then the answer is the same on every machine.
    rough: only a few quick plans and the cheap bounds, to compare ways with each other.
    """
    length_mm = math.floor(roll.length_mm)
    items = [
        Item(i, min(p.width_mm, roll.width_mm), whole_mm(p), p.joinable)
        for i, p in enumerate(pieces)
    ]
    if rough:
        packing, bound = rough_packing(items, roll.width_mm, length_mm)
    else:
        packing, bound = best_packing(items, roll.width_mm, length_mm, seconds)
    return CuttingPlan(
        roll.code,
        packing.rolls,
        bound,
        packing.rolls == bound,
        packing.joints,
        tuple(_parts(pieces, packing.cuts)),
        packing,
    )


def whole_mm(piece: Piece) -> int:
    """Length of a piece in whole millimetres, never short."""
    return math.ceil(piece.length_mm - 1e-3)


def rough_packing(items: Sequence[Item], width_mm: float, length_mm: int) -> tuple[Packing, int]:
    """The best of the first few quick plans, and a cheap lower bound."""
    bound = roll_lower_bound(items, width_mm, length_mm, cheap=True)
    best = pack(items, width_mm, length_mm, ALL_HABITS[0])
    for habits in ALL_HABITS[1:ROUGH_HABITS]:
        if best.rolls == bound:
            break
        best = min(best, pack(items, width_mm, length_mm, habits), key=_merit)
    return best, bound


def best_packing(
    items: Sequence[Item],
    width_mm: float,
    length_mm: int,
    seconds: float,
) -> tuple[Packing, int]:
    """The best plan found and a lower bound, the bound sought only as far as it helps.

    Plain habits first, some of them even when the bound is met, for fewer joints; then plans begun
    with the bound's own patterns; then, for `seconds`, shuffled habits and the exact search for one
    roll fewer, in turns, until the bound is met or raised to the count.
    """
    ends = time.perf_counter() + seconds
    best = pack(items, width_mm, length_mm, ALL_HABITS[0])
    bound = roll_lower_bound(items, width_mm, length_mm, enough=best.rolls)
    for tried, habits in enumerate(ALL_HABITS[1:], start=1):
        if best.rolls == bound and (best.joints == 0 or (seconds <= 0 and tried >= ROUGH_HABITS)):
            return best, bound
        best = min(best, pack(items, width_mm, length_mm, habits), key=_merit)
    if best.rolls > bound:
        best = _by_patterns(items, width_mm, length_mm, best, bound)
    for turn in range(TURNS):
        best = _shuffle(items, width_mm, length_mm, best, bound, seconds / TURNS / 2, turn)
        while best.rolls > bound and time.perf_counter() < ends:
            left = ends - time.perf_counter()
            answer = try_rolls(items, width_mm, length_mm, best.rolls - 1, left / 2)
            if answer.impossible:
                bound = best.rolls
            elif answer.packing is not None:
                best = answer.packing
            else:
                break
    return best, bound


def _by_patterns(
    items: Sequence[Item], width_mm: float, length_mm: int, best: Packing, bound: int
) -> Packing:
    """The best of plans begun with the linear programme's patterns; stops at the bound."""
    for stretches in (True, False):
        begun = begin_by_patterns(items, width_mm, length_mm, stretches=stretches)
        for habits in ALL_HABITS:
            best = min(best, finish(begun, width_mm, length_mm, habits), key=_merit)
            if best.rolls <= bound:
                return best
    return best


def _merit(packing: Packing) -> tuple[int, int]:
    return packing.rolls, packing.joints


def _shuffle(
    items: Sequence[Item],
    width_mm: float,
    length_mm: int,
    best: Packing,
    bound: int,
    seconds: float,
    turn: int,
) -> Packing:
    """The best of shuffled habits within the time; stops when the bound is met."""
    ends = time.perf_counter() + seconds
    seed = 100_000 * turn
    while best.rolls > bound and time.perf_counter() < ends:
        habits = replace(ALL_HABITS[seed % len(ALL_HABITS)], seed=seed)
        best = min(best, pack(items, width_mm, length_mm, habits), key=_merit)
        seed += 1
    return best


def _parts(pieces: Sequence[Piece], cuts: Sequence[Cut]) -> list[Part]:
    parts: list[Part] = []
    joined = {cut.item for cut in cuts if cut.start_mm > 0}
    for cut in cuts:
        piece = pieces[cut.item]
        if cut.item in joined:
            length = min(cut.length_mm, piece.length_mm - cut.start_mm)
            piece = piece.part(cut.start_mm, length)
        parts.append((piece, cut))
    return parts


def strips_of(parts: Sequence[Part], numbers: Mapping[tuple[str, int], int]) -> tuple[Strip, ...]:
    """The cut list of parts in the order given; numbers: of each (roll type, roll index)."""
    return tuple(
        Strip(
            number,
            piece.area,
            piece.layer,
            piece.roll,
            outline_of(piece),
            round(piece.length_mm, 1),
            round(piece.width_mm, 1),
            piece.bay,
            piece.zone,
            numbers[piece.roll, cut.roll],
            round(cut.x_mm, 1),
            float(cut.y_mm),
            piece.sawn,
        )
        for number, (piece, cut) in enumerate(parts, start=1)
    )
