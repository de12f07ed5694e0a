"""The checker finds every kind of broken rule: a good plan is spoilt in each way, one at a time."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from jobs.planning.checker import check_plan
from jobs.planning.plan import Plan, Round, Stop, Unplanned
from jobs.planning.problem import After, PlanProblem, Promise, Window
from jobs.planning.solving.solve import solve_plan
from jobs.planning.solving.stopping import AfterIterations
from tests.jobs.planning.instances import HOUR_S, at, furnished, remade, with_visit


@pytest.fixture(scope="module")
def problem() -> PlanProblem:
    return furnished()


@pytest.fixture(scope="module")
def plan(problem: PlanProblem) -> Plan:
    return solve_plan(problem, stop=AfterIterations(150), seed=1).plan


def codes(problem: PlanProblem, plan: Plan) -> set[str]:
    return {violation.code for violation in check_plan(problem, plan)}


def with_stop(plan: Plan, key: str, change: Callable[[Stop], Stop]) -> Plan:
    """The plan with the stops of that key changed."""
    rounds = tuple(
        replace(r, stops=tuple(change(s) if s.key == key else s for s in r.stops))
        for r in plan.rounds
    )
    return replace(plan, rounds=rounds)


def with_round(plan: Plan, shift: str, **changes: object) -> Plan:
    rounds = tuple(replace(r, **changes) if r.shift == shift else r for r in plan.rounds)
    return replace(plan, rounds=rounds)


def shifted(stop: Stop, by_s: int) -> Stop:
    return replace(
        stop,
        arrives_s=stop.arrives_s + by_s,
        starts_s=stop.starts_s + by_s,
        leaves_s=stop.leaves_s + by_s,
    )


def round_with(plan: Plan, key: str, part: int = 0) -> Round:
    return next(r for r, s in plan.placed() if s.key == key and s.part == part)


def moved_to(plan: Plan, key: str, shift: str) -> Plan:
    """The whole round of that visit driven by another shift."""
    found = round_with(plan, key)
    return replace(
        plan,
        rounds=tuple(
            replace(r, shift=shift) if r is found else r
            for r in plan.rounds
            if r is found or r.shift != shift
        ),
    )


def without(plan: Plan, key: str, part: int | None = None) -> Plan:
    """The plan with a visit, or one part, simply missing."""
    rounds = tuple(
        replace(
            r,
            stops=tuple(
                s for s in r.stops if s.key != key or (part is not None and s.part != part)
            ),
        )
        for r in plan.rounds
    )
    return replace(plan, rounds=rounds)


def test_the_good_plan_is_good(problem: PlanProblem, plan: Plan) -> None:
    assert check_plan(problem, plan) == ()


PLAN_SPOILT: list[tuple[str, Callable[[Plan], Plan]]] = [
    ("travel", lambda p: with_stop(p, "c", lambda s: replace(s, travel_s=s.travel_s + 60))),
    ("travel", lambda p: with_stop(p, "c", lambda s: replace(s, travel_m=s.travel_m + 1))),
    ("travel", lambda p: with_stop(p, "a", lambda s: shifted(s, -7200))),
    ("travel", lambda p: with_round(p, round_with(p, "a").shift, travel_home_s=1)),
    ("travel", lambda p: with_round(p, round_with(p, "a").shift, returns_s=at(0, 8))),
    ("times", lambda p: with_stop(p, "a", lambda s: replace(s, arrives_s=s.starts_s + 60))),
    ("length", lambda p: with_stop(p, "g", lambda s: replace(s, leaves_s=s.leaves_s - 600))),
    ("place", lambda p: with_stop(p, "g", lambda s: replace(s, place="base"))),
    ("place", lambda p: with_stop(p, "g", lambda s: replace(s, place="nowhere"))),
    ("step", lambda p: with_stop(p, "g", lambda s: shifted(s, 7))),
    ("window", lambda p: with_stop(p, "c", lambda s: shifted(s, 4 * HOUR_S))),
    ("window", lambda p: with_stop(p, "d", lambda s: shifted(s, 2 * HOUR_S))),
    ("earliest", lambda p: with_stop(p, "g", lambda s: shifted(s, at(0, 8) - s.starts_s))),
    ("fixed_moved", lambda p: with_stop(p, "f", lambda s: shifted(s, 900))),
    ("fixed_left_out", lambda p: without(p, "f")),
    ("visit_lost", lambda p: without(p, "g")),
    ("visit_twice", lambda p: replace(p, unplanned=(Unplanned("g"),))),
    ("visit_twice", lambda p: replace(p, rounds=(*p.rounds, round_with(p, "g")))),
    ("shift_twice", lambda p: replace(p, rounds=(*p.rounds, p.rounds[0]))),
    ("parts_missing", lambda p: without(p, "e", part=1)),
    ("order", lambda p: without(p, "c")),
    ("required_left_out", lambda p: replace(without(p, "g"), unplanned=(Unplanned("g"),))),
    ("fixed_crew", lambda p: moved_to(p, "a", "south:0")),
    ("barred_crew", lambda p: moved_to(p, "e", "north:1")),
    ("skills", lambda p: moved_to(p, "c", "north:0")),
    ("parts_crews", lambda p: moved_to(p, "e", "north:0")),
    ("shift", lambda p: with_round(p, round_with(p, "a").shift, departs_s=at(0, 6))),
    ("shift", lambda p: with_round(p, round_with(p, "a").shift, returns_s=at(2, 22))),
    ("unknown", lambda p: moved_to(p, "a", "east:0")),
    ("unknown", lambda p: with_stop(p, "g", lambda s: replace(s, key="z"))),
    ("unknown", lambda p: with_stop(p, "g", lambda s: replace(s, part=3))),
    ("unknown", lambda p: replace(p, unplanned=(Unplanned("z"),))),
]


@pytest.mark.parametrize(("code", "spoil"), PLAN_SPOILT)
def test_a_spoilt_plan_is_found(
    problem: PlanProblem, plan: Plan, code: str, spoil: Callable[[Plan], Plan]
) -> None:
    assert code in codes(problem, spoil(plan))


def stricter_van(problem: PlanProblem) -> PlanProblem:
    shifts = [replace(s, van_volume_m3=3.5 if s.depot else None) for s in problem.shifts]
    return remade(problem, shifts=tuple(shifts))


def emptier_depot(problem: PlanProblem) -> PlanProblem:
    stock = ({"roll": 10}, {"roll": 10}, {"roll": 10})
    return remade(problem, depots=(replace(problem.depots[0], stock_by_day=stock),))


def later_depot(problem: PlanProblem) -> PlanProblem:
    windows = tuple(Window(at(d, 15.5), at(d, 16)) for d in range(3))
    shifts = [replace(s, start_place="depot") if s.depot else s for s in problem.shifts]
    depots = (replace(problem.depots[0], windows=windows),)
    return remade(problem, depots=depots, shifts=tuple(shifts))


PROBLEM_CHANGED: list[tuple[str, Callable[[PlanProblem], PlanProblem]]] = [
    ("van", stricter_van),
    ("stock", emptier_depot),
    ("depot_hours", later_depot),
    ("crew_size", lambda p: with_visit(p, "g", crew_size=3)),
    ("goods_ready", lambda p: with_visit(p, "a", goods_ready_s=at(2, 23))),
    ("order", lambda p: with_visit(p, "a", after=(After("f"),))),
    ("past", lambda p: remade(p, now_s=at(0, 12))),
    ("fixed_moved", lambda p: with_visit(p, "f", promised=Promise("north", at(2, 10)))),
    ("break", lambda p: remade(p, shifts=tuple(replace(s, breaks=()) for s in p.shifts))),
    (
        "unknown",
        lambda p: remade(p, shifts=tuple(s for s in p.shifts if s.key != "south:0")),
    ),
]


@pytest.mark.parametrize(("code", "change"), PROBLEM_CHANGED)
def test_a_plan_that_no_longer_holds_is_found(
    problem: PlanProblem,
    plan: Plan,
    code: str,
    change: Callable[[PlanProblem], PlanProblem],
) -> None:
    assert code in codes(change(problem), plan)


def test_a_break_left_out_is_found(problem: PlanProblem, plan: Plan) -> None:
    """A round at work from morning to afternoon with its break cut away."""
    busy = next(
        r
        for r in plan.rounds
        if any(s.kind == "break" or s.rests for s in r.stops) and r.returns_s > r.departs_s
    )
    stops = tuple(replace(s, rests=()) for s in busy.stops if s.kind != "break")
    assert "break" in codes(problem, with_round(plan, busy.shift, stops=stops))


def test_a_reload_out_of_place_is_found(problem: PlanProblem, plan: Plan) -> None:
    """A reload by a crew without a depot, one of the wrong length, one at night."""
    last = round_with(plan, "g")
    end_s = last.returns_s
    crewless = Stop("reload", "depot", "depot", end_s, end_s, end_s + 900, 0, 0)
    south = round_with(plan, "f")
    assert "reload" in codes(problem, with_round(plan, south.shift, stops=(*south.stops, crewless)))
    north = next(r for r in plan.rounds if r.shift.startswith("north"))
    short = Stop("reload", "depot", "depot", end_s, end_s, end_s + 1, 0, 0)
    assert "length" in codes(problem, with_round(plan, north.shift, stops=(*north.stops, short)))
    night_s = at(2, 20)
    night = Stop("reload", "depot", "depot", night_s, night_s, night_s + 900, 0, 0)
    found = codes(problem, with_round(plan, north.shift, stops=(*north.stops, night)))
    assert "depot_hours" in found


def test_two_places_at_a_time_are_found(problem: PlanProblem, plan: Plan) -> None:
    """A visit pushed into the time of the one after it."""
    busy = next(r for r in plan.rounds if sum(s.kind == "visit" for s in r.stops) > 1)
    first = next(s for s in busy.stops if s.kind == "visit")
    found = codes(
        problem, with_stop(plan, first.key, lambda s: replace(s, leaves_s=s.leaves_s + 7 * HOUR_S))
    )
    assert "two_places" in found


def test_parts_on_days_apart_are_found(problem: PlanProblem, plan: Plan) -> None:
    """The second day of a long job moved one working day on."""
    first = round_with(plan, "e", 0)
    second = round_with(plan, "e", 1)
    days = [int(r.shift[-1]) for r in (first, second)]
    assert days[1] == days[0] + 1
    other = next(d for d in range(3) if d not in days)
    assert "parts_days" in codes(
        problem,
        replace(
            plan,
            rounds=tuple(
                replace(r, shift=f"south:{other}") if r is second else r
                for r in plan.rounds
                if r is second or r.shift != f"south:{other}"
            ),
        ),
    )
