"""Where one visit could lie in a plan that stands, and what it would cost: asked while dragging."""

from __future__ import annotations

from collections import OrderedDict

import numpy as np

from jobs.planning.plan import Fit, Plan, Reason
from jobs.planning.plan_errors import NotInPlan
from jobs.planning.problem import PlanProblem
from jobs.planning.solving.draft import GONE, Draft
from jobs.planning.solving.first_plan import restore
from jobs.planning.solving.insertion import Move, best_in_shift, best_move, move_at, place_fixed
from jobs.planning.solving.obstacles import why_not_in
from jobs.planning.solving.spoken import clock
from jobs.planning.solving.tables import RELOAD, UNITS_PER_POINT, Tables, tables_of
from jobs.planning.solving.timing import BREAK

KEPT_DRAFTS = 4
_drafts: OrderedDict[tuple[int, int], tuple[PlanProblem, Plan, Draft]] = OrderedDict()


def draft_of(problem: PlanProblem, plan: Plan) -> Draft:
    """The plan as a draft, not to be changed; the last few asked for are kept."""
    key = (id(problem), id(plan))
    found = _drafts.get(key)
    if found is None or found[0] is not problem or found[1] is not plan:
        found = _drafts[key] = (problem, plan, fresh_draft(problem, plan))
        while len(_drafts) > KEPT_DRAFTS:
            _drafts.popitem(last=False)
    return found[2]


def fresh_draft(problem: PlanProblem, plan: Plan) -> Draft:
    """The plan as a draft of one's own."""
    draft = Draft(tables_of(problem))
    place_fixed(draft)
    restore(draft, plan)
    return draft


def fits(
    problem: PlanProblem,
    plan: Plan,
    key: str,
    shift: str,
    *,
    position: int | None = None,
    starts_s: int | None = None,
) -> Fit:
    """Whether the visit can lie in that shift, at an index among its stops or from a time on.

    Without either the best position is sought. With `starts_s` it must start exactly then (on
    the next even step). The other visits of the round keep their order and are timed anew. The
    answer's `extra_points` is what the plan would cost more than now, leaving-out prices apart.
    Raises `NotInPlan` for an unknown visit or shift.
    """
    visit, row = _numbers(problem, key, shift)
    without, saved_units = lifted(draft_of(problem, plan), visit)
    return _fit(without, visit, row, saved_units, position, starts_s)


def feasible_places(problem: PlanProblem, plan: Plan, key: str) -> tuple[Fit, ...]:
    """For every shift the best place of the visit in it, or why it cannot lie there."""
    visit = _number(problem, key)
    without, saved_units = lifted(draft_of(problem, plan), visit)
    return tuple(
        _fit(without, visit, row, saved_units, None, None) for row in range(len(problem.shifts))
    )


def _numbers(problem: PlanProblem, key: str, shift: str) -> tuple[int, int]:
    if shift not in problem.shift_index:
        raise NotInPlan("shift", shift)
    return _number(problem, key), problem.shift_index[shift]


def _number(problem: PlanProblem, key: str) -> int:
    if key not in problem.visit_index:
        raise NotInPlan("visit", key)
    return problem.visit_index[key]


def lifted(draft: Draft, visit: int) -> tuple[Draft, int]:
    """A copy without that visit (what follows it stays), and the units this saves."""
    tables = draft.tables
    new = draft.copy()
    if not draft.is_placed(visit):
        return new, 0
    new.lift(visit)
    return new, draft.units - (new.units - tables.left_out_units[visit])


def _fit(
    draft: Draft,
    visit: int,
    row: int,
    saved_units: int,
    position: int | None,
    starts_s: int | None,
) -> Fit:
    problem = draft.tables.problem
    shift = problem.shifts[row].key
    if starts_s is not None:
        draft = draft.copy()
        draft.not_before[visit] = max(draft.not_before[visit], starts_s)
    move = _move(draft, visit, row, position)
    if move is None:
        why = why_not_in(draft, visit, row)
        if starts_s is not None and why[0].code in ("too_far", "no_room", "order", "earliest"):
            why = _too_late(draft, visit, row, position) or why
        return Fit(False, shift, position or 0, starts_s or 0, 0.0, why)
    index, begins_s = where_in(draft.tables, move, visit)
    extra = (move.units - saved_units) / UNITS_PER_POINT
    step_s = problem.start_step_s
    if starts_s is not None and begins_s > -(-starts_s // step_s) * step_s:
        return Fit(False, shift, index, begins_s, extra, (_later(problem, begins_s),))
    return Fit(True, shift, index, begins_s, extra)


def _too_late(draft: Draft, visit: int, row: int, position: int | None) -> tuple[Reason, ...]:
    """If only that start is in the way: until when it would have to start; else nothing."""
    tables = draft.tables
    freer = draft.copy()
    freer.not_before[visit] = max(
        (freer.ends_s(before) + gap_s for before, gap_s in tables.befores[visit]
         if freer.is_placed(before)),
        default=0,
    )  # fmt: skip
    move = _move(freer, visit, row, position)
    if move is None:
        return ()
    task = tables.first_task[visit]
    timed = next((t for _, t in move.rounds if task in t.items), None)
    if timed is None:
        return ()
    starts_s = next(stop.starts_s for stop in timed.rows if stop.item == task)
    words = "Starting then, the work and the way back do not fit into the rest of the day."
    return (Reason("too_late", words, f"Start it at {clock(tables.problem, starts_s)}."),)


def _later(problem: PlanProblem, begins_s: int) -> Reason:
    earliest = clock(problem, begins_s)
    words = f"The crew can start there at {earliest} at the earliest."
    return Reason("too_early", words, f"Start it at {earliest}.")


def _move(draft: Draft, visit: int, row: int, position: int | None) -> Move | None:
    tables = draft.tables
    if not tables.allowed[visit, row]:
        return None
    tasks = tables.tasks_of(visit)
    if len(tasks) > 1:
        return _move_of_parts(draft, visit, row)
    if position is None:
        return best_in_shift(draft, tasks[0], row)
    items = draft.rounds[row].items
    at = [n for n, item in enumerate(items) if item != RELOAD]
    index = at[position] if position < len(at) else len(items)
    return move_at(draft, tasks[0], row, index)


def _move_of_parts(draft: Draft, visit: int, row: int) -> Move | None:
    """A job of several days that begins in that shift."""
    tables = draft.tables
    run = [r for r in tables.runs_of(len(tables.tasks_of(visit))).tolist() if r[0] == row]
    if not run:
        return None
    only = np.zeros(len(tables.shifts), dtype=bool)
    only[run[0]] = True
    return best_move(draft, visit, shifts=only)


def where_in(tables: Tables, move: Move, visit: int) -> tuple[int, int]:
    """(index among the visits of its round, start in seconds) of a visit's first part."""
    task = tables.first_task[visit]
    for _, timed in move.rounds:
        visits = [row for row in timed.rows if row.item not in (RELOAD, BREAK)]
        for index, row in enumerate(visits):
            if row.item == task:
                return index, row.starts_s
    return 0, GONE
