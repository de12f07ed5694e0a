"""Rectangles of wool out of rolls: a quick plan, with butt joints where they save a roll.

A roll is ripped along its length into lanes (along its perforation, or sawn in its packaging), a
lane is cut across into lengths, and an offcut that is long enough is treated as a small roll in
turn. Every cut goes from edge to edge, as a knife or saw does. Lengths are whole millimetres.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from calculations.strips import LEAST_PIECE_MM

LEAST_MM = int(LEAST_PIECE_MM)
WIDTH_NOISE_MM = 0.01


@dataclass(frozen=True, slots=True)
class Item:
    """A rectangle that is needed. joinable: may come as several lengths of LEAST_MM or more.

    start_mm: where it begins in the piece of that number, of which the rest is cut already.
    """

    number: int
    width_mm: float
    length_mm: int
    joinable: bool
    start_mm: int = 0


@dataclass(frozen=True, slots=True)
class Cut:
    """A rectangle cut from a roll for `item`: its place on the roll, from the roll's corner [mm].

    start_mm: where in the item this length begins; 0 unless the item is joined.
    """

    item: int
    roll: int
    x_mm: float
    y_mm: int
    width_mm: float
    length_mm: int
    start_mm: int = 0


@dataclass(frozen=True, slots=True)
class Offcut:
    """A rectangle of roll not yet used: place on the roll, width across, length along [mm]."""

    roll: int
    x_mm: float
    y_mm: int
    width_mm: float
    length_mm: int


@dataclass(frozen=True, slots=True)
class Packing:
    """Which rectangle comes from where. rolls: how many are opened. offcuts: what stays whole."""

    rolls: int
    cuts: tuple[Cut, ...]
    offcuts: tuple[Offcut, ...] = ()

    @property
    def joints(self) -> int:
        """Number of butt joints, beyond those that the geometry asks for."""
        return sum(1 for cut in self.cuts if cut.start_mm > 0)


@dataclass(frozen=True, slots=True)
class Begun:
    """A plan begun by other means: rolls opened, offcuts to use up, cuts made, items left."""

    rolls: int
    offcuts: tuple[Offcut, ...]
    cuts: tuple[Cut, ...]
    left: tuple[Item, ...]


@dataclass(slots=True)
class Slot:
    """A lane that may be used: part of an offcut or of a new roll, filled from its low end."""

    piece: Offcut
    lane: int
    length_mm: int
    used_mm: int = 0

    @property
    def free_mm(self) -> int:
        return self.length_mm - self.used_mm


@dataclass(frozen=True, slots=True)
class Habits:
    """How the quick plan goes about it; several are tried and the best is kept.

    order: of the widths, "wide" or "narrow" first, or by the "amount" of wool. keep_ends: what is
    left at the ends of lanes side by side is kept as one wide offcut. run_through: joinable items
    run on from lane to lane, rather than being laid whole as far as possible. even: the lanes of
    the last new roll are used to about one length, so that its end stays wide. fewer_lanes: lanes
    left out of each new roll, so that another width may lie beside. seed: shuffles all this a
    little; None keeps it.
    """

    order: Literal["wide", "narrow", "amount"] = "wide"
    keep_ends: bool = True
    run_through: bool = False
    even: bool = False
    fewer_lanes: int = 0
    seed: int | None = None


ALL_HABITS = tuple(
    Habits(order, keep_ends, run_through, even, fewer_lanes)
    for even, fewer_lanes in ((False, 0), (True, 0), (True, 1))
    for run_through in (False, True)
    for order in ("wide", "amount", "narrow")
    for keep_ends in (True, False)
)


def pack(items: Sequence[Item], width_mm: float, length_mm: int, habits: Habits) -> Packing:
    """A plan for all items out of rolls of width_mm by length_mm. Quick, and not always the best.

    Raises ValueError for an item wider than the roll, or longer while not joinable.
    """
    for item in items:
        if item.width_mm > width_mm + WIDTH_NOISE_MM:
            raise ValueError(f"item {item.number} is wider than the roll")
        if item.length_mm > length_mm and not item.joinable:
            raise ValueError(f"item {item.number} is longer than the roll and may not be joined")
    return finish(Begun(0, (), (), tuple(items)), width_mm, length_mm, habits)


def finish(begun: Begun, width_mm: float, length_mm: int, habits: Habits) -> Packing:
    """Complete a plan that was begun, with what is left."""
    rolls, offcuts, cuts = begun.rolls, list(begun.offcuts), list(begun.cuts)
    rng = None if habits.seed is None else random.Random(habits.seed)
    for group in _groups(begun.left, habits, rng):
        rolls, offcuts = _pack_group(group, width_mm, length_mm, rolls, offcuts, cuts, habits, rng)
    return Packing(rolls, tuple(cuts), tuple(offcuts))


def _groups(items: Sequence[Item], habits: Habits, rng: random.Random | None) -> list[list[Item]]:
    """Items of one width together, in the order in which widths are cut."""
    by_width: dict[float, list[Item]] = {}
    for item in items:
        by_width.setdefault(round(item.width_mm, 2), []).append(item)

    def rank(width: float) -> float:
        amount = sum(item.length_mm for item in by_width[width])
        value = {"wide": width, "narrow": -width, "amount": width * amount}[habits.order]
        return value if rng is None else value * rng.uniform(0.6, 1.6)

    return [by_width[width] for width in sorted(by_width, key=rank, reverse=True)]


def _pack_group(
    group: Sequence[Item],
    roll_width_mm: float,
    roll_length_mm: int,
    rolls: int,
    offcuts: list[Offcut],
    cuts: list[Cut],
    habits: Habits,
    rng: random.Random | None,
) -> tuple[int, list[Offcut]]:
    """Cut items of one width, out of offcuts first and then as few new rolls as will do."""
    width = group[0].width_mm
    old = [slot for piece in sorted(offcuts, key=_size) for slot in _slots(piece, width)]
    lanes = _lanes(roll_width_mm, width, habits, rng)
    missing = sum(item.length_mm for item in group) - sum(slot.free_mm for slot in old)
    new = max(0, math.ceil(missing / (lanes * roll_length_mm)))
    while True:
        made = None
        for last_mm in _last_lengths(missing, new, lanes, roll_length_mm, habits):
            fresh = _new_slots(rolls, new, lanes, width, (roll_width_mm, roll_length_mm), last_mm)
            slots = [replace(slot) for slot in old] + fresh
            made = fill(group, slots, habits.run_through, rng)
            if made is not None:
                break
        if made is not None:
            break
        new += 1
    cuts += made
    used = {slot.piece for slot in slots if slot.used_mm}
    left = [piece for piece in offcuts if piece not in used]
    left += [s.piece for s in fresh if s.lane == 0 and s.piece not in used]
    for piece in used:
        ripped = [slot for slot in slots if slot.piece == piece]
        left += _offcuts(piece, width, ripped, habits)
    return rolls + new, left


def _lanes(roll_width_mm: float, width_mm: float, habits: Habits, rng: random.Random | None) -> int:
    """Lanes to rip from each new roll."""
    most = int((roll_width_mm + WIDTH_NOISE_MM) / width_mm)
    fewer = habits.fewer_lanes if rng is None else rng.choice((0, 0, 1))
    return max(1, most - fewer)


def _last_lengths(
    missing_mm: int, new: int, lanes: int, roll_length_mm: int, habits: Habits
) -> tuple[int, ...]:
    """How much of the last new roll's length to rip: as little as may do, then all of it."""
    if new == 0 or not habits.even:
        return (roll_length_mm,)
    rest = missing_mm - (new - 1) * lanes * roll_length_mm
    even = math.ceil(rest / lanes)
    shorter = (even, math.ceil(even * 1.04), even + LEAST_MM)
    return (*(mm for mm in shorter if LEAST_MM <= mm < roll_length_mm), roll_length_mm)


