"""Pieces to rolls: the cutting plan of one roll type, with the bound that proves its count.

A quick plan (see `calculations.packing`) is tried in several ways and stops as soon as it meets the
lower bound (see `calculations.roll_bound`), which proves it best. What is left open goes to an
exact search within the time allowed. Fewer rolls come first, then fewer butt joints.
"""

from __future__ import annotations

import itertools
import math
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from calculations.catalogue import RollType
from calculations.outlines import Outline
from calculations.packing import ALL_HABITS, Cut, Habits, Item, Packing, pack
from calculations.roll_bound import roll_lower_bound
from calculations.strips import Piece, Zone, outline_of

__all__ = ["CuttingPlan", "Strip", "plan_cuts"]


@dataclass(frozen=True, slots=True)
class Strip:
    """One line of the cut list: a piece as it is laid, in the order of laying.

    outline_mm: where it lies, loft coordinates. length_mm, width_mm: as cut from the roll.
    from_roll: number of the roll of its type, 1 = opened first.
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


@dataclass(frozen=True, slots=True)
class CuttingPlan:
    """Rolls of one type: the count, what proves it, and which piece part comes from which roll.

    parts: (piece, roll index from 0) in no order. lower_bound: no plan gets by with fewer.
    """

    roll: str
    rolls: int
    lower_bound: int
    proved_optimal: bool
    joints: int
    parts: tuple[tuple[Piece, int], ...]
    packing: Packing


def plan_cuts(pieces: Sequence[Piece], roll: RollType, seconds: float = 1.0) -> CuttingPlan:
    """The cutting plan of all pieces of one roll type. seconds: for the exact search; 0 = none."""
    length_mm = math.floor(roll.length_mm)
    items = [
        Item(i, min(p.width_mm, roll.width_mm), min_length(p), p.joinable)
        for i, p in enumerate(pieces)
    ]
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


def min_length(piece: Piece) -> int:
    """Length of a piece in whole millimetres, never short."""
    return math.ceil(piece.length_mm - 1e-3)


def best_packing(
    items: Sequence[Item], width_mm: float, length_mm: int, seconds: float
) -> tuple[Packing, int]:
    """The best plan found and a lower bound, the bound sought only as far as it helps.

    After the plain habits, shuffled ones are tried for half of `seconds` while a roll more than
    the bound is used.
    """
    begin = time.perf_counter()
    best = pack(items, width_mm, length_mm, ALL_HABITS[0])
    bound = roll_lower_bound(items, width_mm, length_mm, enough=best.rolls)
    for habits in _all_habits():
        if best.rolls == bound or (
            habits.seed is not None and time.perf_counter() - begin > seconds / 2
        ):
            break
        packing = pack(items, width_mm, length_mm, habits)
        if (packing.rolls, packing.joints) < (best.rolls, best.joints):
            best = packing
    return best, bound


def _all_habits() -> Iterator[Habits]:
    yield from ALL_HABITS
    for seed in itertools.count():
        yield replace(ALL_HABITS[seed % len(ALL_HABITS)], seed=seed)


def _parts(pieces: Sequence[Piece], cuts: Sequence[Cut]) -> list[tuple[Piece, int]]:
    parts: list[tuple[Piece, int]] = []
    joined = {cut.item for cut in cuts if cut.start_mm > 0}
    for cut in cuts:
        piece = pieces[cut.item]
        if cut.item in joined:
            length = min(cut.length_mm, piece.length_mm - cut.start_mm)
            piece = piece.part(cut.start_mm, length)
        parts.append((piece, cut.roll))
    return parts


def strips_of(
    parts: Sequence[tuple[Piece, int]], numbers: Mapping[tuple[str, int], int]
) -> tuple[Strip, ...]:
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
            numbers[piece.roll, roll],
        )
        for number, (piece, roll) in enumerate(parts, start=1)
    )
