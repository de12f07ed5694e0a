"""Why a visit stayed out, what would let it in, and what moving a placed one would cost."""

from __future__ import annotations

import time
from collections import Counter
from dataclasses import replace

from jobs.planning.objective import leaving_out
from jobs.planning.plan import MovingCost, Plan, Reason, Relief, Unplanned
from jobs.planning.problem import PlanProblem
from jobs.planning.solving.draft import Draft
from jobs.planning.solving.insertion import Move, best_move
from jobs.planning.solving.moving import cheapest_elsewhere
from jobs.planning.solving.obstacles import CREW_CODES, why_not_in
from jobs.planning.solving.places import draft_of
from jobs.planning.solving.spoken import clock, crew_day, crew_name, moment
from jobs.planning.solving.tables import UNITS_PER_POINT
from jobs.planning.solving.trials import reliefs

MOST_RELIEFS = 4
MINUTE_S = 60
SUMMARIES = {
    "fixed": "It is held where no shift is.",
    "fixed_crew": "It belongs to one crew, which has no room for it.",
    "barred_crew": "The crews that could do it are barred from it.",
    "skills": "No crew with the needed skills has room.",
    "crew_size": "Crews with room are too small.",
    "past": "The days with room for it are over.",
    "earliest": "It may not start before these days are over.",
    "window": "No window agreed with the householder lies in a shift that could take it.",
    "too_long": "It takes longer than any shift; it is not split over days.",
    "order": "What must come before it is not planned, or ends too late.",
    "van": "It needs more room than any of the vans has.",
    "stock": "The depot runs out of what it needs.",
    "parts": "No crew has room on enough working days in a row.",
    "too_far": "The way there and back and the work do not fit into any shift.",
    "no_room": "Every shift that could take it is full.",
}


def explain_unplanned(problem: PlanProblem, plan: Plan, key: str) -> tuple[Reason, ...]:
    """What keeps a visit out of every shift, weightiest first, with what would let it in.

    Each `would_help` was tried: with its `relief` granted and nothing else changed, the visit
    goes in. Empty for a visit that is planned.
    """
    draft = draft_of(problem, plan)
    visit = problem.visit_index[key]
    if draft.is_placed(visit):
        return ()
    move = best_move(draft, visit)
    if move is not None:
        return (_not_worth(draft, visit, move),)
    obstacles = Counter(
        reason.code
        for shift in range(len(problem.shifts))
        for reason in why_not_in(draft, visit, shift)
    )
    helps = _helps(draft, visit)
    reasons = [
        Reason(code, words, *helps.pop(code, ("", None)))
        for code, words in ((code, _summary(draft, visit, code)) for code in _weighed(obstacles))
    ]
    reasons += [
        Reason(code, SUMMARIES[code], words, relief) for code, (words, relief) in helps.items()
    ]
    return tuple(reasons) or (Reason("no_shift", "There is no shift to put it into."),)


def with_reasons(problem: PlanProblem, plan: Plan, *, seconds: float = 20.0) -> Plan:
    """The plan with reasons for what stayed out, for as many as that time [s] allows."""
    until_s = time.monotonic() + seconds
    explained = tuple(
        Unplanned(one.key, explain_unplanned(problem, plan, one.key))
        if time.monotonic() < until_s
        else one
        for one in plan.unplanned
    )
    return replace(plan, unplanned=explained)


def _weighed(obstacles: Counter[str]) -> list[str]:
    """Nearest to going in first: what fails only for time or load before what fails for crew."""
    return sorted(obstacles, key=lambda code: (code in CREW_CODES, -obstacles[code], code))


def _summary(draft: Draft, visit: int, code: str) -> str:
    found = draft.tables.problem.visits[visit]
    if code == "skills":
        able = draft.tables.skills_able(found.skills)
        lacking = ", ".join(sorted(found.skills))
        if not able.any():
            return f"No crew has everything it needs: {lacking}."
        return f"Crews that can do it ({lacking}) have no room; others lack the skill."
    return SUMMARIES[code]


def _not_worth(draft: Draft, visit: int, move: Move) -> Reason:
    """It would fit, but costs more than leaving it out."""
    problem = draft.tables.problem
    cost = move.units / UNITS_PER_POINT
    worth = leaving_out(problem, problem.visits[visit])
    shift, timed = move.rounds[0]
    task = draft.tables.first_task[visit]
    starts_s = next(row.starts_s for row in timed.rows if row.item == task)
    words = (
        f"It would fit ({crew_name(problem, shift)}, {moment(problem, starts_s)}), but costs "
        f"{cost:.0f} points there, and leaving it out {worth:.0f}."
    )
    if cost < worth:
        words = (
            f"It fits ({crew_name(problem, shift)}, {moment(problem, starts_s)}); "
            "the search ended before it was put in."
        )
        return Reason("not_reached", words, "Let the search run longer.")
    amount = int(cost) + 1
    relief = Relief("worth", problem.shifts[shift].key, amount)
    return Reason("not_worth", words, f"Raise its priority: it must be worth {amount}.", relief)


OBSTACLE_OF = {
    "overtime": "no_room",
    "window": "window",
    "earliest": "earliest",
    "skills": "skills",
    "crew_size": "crew_size",
    "crew": "fixed_crew",
    "van": "van",
    "stock": "stock",
    "order": "order",
}


def _helps(draft: Draft, visit: int) -> dict[str, tuple[str, Relief | None]]:
    """By the code of the obstacle: the words of what would help, and the relief itself."""
    found: dict[str, tuple[str, Relief | None]] = {}
    for relief, move in reliefs(draft, visit):
        code = OBSTACLE_OF[relief.kind]
        if relief.kind == "crew" and draft.tables.problem.visits[visit].fixed_crew is None:
            code = "barred_crew"
        found[code] = (_help_words(draft, visit, relief, move), relief)
        if len(found) == MOST_RELIEFS:
            break
    return found


def _help_words(draft: Draft, visit: int, relief: Relief, move: Move) -> str:
    problem = draft.tables.problem
    shift, timed = move.rounds[0]
    task = draft.tables.first_task[visit]
    starts_s = next(row.starts_s for row in timed.rows if row.item == task)
    row = problem.shift_index[relief.shift] if relief.shift else shift
    at = f"{crew_name(problem, shift)}, {moment(problem, starts_s)}"
    return {
        "overtime": f"An extra {relief.amount // MINUTE_S} min of overtime of "
        f"{crew_day(problem, row)} (it would start at {clock(problem, starts_s)}).",
        "window": f"A window that holds {moment(problem, relief.amount)} "
        f"({crew_name(problem, shift)}).",
        "earliest": f"Starting it as early as {moment(problem, relief.amount)}.",
        "skills": f"The skill in {crew_name(problem, row)} ({at}).",
        "crew_size": f"Letting {crew_name(problem, row)} do it with fewer people "
        f"than asked ({at}).",
        "crew": f"Letting another crew go ({at}).",
        "van": f"A van of {relief.amount / 1000:.1f} m³ for {crew_day(problem, row)}.",
        "stock": f"{relief.amount} more of {relief.item} for {crew_day(problem, row)}.",
        "order": f"Not waiting for what comes before it ({at}).",
    }[relief.kind]


def cost_of_moving(problem: PlanProblem, plan: Plan, key: str) -> MovingCost:
    """The best other shift for a placed visit and what the plan would cost more, by component.

    Raises `NotInPlan` for a visit that is not placed.
    """
    draft = draft_of(problem, plan)
    return cheapest_elsewhere(draft, key)