def _new_slots(
    rolls: int, new: int, lanes: int, width_mm: float, size_mm: tuple[float, int], last_mm: int
) -> list[Slot]:
    """Lanes of `new` more rolls, those of the last one `last_mm` long."""
    slots: list[Slot] = []
    for i in range(new):
        piece = Offcut(rolls + i, 0.0, 0, *size_mm)
        length = last_mm if i == new - 1 else size_mm[1]
        slots += [Slot(piece, lane, length) for lane in range(lanes)]
    return slots


def _size(piece: Offcut) -> float:
    return piece.width_mm * piece.length_mm


def _slots(piece: Offcut, width_mm: float) -> list[Slot]:
    if piece.length_mm <= 0:
        return []
    lanes = int((piece.width_mm + WIDTH_NOISE_MM) / width_mm)
    return [Slot(piece, lane, piece.length_mm) for lane in range(lanes)]


def fill(
    group: Sequence[Item], slots: Sequence[Slot], run_through: bool, rng: random.Random | None
) -> list[Cut] | None:
    """Lay items of one width into lanes, or None when they do not fit.

    Items that must stay whole come first, longest first, each where it leaves least. Joinable ones
    follow in the same way and are joined only where they fit no lane whole; or, with run_through,
    lane by lane, each lane used to its end.
    """
    cuts: list[Cut] = []
    waiting: list[Item] = []
    for item in sorted(group, key=lambda item: (item.joinable, -item.length_mm, item.number)):
        slot = None if item.joinable and run_through else tightest(slots, item.length_mm)
        if slot is not None:
            cuts.append(take(slot, item, 0, item.length_mm))
        elif item.joinable:
            waiting.append(item)
        else:
            return None
    if rng is not None:
        rng.shuffle(waiting)
    if run_through:
        joined = _run_through(waiting, slots)
        return None if joined is None else cuts + joined
    for item in waiting:
        lengths = _join(item, slots)
        if lengths is None:
            return None
        cuts += lengths
    return cuts


