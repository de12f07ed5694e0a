"""Whether one roll fewer will do: an exact search with OR-Tools CP-SAT.

Stage one shares the lengths of all items among the rolls under conditions that every plan meets
(below), so that "impossible" proves the count at hand. Stage two cuts each roll's share from that
one roll with the quick plan; where that fails the share is asked for again in another way.

Conditions on one roll, for item widths w_i and lengths x_i cut from it: x_i is 0, the whole item,
or (for a joinable one) at least the least length of a piece; and sum(f(w_i / W) x_i) <= L for every
dual feasible function f (Fekete and Schepers 2004): the identity (area), the steps u^(k), and the
functions U^(e) and phi^(e) with e = each narrow width. u^(1) says that pieces wider than half the
roll lie one behind the other; phi^(e) counts lanes.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from calculations.packing import ALL_HABITS, LEAST_MM, Cut, Item, Offcut, Packing, pack
from calculations.roll_bound import stepped

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

TENTHS = 10
STEPS = (1, 2, 3, 4, 5)
MOST_VARIABLES = 4000
"""A larger search would not end within a second or so on one core."""
ATTEMPTS = 8
WAYS = ALL_HABITS + tuple(replace(ALL_HABITS[i % len(ALL_HABITS)], seed=i) for i in range(36))


@dataclass(frozen=True, slots=True)
class FewerRolls:
    """Answer to "will `rolls` do?": a plan, or proof that none exists, or neither in the time."""

    packing: Packing | None
    impossible: bool


def try_rolls(
    items: Sequence[Item], width_mm: float, length_mm: int, rolls: int, seconds: float
) -> FewerRolls:
    """Look for a plan with `rolls` rolls for at most `seconds`, on one core, repeatable."""
    if rolls <= 0:
        return FewerRolls(None, impossible=bool(items))
    if len(items) * rolls > MOST_VARIABLES:
        return FewerRolls(None, impossible=False)
    ends = time.perf_counter() + seconds
    for attempt in range(ATTEMPTS):
        left = ends - time.perf_counter()
        if left <= 0:
            break
        shares, impossible = _share(items, width_mm, length_mm, rolls, left, attempt)
        if impossible:
            return FewerRolls(None, impossible=True)
        if shares is None:
            break
        packing = _cut_shares(items, width_mm, length_mm, shares)
        if packing is not None:
            return FewerRolls(packing, impossible=False)
    return FewerRolls(None, impossible=False)


Shares = list[dict[int, int]]
"""For each roll, the length of each item (by place in the list) that is cut from it [mm]."""


def _share(
    items: Sequence[Item],
    width_mm: float,
    length_mm: int,
    rolls: int,
    seconds: float,
    seed: int,
) -> tuple[Shares | None, bool]:
    # Slow to import (it brings pandas), and most plans are proved best without it.
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    lengths = [
        [_length_variable(model, item, length_mm, i, r) for r in range(rolls)]
        for i, item in enumerate(items)
    ]
    for i, item in enumerate(items):
        model.add(sum(lengths[i]) == item.length_mm)
    for weights, most in _conditions(items, width_mm, length_mm):
        for r in range(rolls):
            model.add(sum(w * lengths[i][r] for i, w in enumerate(weights) if w) <= most)
    _add_exclusions(model, items, lengths, width_mm, length_mm)
    loads = [
        sum(round(it.width_mm) * lengths[i][r] for i, it in enumerate(items)) for r in range(rolls)
    ]
    for before, after in zip(loads, loads[1:], strict=False):
        model.add(before >= after)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = seed
    solver.parameters.randomize_search = seed > 0
    solver.parameters.max_time_in_seconds = seconds
    status = solver.solve(model)
    if status == cp_model.INFEASIBLE:
        return None, True
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return None, False
    shares = [
        {i: solver.value(lengths[i][r]) for i in range(len(items)) if solver.value(lengths[i][r])}
        for r in range(rolls)
    ]
    return shares, False


def _length_variable(
    model: cp_model.CpModel, item: Item, length_mm: int, i: int, r: int
) -> cp_model.LinearExpr:
    if not item.joinable:
        return item.length_mm * model.new_bool_var(f"x{i}_{r}")
    from ortools.sat.python import cp_model

    pieces = cp_model.Domain.from_intervals(
        [[0, 0], [LEAST_MM, item.length_mm - LEAST_MM], [item.length_mm, item.length_mm]]
    )
    return model.new_int_var_from_domain(pieces, f"x{i}_{r}")


def _conditions(
    items: Sequence[Item], width_mm: float, length_mm: int
) -> list[tuple[list[int], int]]:
    """Whole-number weights of each item's length, and the most that they may sum to in a roll."""
    roll = round(width_mm * TENTHS)
    tenths = [min(roll, int(item.width_mm * TENTHS + 1e-6)) for item in items]
    conditions = [(tenths, roll * length_mm)]
    for k in STEPS:
        # Values of u^(k) are whole multiples of 1 / (k * roll).
        scale = k * roll
        worth = stepped(k)
        conditions.append(([round(worth(w / roll) * scale) for w in tenths], scale * length_mm))
    for narrow in sorted({w for w in tenths if 2 * w <= roll}):
        conditions.append(([_kept_if_wide(w, narrow, roll) for w in tenths], roll * length_mm))
        lanes = roll // narrow
        conditions.append(([_lanes_taken(w, narrow, roll) for w in tenths], lanes * length_mm))
    return list({(tuple(weights), most): (weights, most) for weights, most in conditions}.values())


