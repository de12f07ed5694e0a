"""What moving a placed visit would cost: its best other shift, component by component."""

from __future__ import annotations

import numpy as np

from jobs.planning.objective import leaving_out, objective_of
from jobs.planning.plan import Fit, MovingCost, Objective, Plan
from jobs.planning.plan_errors import NotInPlan
from jobs.planning.solving.draft import Draft
from jobs.planning.solving.insertion import best_move, put_in
from jobs.planning.solving.places import lifted, where_in
from jobs.planning.solving.spoken import crew_name, moment
from jobs.planning.solving.tables import UNITS_PER_POINT

COMPONENTS = (
    ("travel_points", "driving"),
    ("late_points", "lateness"),
    ("overtime_points", "overtime"),
    ("crew_day_points", "another crew sent out"),
    ("moved_points", "moving promises"),
    ("not_preferred_points", "a crew that is not preferred"),
)
WORTH_TELLING_POINTS = 0.5


def cheapest_elsewhere(draft: Draft, key: str) -> MovingCost:
    """See `reasons.cost_of_moving`."""
    tables = draft.tables
    problem = tables.problem
    visit = problem.visit_index.get(key)
    if visit is None or not draft.is_placed(visit):
        raise NotInPlan("planned visit", key)
    others = np.ones(len(tables.shifts), dtype=bool)
    others[draft.shift_of[tables.first_task[visit]]] = False
    without, saved_units = lifted(draft, visit)
    move = None if problem.visits[visit].fixed else best_move(without, visit, shifts=others)
    if move is None:
        held = "It is held where it is." if problem.visits[visit].fixed else ""
        words = held or "It fits nowhere else as things stand; it would be left out."
        cost = leaving_out(problem, problem.visits[visit]) - saved_units / UNITS_PER_POINT
        return MovingCost(key, None, cost, (("leaving it out", cost),), words)
    changed = {draft.shift_of[task] for task in tables.tasks_of(visit)}
    changed |= {shift for shift, _ in move.rounds}
    put_in(without, move)
    parts = _difference(_priced(draft, changed), _priced(without, changed))
    index, starts_s = where_in(tables, move, visit)
    extra = (move.units - saved_units) / UNITS_PER_POINT
    shift = move.rounds[0][0]
    best = Fit(True, problem.shifts[shift].key, index, starts_s, extra)
    place = f"{crew_name(problem, shift)}, {moment(problem, starts_s)}"
    return MovingCost(key, best, extra, parts, f"Best elsewhere: {place}. {_words(parts)}")


def _priced(draft: Draft, shifts: set[int]) -> Objective:
    """The price of those rounds alone."""
    rounds = tuple(draft.round_at(shift) for shift in sorted(shifts) if draft.rounds[shift].rows)
    return objective_of(draft.tables.problem, Plan(rounds))


def _difference(now: Objective, then: Objective) -> tuple[tuple[str, float], ...]:
    found = ((name, getattr(then, field) - getattr(now, field)) for field, name in COMPONENTS)
    return tuple((name, points) for name, points in found if abs(points) >= WORTH_TELLING_POINTS)


def _words(parts: tuple[tuple[str, float], ...]) -> str:
    """Such as: 34 points more for driving, 12 less for overtime."""
    if not parts:
        return "It would cost the same."
    told = [f"{abs(points):.0f} {'more' if points > 0 else 'less'} for {n}" for n, points in parts]
    return f"Points: {', '.join(told)}."
