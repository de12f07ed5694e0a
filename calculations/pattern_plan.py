"""Rolls ripped as the linear programme over width patterns says: the classic rounding.

The programme that gives the lower bound also says which widths lie side by side, and over what
length (Gilmore and Gomory, A linear programming approach to the cutting stock problem, Operations
Research 9, 1961; from memory). Whole rolls of each pattern are cut first, then its rest as a
stretch of a roll; items are laid into those lanes as far as they go, and what is left is cut as
usual.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

from calculations.packing import (
    LEAST_MM,
    WIDTH_NOISE_MM,
    Begun,
    Cut,
    Item,
    Offcut,
    Slot,
    take,
    tightest,
)
from calculations.roll_bound import WidthPatterns, roll_lengths, whole_width, width_patterns

Stretch = tuple[tuple[int, ...], Offcut]
"""Lanes of each width side by side, and the stretch of roll that is ripped so."""


def begin_by_patterns(
    items: Sequence[Item], width_mm: float, length_mm: int, *, stretches: bool
) -> Begun:
    """A plan begun with the programme's patterns. stretches: their rests too, not whole rolls only.

    items: not empty.
    """
    solution = width_patterns(roll_lengths(items, length_mm, lambda share: share), width_mm)
    true_widths = {whole_width(item.width_mm): item.width_mm for item in items}
    for item in items:
        key = whole_width(item.width_mm)
        true_widths[key] = max(true_widths[key], item.width_mm)
    widths = tuple(true_widths[w] for w in solution.widths)
    rolls, laid_out, ends = _lay_out(solution, widths, width_mm, length_mm, stretches)
    cuts: list[Cut] = []
    left: list[Item] = []
    slots = [list(_lanes(laid_out, widths, index)) for index in range(len(widths))]
    for index, whole in enumerate(solution.widths):
        group = [item for item in items if whole_width(item.width_mm) == whole]
        left += _lay(group, slots[index], cuts)
    offcuts = [*ends, *_rests(laid_out, widths, slots)]
    return Begun(rolls, tuple(offcuts), tuple(cuts), tuple(left))


def _lay_out(
    solution: WidthPatterns,
    widths: Sequence[float],
    width_mm: float,
    length_mm: int,
    stretches: bool,
) -> tuple[int, list[Stretch], list[Offcut]]:
    """Number of rolls opened, the stretches to rip, and the ends of rolls that are left."""
    laid_out: list[Stretch] = []
    rests: list[tuple[tuple[int, ...], int]] = []
    rolls = 0
    for pattern, lengths in solution.patterns:
        if sum(n * w for n, w in zip(pattern, widths, strict=True)) > width_mm + WIDTH_NOISE_MM:
            continue
        for _ in range(math.floor(lengths + 1e-9)):
            laid_out.append((pattern, Offcut(rolls, 0.0, 0, width_mm, length_mm)))
            rolls += 1
        rest = math.ceil((lengths % 1.0) * length_mm)
        if stretches and rest >= LEAST_MM:
            rests.append((pattern, rest))
    ends: list[Offcut] = []
    for pattern, rest in sorted(rests, key=lambda r: -r[1]):
        room = next((end for end in ends if end.length_mm >= rest), None)
        if room is None:
            room = Offcut(rolls, 0.0, 0, width_mm, length_mm)
            rolls += 1
        else:
            ends.remove(room)
        laid_out.append((pattern, replace(room, length_mm=rest)))
        ends.append(replace(room, y_mm=room.y_mm + rest, length_mm=room.length_mm - rest))
    return rolls, laid_out, [end for end in ends if end.length_mm >= LEAST_MM]


def _lanes(laid_out: Sequence[Stretch], widths: Sequence[float], index: int) -> Iterator[Slot]:
    """The lanes of one width. A slot's piece is the lane itself, so that its place is exact."""
    for pattern, stretch in laid_out:
        x = stretch.x_mm + sum(n * w for n, w in zip(pattern[:index], widths[:index], strict=True))
        for lane in range(pattern[index]):
            piece = replace(stretch, x_mm=x + lane * widths[index], width_mm=widths[index])
            yield Slot(piece, 0, stretch.length_mm)


def _lay(group: Sequence[Item], slots: Sequence[Slot], cuts: list[Cut]) -> list[Item]:
    """Lay items of one width into lanes as far as they go; returns what is left of them."""
    left: list[Item] = []
    waiting: list[Item] = []
    for item in sorted(group, key=lambda item: (item.joinable, -item.length_mm, item.number)):
        slot = tightest(slots, item.length_mm)
        if slot is not None:
            cuts.append(take(slot, item, 0, item.length_mm))
        else:
            (waiting if item.joinable else left).append(item)
    for item in waiting:
        rest: Item | None = item
        while rest is not None:
            slot = max(slots, key=lambda s: s.free_mm, default=None)
            length = 0 if slot is None else min(slot.free_mm, rest.length_mm)
            if 0 < rest.length_mm - length < LEAST_MM:
                length = rest.length_mm - LEAST_MM
            if slot is None or length < LEAST_MM:
                left.append(rest)
                break
            cuts.append(take(slot, rest, 0, length))
            rest = _after(rest, length)
    return left


def _after(item: Item, length_mm: int) -> Item | None:
    """What is left of an item once its first length_mm are cut."""
    left = item.length_mm - length_mm
    if left <= 0:
        return None
    return replace(item, length_mm=left, start_mm=item.start_mm + length_mm)


def _rests(
    laid_out: Sequence[Stretch], widths: Sequence[float], slots: Sequence[Sequence[Slot]]
) -> Iterator[Offcut]:
    """What is left at the end of each lane, and beside the lanes of each stretch."""
    for lanes in slots:
        for slot in lanes:
            if slot.free_mm >= LEAST_MM:
                yield replace(
                    slot.piece, y_mm=slot.piece.y_mm + slot.used_mm, length_mm=slot.free_mm
                )
    for pattern, stretch in laid_out:
        taken = sum(n * w for n, w in zip(pattern, widths, strict=True))
        if stretch.width_mm - taken > 1.0:
            yield replace(stretch, x_mm=stretch.x_mm + taken, width_mm=stretch.width_mm - taken)