def _run_through(waiting: Sequence[Item], slots: Sequence[Slot]) -> list[Cut] | None:
    """Lay joinable items lane by lane: what fits whole, longest first, then the start of another.

    A lane's end is left only where both lengths of every item would not be LEAST_MM at least.
    """
    cuts: list[Cut] = []
    rest = [(item, 0) for item in waiting]
    for slot in slots:
        while rest and slot.free_mm > 0:
            fitting = [r for r in rest if r[0].length_mm - r[1] <= slot.free_mm]
            if fitting:
                item, start = max(fitting, key=lambda r: r[0].length_mm - r[1])
                rest.remove((item, start))
                cuts.append(take(slot, item, start, item.length_mm - start))
                continue
            item, start = max(rest, key=lambda r: r[0].length_mm - r[1])
            length = min(slot.free_mm, item.length_mm - start - LEAST_MM)
            if length < LEAST_MM:
                break
            rest.remove((item, start))
            rest.append((item, start + length))
            cuts.append(take(slot, item, start, length))
    return None if rest else cuts


def tightest(slots: Iterable[Slot], length_mm: int) -> Slot | None:
    """The lane that would have least left after `length_mm`, or None where none has so much."""
    fitting = [slot for slot in slots if slot.free_mm >= length_mm]
    return min(fitting, key=lambda slot: slot.free_mm, default=None)


def _join(item: Item, slots: Sequence[Slot]) -> list[Cut] | None:
    """Lay one item from several lanes, each length LEAST_MM or more."""
    cuts: list[Cut] = []
    start, need = 0, item.length_mm
    while need > 0:
        slot = tightest(slots, need)
        if slot is None:
            slot = max(slots, key=lambda s: s.free_mm, default=None)
            if slot is None or slot.free_mm < LEAST_MM:
                return None
        length = min(slot.free_mm, need)
        if 0 < need - length < LEAST_MM:
            length = need - LEAST_MM
        if length < LEAST_MM and length < need:
            return None
        cuts.append(take(slot, item, start, length))
        start, need = start + length, need - length
    return cuts


def take(slot: Slot, item: Item, start_mm: int, length_mm: int) -> Cut:
    """Cut the next `length_mm` of a lane for the part of the item that begins at start_mm."""
    cut = Cut(
        item.number,
        slot.piece.roll,
        slot.piece.x_mm + slot.lane * item.width_mm,
        slot.piece.y_mm + slot.used_mm,
        item.width_mm,
        length_mm,
        item.start_mm + start_mm,
    )
    slot.used_mm += length_mm
    return cut


def _offcuts(piece: Offcut, width_mm: float, lanes: Sequence[Slot], habits: Habits) -> list[Offcut]:
    """What is left of a piece after its lanes were filled, as rectangles worth keeping."""
    left: list[Offcut] = []
    body = piece
    if habits.keep_ends:
        reach = max(lane.used_mm for lane in lanes)
        if piece.length_mm - reach >= LEAST_MM:
            left.append(replace(piece, y_mm=piece.y_mm + reach, length_mm=piece.length_mm - reach))
            body = replace(piece, length_mm=reach)
    used = [lane for lane in lanes if lane.used_mm]
    for lane in used:
        left.append(
            Offcut(
                piece.roll,
                piece.x_mm + lane.lane * width_mm,
                piece.y_mm + lane.used_mm,
                width_mm,
                body.length_mm - lane.used_mm,
            )
        )
    side = (max(lane.lane for lane in used) + 1) * width_mm
    unused = [lane for lane in lanes if not lane.used_mm and lane.lane * width_mm < side]
    left += [replace(body, x_mm=piece.x_mm + s.lane * width_mm, width_mm=width_mm) for s in unused]
    left.append(replace(body, x_mm=piece.x_mm + side, width_mm=piece.width_mm - side))
    return [o for o in left if o.length_mm >= LEAST_MM and o.width_mm > 1.0]
