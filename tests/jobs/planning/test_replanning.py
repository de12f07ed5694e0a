"""A crew is ill, somebody cancels, a visit overruns: the plan changes as little as it can."""

from __future__ import annotations

from dataclasses import replace

import pytest

from benchmarks.random_rounds import random_problem, with_promises, without_crew
from jobs.planning.changes import changes_between
from jobs.planning.checker import check_plan
from jobs.planning.objective import objective_of
from jobs.planning.plan import Plan
from jobs.planning.problem import PlanProblem, Promise
from jobs.planning.solving.solve import solve_plan
from jobs.planning.solving.stopping import AfterIterations
from tests.jobs.planning.instances import HOUR_S, at, problem, remade, shift, visit, with_visit

STEPS = AfterIterations(250)


@pytest.fixture(scope="module")
def told() -> tuple[PlanProblem, Plan]:
    """A plan that every householder was told of, and the problem that says so."""
    before = random_problem(45, 4, 4, seed=2)
    plan = solve_plan(before, stop=AfterIterations(400), seed=1).plan
    return with_promises(before, plan), plan


def starts(plan: Plan) -> dict[str, tuple[str, int]]:
    return {s.key: (r.shift, s.starts_s) for r, s in plan.placed() if s.part == 0}


def test_with_nothing_new_the_plan_stays_as_it_was(told: tuple[PlanProblem, Plan]) -> None:
    now, plan = told
    found = solve_plan(now, stop=AfterIterations(0), start_from=plan)
    assert check_plan(now, found.plan) == ()
    assert found.objective.moved_points == 0
    assert set(starts(plan)) <= set(starts(found.plan))


def test_promises_are_where_a_plan_begins_if_no_other_is_given(
    told: tuple[PlanProblem, Plan],
) -> None:
    now, plan = told
    found = solve_plan(now, stop=AfterIterations(0))
    assert found.objective.promises_moved_day == 0
    single = {v.key for v in now.visits if len(v.lengths_s) == 1}
    kept = [k for k, place in starts(plan).items() if starts(found.plan).get(k) == place]
    assert len(kept) >= 0.9 * len(single & set(starts(plan)))


def test_a_crew_that_is_ill_moves_its_own_visits_and_few_others(
    told: tuple[PlanProblem, Plan],
) -> None:
    now, plan = told
    ill = next(
        now.shift(r.shift) for r in plan.rounds if now.shift(r.shift).day == 1 and len(r.stops) > 1
    )
    lost = {s.key for r, s in plan.placed() if r.shift == ill.key}
    without = without_crew(now, ill.crew, ill.day)
    found = solve_plan(without, stop=STEPS, seed=1, start_from=plan)
    assert check_plan(without, found.plan) == ()
    changes = changes_between(without, plan, found.plan, problem_before=now)
    assert lost <= {change.key for change in changes}
    assert all(change.why == "absence" for change in changes if change.key in lost)
    told_elsewhere = [c for c in changes if c.key not in lost and c.kind == "moved_day"]
    assert len(told_elsewhere) <= len(lost)


def test_a_dearer_promise_is_moved_less(told: tuple[PlanProblem, Plan]) -> None:
    now, plan = told
    ill = next(now.shift(r.shift) for r in plan.rounds if now.shift(r.shift).day == 1)
    without = without_crew(now, ill.crew, ill.day)
    moved = []
    for times in (0.0, 20.0):
        weights = replace(
            without.weights,
            promise_time=60 * times,
            promise_day=240 * times,
            promise_crew=20 * times,
        )
        priced = remade(without, weights=weights)
        cost = solve_plan(priced, stop=STEPS, seed=1, start_from=plan).objective
        moved.append(cost.promises_moved_day + cost.promises_moved_time)
    assert moved[1] < moved[0]


