"""Where a visit can be put into a draft, what it adds there, and putting it in.

Positions are first ranked by an estimate over all shifts at once, then tried for real, best
first, until nothing that is left can be better.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from random import Random

import numpy as np

from jobs.planning.solving.draft import GONE, Draft
from jobs.planning.solving.tables import RELOAD, BoolArray, IntArray
from jobs.planning.solving.timing import Timed

TRIED = 12
TRIED_RUNS = 4
NEVER = int(np.iinfo(np.int64).max) // 64


@dataclass(frozen=True, slots=True)
class Move:
    """A way to put a visit in: the new rounds, and the units it adds to what is placed."""

    rounds: tuple[tuple[int, Timed], ...]
    units: int


def put_in(draft: Draft, move: Move) -> None:
    """Carry the move out."""
    for shift, timed in move.rounds:
        draft.set_round(shift, timed)


def best_move(
    draft: Draft,
    visit: int,
    *,
    shifts: BoolArray | None = None,
    tried: int = TRIED,
    skip: Random | None = None,
    skip_share: float = 0.0,
) -> Move | None:
    """The cheapest way found to put the visit in, None if it fits nowhere that was tried.

    `shifts`: only those. `tried`: how many positions that fit are timed at most. `skip`: leaves
    out a share of the positions by chance, so that a search does not always do the same.
    """
    tables = draft.tables
    if len(tables.tasks_of(visit)) > 1:
        return _best_in_a_row(draft, visit, shifts)
    task = tables.first_task[visit]
    best: Move | None = None
    fits = 0
    for estimate, shift, position in ranked_positions(draft, task, shifts):
        if best is not None and (estimate >= best.units or fits >= tried):
            break
        if skip is not None and skip.random() < skip_share:
            continue
        move = move_at(draft, task, shift, position)
        if move is not None:
            fits += 1
            if best is None or move.units < best.units:
                best = move
    return best


def ranked_positions(
    draft: Draft, task: int, shifts: BoolArray | None = None
) -> Iterator[tuple[int, int, int]]:
    """(estimated units, shift, position) that may take the task, cheapest first."""
    rows, fits, units = _estimates(draft, task, shifts)
    where = np.nonzero(fits)
    estimates = units[where]
    order = np.argsort(estimates, kind="stable")
    numbers = rows[where[0][order]].tolist()
    yield from zip(estimates[order].tolist(), numbers, where[1][order].tolist(), strict=True)


def _estimates(
    draft: Draft, task: int, shifts: BoolArray | None
) -> tuple[IntArray, BoolArray, IntArray]:
    """Shift numbers; by row and position, whether the task may fit there and the units added."""
    tables = draft.tables
    row = tables.tasks[task]
    rows = (
        tables.allowed_rows[row.visit] if not row.part else np.flatnonzero(tables.able[row.visit])
    )
    if shifts is not None:
        rows = rows[shifts[rows]]
    whole = len(rows) == len(draft.before)
    before, after, way_now_s, way_now_units = (
        table if whole else table[rows]
        for table in (draft.before, draft.after, draft.way_s, draft.way_units)
    )
    way_s = tables.seconds_to[row.place][before]
    more_s = way_s + tables.seconds[row.place][after] - way_now_s
    units = tables.units_to[row.place][before] + tables.units[row.place][after] - way_now_units
    if row.part == 0:
        units = units + tables.assign[row.visit, rows][:, None]
    starts_s = np.maximum(draft.free_s[rows] + way_s, row.earliest_s)
    if row.due_s is not None:
        late_s = np.maximum(0, starts_s + row.service_s - row.due_s)
        units = units + (late_s * row.late_units_s).astype(np.int64)
    if row.fixed_s is not None:
        return rows, draft.valid[rows], units
    fits = draft.valid[rows] & (more_s + row.service_s <= draft.slack_s[rows][:, None])
    if row.windows:
        fits &= starts_s <= row.windows[-1].closes_s
    return rows, fits, units


def move_at(
    draft: Draft, task: int, shift: int, position: int, *, lacking: list[str] | None = None
) -> Move | None:
    """The move that puts the task into that shift at that index, with a reload if it needs one."""
    row = draft.tables.tasks[task]
    if row.counts_stock and row.fixed_s is None:
        item = draft.stock.lacking(task, shift)
        if item is not None:
            if lacking is not None:
                lacking.append(item)
            return None
    old = draft.rounds[shift]
    head, tail = old.items[:position], old.items[position:]
    best: Timed | None = None
    for middle in _middles(draft, task, shift, bool(head), bool(tail)):
        timed = draft.timed(shift, (*head, *middle, *tail))
        if timed is None or (best is not None and timed.units >= best.units):
            continue
        linked = draft.tables.linked[row.visit] or _any_linked(draft, old)
        if linked and not draft.orders_kept(timed):
            continue
        best = timed
        if middle == (task,):
            break
    return None if best is None else Move(((shift, best),), best.units - old.units)


def _middles(
    draft: Draft, task: int, shift: int, first: bool, last: bool
) -> Iterator[tuple[int, ...]]:
    """The task alone, or with a reload of the van before or after it."""
    yield (task,)
    row = draft.tables.shifts[shift]
    if not draft.tables.tasks[task].litres or row.depot is None:
        return
    if first:
        yield (RELOAD, task)
    if last:
        yield (task, RELOAD)
    if first and last:
        yield (RELOAD, task, RELOAD)


def _any_linked(draft: Draft, timed: Timed) -> bool:
    tables = draft.tables
    return any(item >= 0 and tables.linked[tables.tasks[item].visit] for item in timed.items)


def _best_in_a_row(draft: Draft, visit: int, shifts: BoolArray | None) -> Move | None:
    """The cheapest run of consecutive shifts of one crew that takes every part."""
    tables = draft.tables
    parts = tables.tasks_of(visit)
    runs = tables.runs_of(len(parts))
    runs = runs[tables.allowed[visit, runs[:, 0]] & tables.able[visit, runs].all(axis=1)]
    estimates = np.zeros(len(runs), dtype=np.int64)
    for number, task in enumerate(parts):
        estimates += _cheapest_by_shift(draft, task, shifts)[runs[:, number]]
    order = np.argsort(estimates, kind="stable")
    order = order[estimates[order] < NEVER]
    best: Move | None = None
    fits = 0
    for index in order:
        if best is not None and (estimates[index] >= best.units or fits >= TRIED_RUNS):
            break
        move = _run_move(draft, parts, runs[index].tolist())
        if move is not None:
            fits += 1
            if best is None or move.units < best.units:
                best = move
    return best


def _cheapest_by_shift(draft: Draft, task: int, shifts: BoolArray | None) -> IntArray:
    """The least estimated units for the task in each shift; `NEVER` where it cannot fit."""
    rows, fits, units = _estimates(draft, task, shifts)
    found = np.full(len(draft.tables.shifts), NEVER, dtype=np.int64)
    found[rows] = np.where(fits, units, NEVER).min(axis=1) if len(rows) else NEVER
    return found


def _run_move(draft: Draft, parts: range, run: list[int]) -> Move | None:
    """Each part put into its own shift at its best position; None if one does not fit."""
    trial = draft.copy()
    rounds: list[tuple[int, Timed]] = []
    units = 0
    for task, shift in zip(parts, run, strict=True):
        best = best_in_shift(trial, task, shift)
        if best is None:
            return None
        put_in(trial, best)
        rounds.extend(best.rounds)
        units += best.units
    return Move(tuple(rounds), units)


def best_in_shift(draft: Draft, task: int, shift: int) -> Move | None:
    """The cheapest position for the task in that shift, None if it fits nowhere there."""
    best: Move | None = None
    for position in range(len(draft.rounds[shift].items) + 1):
        move = move_at(draft, task, shift, position)
        if move is not None and (best is None or move.units < best.units):
            best = move
    return best


def insert_all(
    draft: Draft,
    visits: list[int],
    *,
    shifts: BoolArray | None = None,
    chance: Random | None = None,
    skip_share: float = 0.0,
    tried: int = TRIED,
) -> None:
    """Put in as many of those visits as are worth it, in that order, each where it is cheapest.

    What comes after another is tried again when that one has found its place.
    """
    tables = draft.tables
    waiting = list(visits)
    for _ in range(3):
        later: list[int] = []
        for visit in waiting:
            if any(not draft.is_placed(before) for before, _ in tables.befores[visit]):
                later.append(visit)
                continue
            move = best_move(
                draft, visit, shifts=shifts, tried=tried, skip=chance, skip_share=skip_share
            )
            if move is not None and move.units < tables.left_out_units[visit]:
                put_in(draft, move)
        if not later or len(later) == len(waiting):
            return
        waiting = later


def place_fixed(draft: Draft) -> None:
    """Put every fixed visit where it was fixed, in order of time."""
    tables = draft.tables
    fixed: dict[int, list[int]] = {}
    for task, row in enumerate(tables.tasks):
        if row.fixed_s is None or draft.shift_of[task] != GONE:
            continue
        for shift in np.flatnonzero(tables.allowed[row.visit])[:1]:
            fixed.setdefault(int(shift), []).append(task)
    for shift, tasks in fixed.items():
        items = sorted(tasks, key=lambda task: tables.tasks[task].fixed_s or 0)
        timed = draft.timed(shift, items)
        if timed is not None:
            draft.set_round(shift, timed)
