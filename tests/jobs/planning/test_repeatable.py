"""The same seed and the same number of steps give the same plan, however often it is asked."""

from __future__ import annotations

from benchmarks.random_rounds import random_problem
from benchmarks.vrptw_files import published
from jobs.planning.plan import Objective, Plan
from jobs.planning.solving.solve import solve_plan
from jobs.planning.solving.stopping import AfterIterations


def test_the_same_seed_gives_the_same_plan() -> None:
    plans = [
        solve_plan(random_problem(40, 3, 4, seed=5), stop=AfterIterations(300), seed=9).plan
        for _ in range(2)
    ]
    assert plans[0] == plans[1]


def test_another_seed_searches_otherwise() -> None:
    problem = random_problem(40, 3, 4, seed=5)
    stop = AfterIterations(300)
    assert (
        solve_plan(problem, stop=stop, seed=9).plan != solve_plan(problem, stop=stop, seed=8).plan
    )


def test_routing_at_once_is_repeatable_too() -> None:
    problem = published("RC208").problem
    plans = [solve_plan(problem, stop=AfterIterations(300), seed=4).plan for _ in range(2)]
    assert plans[0] == plans[1]


def test_better_plans_are_told_as_they_come_and_the_first_at_once() -> None:
    told: list[float] = []

    def note(plan: Plan, objective: Objective, elapsed_s: float) -> None:
        told.append(objective.total)

    problem = random_problem(40, 3, 4, seed=5)
    found = solve_plan(problem, stop=AfterIterations(200), seed=1, on_better=note)
    assert told == sorted(told, reverse=True)
    assert told[0] > found.objective.total
    assert told[-1] == found.objective.total


def test_a_search_that_is_stopped_at_once_still_gives_a_whole_plan() -> None:
    problem = random_problem(40, 3, 4, seed=5)
    found = solve_plan(problem, stop=AfterIterations(0), seed=1)
    planned = {stop.key for _, stop in found.plan.placed()}
    left = {one.key for one in found.plan.unplanned}
    assert found.iterations == 0
    assert planned | left == {visit.key for visit in problem.visits}
    assert planned