def test_what_is_fixed_and_what_is_past_stays(told: tuple[PlanProblem, Plan]) -> None:
    """From the second noon on: begun visits are fixed, nothing else starts before now."""
    before, plan = told
    now_s = at(1, 12)
    single = {v.key for v in before.visits if len(v.lengths_s) == 1}
    begun = {
        key: place for key, place in starts(plan).items() if place[1] < now_s and key in single
    }
    visits = tuple(
        replace(v, fixed=True) if v.key in begun else v
        for v in before.visits
        if v.key in single and not any(after.key not in single for after in v.after)
    )
    later = remade(before, visits=visits, now_s=now_s)
    found = solve_plan(later, stop=STEPS, seed=1, start_from=plan)
    assert check_plan(later, found.plan) == ()
    for key, (shift_key, starts_s) in starts(found.plan).items():
        if key in begun:
            assert (shift_key, starts_s) == begun[key]
        else:
            assert starts_s >= now_s
    assert len(begun) > 5


def day_of_two() -> tuple[PlanProblem, Plan]:
    """North does a, b, c on Monday; South has the day free."""
    now = problem(
        [visit("a", 2), visit("b", 2), visit("c", 2)], [shift("north", 0), shift("south", 0)]
    )
    plan = solve_plan(remade(now, shifts=now.shifts[:1]), stop=AfterIterations(60), seed=1).plan
    return with_promises(now, plan), plan


def test_an_overrun_pushes_the_next_visit_and_says_so() -> None:
    now, plan = day_of_two()
    order = sorted(starts(plan), key=lambda key: starts(plan)[key][1])
    first, second = order[0], order[1]
    over = with_visit(now, first, service_s=4 * HOUR_S, fixed=True)
    found = solve_plan(over, stop=STEPS, seed=1, start_from=plan)
    assert check_plan(over, found.plan) == ()
    changes = {c.key: c for c in changes_between(over, plan, found.plan, problem_before=now)}
    assert first not in changes
    assert changes[second].why == "overrun"
    assert first in changes[second].words


def test_a_cancelled_visit_is_told_as_cancelled_and_gives_its_place() -> None:
    """Four visits of two hours for a day that holds three; one of the three is called off."""
    visits = [visit(key, 2, priority=p) for key, p in (("a", 4), ("b", 4), ("c", 4), ("d", 1))]
    now = problem(visits, [shift("north", 0)], positions_min=[10, 10, 10, 10])
    plan = solve_plan(now, stop=AfterIterations(60), seed=1).plan
    assert [one.key for one in plan.unplanned] == ["d"]
    off = remade(now, visits=tuple(v for v in now.visits if v.key != "b"))
    found = solve_plan(off, stop=STEPS, seed=1, start_from=plan)
    changes = {
        c.key: (c.kind, c.why) for c in changes_between(off, plan, found.plan, problem_before=now)
    }
    assert changes["b"] == ("removed", "cancelled")
    assert changes["d"] == ("added", "cancelled")


def test_a_new_visit_is_told_as_new() -> None:
    now, plan = day_of_two()
    more = problem([*now.visits, visit("new")], list(now.shifts), positions_min=[10, 20, 30, 40])
    found = solve_plan(more, stop=STEPS, seed=1, start_from=plan)
    changes = changes_between(more, plan, found.plan, problem_before=now)
    assert [(c.key, c.kind, c.why) for c in changes if c.key == "new"] == [("new", "added", "new")]


def test_moving_a_promise_is_priced_by_what_was_told() -> None:
    """Another day 240, another crew 20 on top; a tenth of it if nobody was told yet."""
    stands = Promise("north", at(0, 9))
    visits = [visit("a", promised=stands, fixed_crew="south", earliest_s=at(1, 8))]
    told = problem(visits, [shift("south", 1)])
    cost = solve_plan(told, stop=AfterIterations(5)).objective
    assert (cost.moved_points, cost.promises_moved_day, cost.promises_other_crew) == (260.0, 1, 1)
    booked = with_visit(told, "a", promised=replace(stands, told=False))
    cost = solve_plan(booked, stop=AfterIterations(5)).objective
    assert (cost.moved_points, cost.promises_moved_day, cost.booked_moved) == (26.0, 0, 1)


def test_a_promised_start_is_waited_for() -> None:
    """Told 13:00 and nothing else to do: the crew sets off later instead of coming early."""
    now = problem([visit("a", promised=Promise("north", at(0, 13)))], [shift("north", 0)])
    plan = solve_plan(now, stop=AfterIterations(5)).plan
    assert starts(plan)["a"] == ("north:0", at(0, 13))
    assert plan.rounds[0].departs_s == at(0, 13) - 600
    assert objective_of(now, plan).moved_points == 0