def _kept_if_wide(width: int, narrow: int, roll: int) -> int:
    """Dual feasible function U^(e): what leaves no room for `narrow` counts as the whole roll."""
    if width > roll - narrow:
        return roll
    return width if width >= narrow else 0


def _lanes_taken(width: int, narrow: int, roll: int) -> int:
    """Dual feasible function phi^(e), times the number of lanes of `narrow` in a roll."""
    if 2 * width > roll:
        return roll // narrow - (roll - width) // narrow
    return 1 if width >= narrow else 0


def _add_exclusions(
    model: cp_model.CpModel,
    items: Sequence[Item],
    lengths: Sequence[Sequence[cp_model.LinearExpr]],
    width_mm: float,
    length_mm: int,
) -> None:
    """A narrow piece needs its own stretch of roll beside all that is too wide to lie beside it."""
    from ortools.sat.python import cp_model

    for i, item in enumerate(items):
        if 2 * item.width_mm > width_mm:
            continue
        wide = [
            j
            for j, other in enumerate(items)
            if 2 * other.width_mm > width_mm and other.width_mm + item.width_mm > width_mm + 0.1
        ]
        if not wide:
            continue
        for r, length in enumerate(lengths[i]):
            taken = cp_model.LinearExpr.sum([lengths[j][r] for j in wide])
            if not item.joinable:
                model.add(taken + length <= length_mm)
                continue
            used = model.new_bool_var(f"used{i}_{r}")
            model.add(length <= item.length_mm * used)
            model.add(taken + LEAST_MM * used <= length_mm)


def _cut_shares(
    items: Sequence[Item], width_mm: float, length_mm: int, shares: Shares
) -> Packing | None:
    """Cut each roll's share from that one roll, or None where the quick plan cannot."""
    cuts: list[Cut] = []
    offcuts: list[Offcut] = []
    begun = [0] * len(items)
    for number, share in enumerate(shares):
        wanted = [
            Item(i, items[i].width_mm, length, length >= 2 * LEAST_MM and items[i].joinable)
            for i, length in share.items()
        ]
        found = next(
            (p for p in (pack(wanted, width_mm, length_mm, h) for h in WAYS) if p.rolls <= 1),
            None,
        )
        if found is None:
            return None
        for cut in found.cuts:
            cuts.append(
                Cut(
                    items[cut.item].number,
                    number,
                    cut.x_mm,
                    cut.y_mm,
                    cut.width_mm,
                    cut.length_mm,
                    begun[cut.item] + cut.start_mm,
                )
            )
        offcuts += [replace(offcut, roll=number) for offcut in found.offcuts]
        for i, length in share.items():
            begun[i] += length
    return Packing(len(shares), tuple(cuts), tuple(offcuts))
