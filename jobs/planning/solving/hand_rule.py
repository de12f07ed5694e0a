"""What an office does by hand, as a measure: day after day, crew after crew, the nearest next.

Long jobs first, in order of their due times, wherever a crew has the days. Then each crew's day
is filled from its base: of the visits due within the next days (or else of all) the nearest that
still fits is appended, until nothing fits. No visit is moved again.
"""

from __future__ import annotations

from jobs.planning.plan import Plan
from jobs.planning.problem import PlanProblem
from jobs.planning.solving.draft import Draft
from jobs.planning.solving.insertion import Move, insert_all, move_at, place_fixed, put_in
from jobs.planning.solving.tables import Tables, tables_of

SOON_S = 5 * 86_400
NO_DUE_S = 1 << 40
TRIED_NEXT = 25


def plan_by_hand(problem: PlanProblem) -> Plan:
    """The plan that the hand rule makes; it breaks no rule either."""
    tables = tables_of(problem)
    draft = Draft(tables)
    place_fixed(draft)
    due = [visit.due_s if visit.due_s is not None else NO_DUE_S for visit in problem.visits]
    long_jobs = [v for v in draft.unplaced() if len(tables.tasks_of(v)) > 1]
    insert_all(draft, sorted(long_jobs, key=lambda visit: (due[visit], visit)), tried=1)
    order = sorted(range(len(tables.shifts)), key=lambda s: (tables.shifts[s].day, s))
    for shift in order:
        while True:
            move = _nearest_next(draft, shift, due)
            if move is None:
                break
            put_in(draft, move)
    return draft.to_plan()


def _nearest_next(draft: Draft, shift: int, due: list[int]) -> Move | None:
    """The nearest visit that can be appended to the round, those due soon before the others."""
    tables = draft.tables
    rows = draft.rounds[shift].rows
    place = rows[-1].place if rows else tables.shifts[shift].start
    free = [
        visit
        for visit in draft.unplaced()
        if tables.allowed[visit, shift] and len(tables.tasks_of(visit)) == 1
    ]
    soon_s = tables.shifts[shift].opens_s + SOON_S
    near = sorted(free, key=lambda v: (due[v] > soon_s, _way_s(tables, place, v), v))
    for visit in near[:TRIED_NEXT]:
        end = len(draft.rounds[shift].items)
        move = move_at(draft, tables.first_task[visit], shift, end)
        if move is not None and all(draft.is_placed(b) for b, _ in tables.befores[visit]):
            return move
    return None


def _way_s(tables: Tables, place: int, visit: int) -> int:
    return tables.seconds_rows[place][tables.tasks[tables.first_task[visit]].place]
