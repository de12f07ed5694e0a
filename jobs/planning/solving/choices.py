"""The times among which a visit can start, each with what choosing it is worth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from jobs.planning.solving.draft import GONE, Draft
from jobs.planning.solving.tables import Task

FOREVER_S = 1 << 40


@dataclass(frozen=True, slots=True)
class Choice:
    """A stretch of time in which a task may start (seconds), what planning it there is worth
    (units), whether it must be planned, and whether the start is one exact moment.
    """

    earliest_s: int
    latest_s: int
    prize: int
    required: bool
    exact: bool = False


def choices_of(draft: Draft, task: int, shifts: Sequence[int]) -> list[Choice]:
    """The choices of a task among those shifts; at least one if it is placed now."""
    tables = draft.tables
    row = tables.tasks[task]
    placed = draft.shift_of[task] != GONE
    prize = tables.left_out_units[row.visit] if row.part == 0 else 0
    if placed and (row.fixed_s is not None or not (row.last and row.part == 0)):
        now = _start_now(draft, task)
        return [Choice(now, now, prize, True, exact=True)]
    early_s = max(row.earliest_s, row.goods_ready_s, tables.now_s, draft.not_before[row.visit])
    must = tables.problem.visits[row.visit].required and placed
    late_s = FOREVER_S
    if placed and any(draft.is_placed(after) for after, _ in tables.afters[row.visit]):
        late_s, must = _start_now(draft, task), True
    opens_s = min(tables.shifts[shift].opens_s for shift in shifts)
    latest_s = max(tables.shifts[shift].latest_s for shift in shifts)
    stretches = _stretches(row, max(early_s, opens_s), min(late_s, latest_s))
    found = [
        Choice(from_s, to_s, prize - moved, must)
        for from_s, to_s, moved in _split_by_promise(draft, row, stretches)
        if prize > moved
    ]
    if placed and not found:
        now = _start_now(draft, task)
        found = [Choice(now, now, prize, must)]
    return found


def _start_now(draft: Draft, task: int) -> int:
    rows = draft.rounds[draft.shift_of[task]].rows
    return next(row.starts_s for row in rows if row.item == task)


def _stretches(row: Task, early_s: int, late_s: int) -> list[tuple[int, int]]:
    """Where the windows leave room between those times."""
    if not row.windows:
        return [(early_s, late_s)] if early_s <= late_s else []
    found = []
    for window in row.windows:
        from_s = max(early_s, window.opens_s)
        to_s = min(late_s, window.closes_s - (row.service_s if window.whole else 0))
        if from_s <= to_s:
            found.append((from_s, to_s))
    return found


def _split_by_promise(
    draft: Draft, row: Task, stretches: list[tuple[int, int]]
) -> list[tuple[int, int, int]]:
    """(from, to, units for moving): the promised time free, the rest of that day at a price."""
    promised_s = row.promised_s
    if promised_s is None or not row.moved_units:
        return [(from_s, to_s, 0) for from_s, to_s in stretches]
    tolerance_s = draft.tables.tolerance_s
    kept_from_s, kept_to_s = promised_s - tolerance_s, promised_s + tolerance_s
    found = []
    for from_s, to_s in stretches:
        inside = (max(from_s, kept_from_s), min(to_s, kept_to_s))
        if inside[0] <= inside[1]:
            found.append((*inside, 0))
        found.append((from_s, to_s, row.moved_units))
    return found
