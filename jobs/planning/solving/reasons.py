"""Why a visit stayed out, what would let it in, and what moving a placed one would cost."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import replace

from jobs.planning.objective import leaving_out
from jobs.planning.plan import MovingCost, Plan, Reason, Relief, Unplanned
from jobs.planning.problem import PlanProblem
from jobs.planning.solving.draft import Draft
from jobs.planning.solving.insertion import Move, best_move
from jobs.planning.solving.longer import (
    TOO_LONG,
    helps_for_long,
    in_words,
    is_too_long,
    without_tried,
)
from jobs.planning.solving.moving import cheapest_elsewhere
from jobs.planning.solving.obstacles import CREW_CODES, why_not_in
from jobs.planning.solving.places import draft_of
from jobs.planning.solving.spoken import clock, crew_day, crew_name, depot_name, moment
from jobs.planning.solving.tables import UNITS_PER_POINT
from jobs.planning.solving.trials import reliefs, reliefs_together

MOST_RELIEFS = 4
MOST_TOGETHER = 2
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
    "van": "The vans of crews with time for it are too small.",
    "stock": "The depot runs out of what it needs.",
    "parts": "No crew has room on enough working days in a row.",
    "too_far": "The way there and back and the work do not fit into any shift.",
    "no_room": "Every shift that could take it is full.",
}

# The same where an empty day of some crew would do.
NEAR_ENOUGH = {
    "too_long": "Most shifts are too short for it; those that are long enough have no room.",
    "too_far": "Most crews are too far away for it; those that are near enough have no room.",
}
PLAN_MORE = "More days, or another crew."
# What is said where nothing that was tried is enough: where to look, not tried out.
HINTS = {
    "fixed": "Releasing it, or a crew that works then.",
    "fixed_crew": "Room in that crew’s days, or another crew that may do it.",
    "barred_crew": "Letting one of those crews go, or another crew with the skills.",
    "skills": "Somebody with those skills in one more crew, or for a day.",
    "crew_size": "One more person in a crew, or fewer asked for.",
    "van": "A larger van, or its work shared out over two days.",
    "no_room": PLAN_MORE,
    "past": "Later days in the plan.",
    "earliest": "Later days in the plan.",
    "window": "Another time agreed with the householder, on a day with room for it.",
    "too_long": "Its work shared out over several days, or more people for it.",
    "order": "A place for what must come before it.",
    "parts": "Later days in the plan, or its work shared out otherwise.",
    "too_far": "A crew with a base nearer to it, or its work shared out over two days.",
    "stock": "An order of what is lacking, and later days in the plan.",
}


def explain_unplanned(problem: PlanProblem, plan: Plan, key: str) -> tuple[Reason, ...]:
    """What keeps a visit out of every shift, weightiest first, with what would let it in.

    A `would_help` with a `relief` was tried: with it granted and nothing else changed, the visit
    goes in. Where no rule alone lets it in, two or three are tried together; where these do not
    either, what helps in general is said. Empty for a visit that is planned.
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
    if not helps and set(obstacles) & set(TOO_LONG) and is_too_long(draft, visit):
        reasons = _long(draft, plan, visit, reasons)
    reasons += [
        Reason(code, SUMMARIES[code], words, relief) for code, (words, relief) in helps.items()
    ]
    if not reasons:
        return (Reason("no_shift", "There is no shift to put it into.", PLAN_MORE),)
    if helps_nothing(reasons):
        reasons[0] = replace(reasons[0], would_help=_hint(draft, visit, reasons[0].code))
    return tuple(reasons)


def _long(draft: Draft, plan: Plan, visit: int, reasons: list[Reason]) -> list[Reason]:
    """What takes too long comes first, with what would let it in and its numbers."""
    first = next(reason for reason in reasons if reason.code in TOO_LONG)
    helps = helps_for_long(draft, plan, visit)
    told = replace(first, would_help=without_tried(draft, visit))
    if helps:
        told = replace(first, would_help=in_words(helps), relief=helps[0].relief)
    return [told, *(reason for reason in reasons if reason is not first)]


def _hint(draft: Draft, visit: int, code: str) -> str:
    """Where to look when nothing that was tried is enough: an empty day, or else by the rule."""
    tables = draft.tables
    parts = tables.tasks_of(visit)
    if len(parts) == 1:
        for shift in tables.allowed_rows[visit].tolist():
            if draft.timed(shift, (parts[0],)) is not None:
                name = crew_name(tables.problem, shift)
                short = draft.stock.shortfall(parts[0], shift)
                goods = f", with {_spelled(short)} ordered for it" if short else ""
                return f"An empty day of {name}{goods}: plan more days, or move something else."
    return HINTS[code]


def _spelled(short: Mapping[str, int]) -> str:
    return " and ".join(f"{count} of {item}" for item, count in sorted(short.items()))


def helps_nothing(reasons: Iterable[Reason]) -> bool:
    """Whether none of the reasons says what would let the visit in."""
    return not any(reason.would_help for reason in reasons)


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
    if code in NEAR_ENOUGH and not found.fixed and not is_too_long(draft, visit):
        return NEAR_ENOUGH[code]
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
    return found or _helps_together(draft, visit)


def _helps_together(draft: Draft, visit: int) -> dict[str, tuple[str, Relief | None]]:
    """Rules that must give way at the same time, told at the first of them."""
    found: dict[str, tuple[str, Relief | None]] = {}
    for relief, move in reliefs_together(draft, visit):
        code = OBSTACLE_OF[relief.kind]
        found.setdefault(code, (_help_words(draft, visit, relief, move), relief))
        if len(found) == MOST_TOGETHER:
            break
    return found


def _help_words(draft: Draft, visit: int, relief: Relief, move: Move) -> str:
    """What must give way, in a sentence; of several, the place and then what each must give."""
    if relief.also is None:
        return _one_help(draft, visit, relief, move)
    problem = draft.tables.problem
    shift, timed = move.rounds[0]
    task = draft.tables.first_task[visit]
    starts_s = next(row.starts_s for row in timed.rows if row.item == task)
    told = [_short_help(draft, visit, each) for each in relief.chain]
    both = "both" if len(told) == 2 else "all of this"
    return (
        f"{crew_name(problem, shift)}, {moment(problem, starts_s)}, with {both}: "
        f"{', '.join(told[:-1])} and {told[-1]}."
    )


def _short_help(draft: Draft, visit: int, relief: Relief) -> str:
    problem = draft.tables.problem
    return {
        "overtime": f"{relief.amount // MINUTE_S} min more overtime",
        "window": "that start agreed with the householder",
        "earliest": "leave to begin that early",
        "skills": _who_lacks(draft, visit, relief),
        "crew_size": "fewer people than asked",
        "crew": "leave for that crew to go",
        "van": f"a van of {relief.amount / 1000:.1f} m³",
        "stock": f"{relief.amount} more of {relief.item} in {depot_name(problem, relief.shift)}",
        "order": "no waiting for what comes before it",
    }[relief.kind]


def _who_lacks(draft: Draft, visit: int, relief: Relief) -> str:
    problem = draft.tables.problem
    row = problem.shift(relief.shift)
    lacking = sorted(problem.visits[visit].skills - row.skills)
    return f"somebody with {', '.join(lacking) or 'the skill'} in {row.crew_label or row.crew}"


def _one_help(draft: Draft, visit: int, relief: Relief, move: Move) -> str:
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
        "skills": f"S{_who_lacks(draft, visit, relief)[1:]} ({at}).",
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
