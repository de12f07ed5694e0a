"""How few rolls can possibly do: lower bounds that hold for every plan, however clever.

At any place along its length a roll yields pieces side by side whose widths sum to at most its own.
The least total length of such cross-sections that covers, for every width, the length needed is a
linear programme over width patterns: the bar relaxation of two-dimensional packing (Scheithauer,
Equivalence and dominance for problems of optimal packing of rectangles, Ricerca Operativa 83,
1997). It admits butt joints anywhere, so that every real plan needs at least as much. Pieces that
may not be joined are bounded a second time with their lengths put through dual feasible functions
(Fekete and Schepers, A general framework for bounds for higher-dimensional orthogonal packing
problems, Mathematical Methods of Operations Research 60, 2004). Both references from memory.

The programme is solved by column generation (Gilmore and Gomory 1961); whenever it stops, Farley's
bound (value / best pattern under the prices at hand) is a true lower bound.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from calculations.packing import Item

BOUND_NOISE = 1e-6
"""Sums of lengths are rounded to whole rolls only beyond this share of a roll."""
DUAL_FEASIBLE_UP_TO = 8
MAX_COLUMNS = 60

Worth = Callable[[float], float]


def roll_lower_bound(
    items: Sequence[Item],
    width_mm: float,
    length_mm: int,
    enough: int | None = None,
    *,
    cheap: bool = False,
) -> int:
    """No plan gets by with fewer rolls of width_mm by length_mm than this; 0 for no items.

    Cheap bounds come first; with `enough` it stops as soon as one reaches that many; with `cheap`
    it leaves the linear programmes out.
    """
    if not items:
        return 0
    best = 0
    bounds = _bounds(items, width_mm, length_mm)
    for bound in bounds[: 1 + DUAL_FEASIBLE_UP_TO] if cheap else bounds:
        best = max(best, bound())
        if enough is not None and best >= enough:
            break
    return best


def _bounds(items: Sequence[Item], width_mm: float, length_mm: int) -> list[Callable[[], int]]:
    every = roll_lengths(items, length_mm, lambda share: share)
    whole = [item for item in items if not item.joinable]
    bounds: list[Callable[[], int]] = [lambda: _round_up(_area_rolls(every, width_mm))]
    for k in range(1, DUAL_FEASIBLE_UP_TO + 1):
        bounds.append(lambda k=k: _round_up(_stepped_rolls(every, width_mm, k)))  # type: ignore[misc]
    bounds.append(lambda: _round_up(pattern_rolls(every, width_mm)))
    if whole:
        for k in range(1, DUAL_FEASIBLE_UP_TO + 1):
            needed = roll_lengths(whole, length_mm, stepped(k))
            bounds.append(lambda needed=needed: _round_up(pattern_rolls(needed, width_mm)))  # type: ignore[misc]
    return bounds


def _round_up(rolls: float) -> int:
    return math.ceil(rolls - BOUND_NOISE)


def stepped(k: int) -> Worth:
    """Dual feasible function u^(k) on [0, 1]: numbers that sum to 1 at most still do so.

    x stays when (k + 1) x is whole, else it becomes floor((k + 1) x) / k.
    """

    def value(share: float) -> float:
        scaled = (k + 1) * share
        if abs(scaled - round(scaled)) < 1e-9:
            return share
        return math.floor(scaled) / k

    return value


def roll_lengths(items: Sequence[Item], length_mm: int, worth: Worth) -> dict[float, float]:
    """Roll lengths needed by width [mm], each item's share of a roll put through `worth`."""
    needed: dict[float, float] = {}
    for item in items:
        rolls, rest = divmod(item.length_mm, length_mm)
        key = width_key(item.width_mm)
        needed[key] = needed.get(key, 0.0) + rolls + worth(rest / length_mm)
    return {width: rolls for width, rolls in needed.items() if rolls > 0}


def _area_rolls(needed: Mapping[float, float], width_mm: float) -> float:
    return sum(width * rolls for width, rolls in needed.items()) / width_mm


def _stepped_rolls(needed: Mapping[float, float], width_mm: float, k: int) -> float:
    worth = stepped(k)
    return sum(worth(min(1.0, w / width_mm)) * rolls for w, rolls in needed.items())


@dataclass(frozen=True, slots=True)
class WidthPatterns:
    """Solution of the linear programme over width patterns.

    bound: roll lengths that no plan can do without. widths: whole millimetres, widest first.
    patterns: lanes of each width side by side, with the roll lengths to cut in each pattern.
    """

    bound: float
    widths: tuple[int, ...]
    patterns: tuple[tuple[tuple[int, ...], float], ...]


def pattern_rolls(needed: Mapping[float, float], width_mm: float) -> float:
    """Optimum of the linear programme over width patterns, in roll lengths (a true lower bound)."""
    return width_patterns(needed, width_mm).bound if needed else 0.0


def width_patterns(needed: Mapping[float, float], width_mm: float) -> WidthPatterns:
    """Solve the linear programme over width patterns by column generation.

    needed: roll lengths by width [mm], not empty. Widths are rounded down to whole millimetres and
    the roll's up, which can only lower the bound.
    """
    merged: dict[int, float] = {}
    for width, rolls in needed.items():
        key = whole_width(width)
        merged[key] = merged.get(key, 0.0) + rolls
    widths = sorted(merged, reverse=True)
    room = math.ceil(width_mm - 1e-6)
    demand = np.array([merged[w] for w in widths])
    patterns = [
        [room // w if i == j else 0 for j in range(len(widths))] for i, w in enumerate(widths)
    ]
    bound = 0.0
    lengths: list[float] = []
    # Slow to import, and not every process that reads a plan makes one.
    from scipy.optimize import linprog

    for _ in range(MAX_COLUMNS):
        result = linprog(
            np.ones(len(patterns)), A_ub=-np.array(patterns, dtype=float).T, b_ub=-demand
        )
        lengths = np.asarray(result.x, dtype=float).tolist()
        prices = np.maximum(0.0, -np.asarray(result.ineqlin.marginals, dtype=float))
        value, pattern = _best_pattern(widths, prices.tolist(), room)
        bound = max(bound, float(prices @ demand) / max(value, 1.0))
        if value <= 1.0 + 1e-9:
            break
        patterns.append(pattern)
    used = tuple(
        (tuple(pattern), length)
        for pattern, length in zip(patterns, lengths, strict=False)
        if length > 1e-6
    )
    return WidthPatterns(bound, tuple(widths), used)


def width_key(width_mm: float) -> float:
    """A width to 0.01 mm, rounded down (a hair below the next counts as it)."""
    return math.floor(width_mm * 100 + 0.01) / 100


def whole_width(width_mm: float) -> int:
    """A width in whole millimetres, rounded down in the same way."""
    return math.floor(width_key(width_mm) + 1e-6)


def _best_pattern(
    widths: Sequence[int], prices: Sequence[float], room: int
) -> tuple[float, list[int]]:
    """The lanes side by side within `room` [mm] of greatest price: an unbounded knapsack."""
    best = [0.0] * (room + 1)
    taken = [-1] * (room + 1)
    for free in range(1, room + 1):
        best[free] = best[free - 1]
        for i, width in enumerate(widths):
            if width <= free and best[free - width] + prices[i] > best[free] + 1e-12:
                best[free] = best[free - width] + prices[i]
                taken[free] = i
    counts = [0] * len(widths)
    free = room
    while free > 0:
        if taken[free] < 0:
            free -= 1
        else:
            counts[taken[free]] += 1
            free -= widths[taken[free]]
    return best[room], counts
