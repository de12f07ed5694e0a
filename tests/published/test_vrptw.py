"""The planner held against published routing instances and their best known solutions.

Instances: Solomon, M. M. (1987), "Algorithms for the vehicle routing and scheduling problems with
time window constraints", Operations Research 35(2), 254-265, doi 10.1287/opre.35.2.254 (RC208,
100 customers); Gehring, H. and Homberger, J. (1999), the extended set of 1,000 customers (names
with `_10_`); a multi-trip set with release times after Yang (2023), whose reloading is ours; a
prize-collecting variant, whose prizes are our optional visits. All as distributed, with best known
solutions, by the PyVRP project under the MIT licence (`data/vrptw/README.md`); distances follow
the DIMACS convention, one decimal, truncated. Each goes through the product's own visits, shifts,
travel, depots and prices (`benchmarks/vrptw_files.py`).
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from benchmarks.vrptw_files import FOLDER, Published, distance_and_prizes, published
from jobs.planning.checker import check_plan
from jobs.planning.objective import objective_of
from jobs.planning.plan import Plan
from jobs.planning.solving.solve import solve_plan
from jobs.planning.solving.stopping import AfterIterations

NAMES = sorted(path.stem for path in FOLDER.glob("*.vrp"))


def test_the_instances_are_there() -> None:
    assert {"RC208", "C201R0.25", "PC-C1_10_2", "C1_10_1"} <= set(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_the_best_known_solution_keeps_every_rule_and_costs_what_is_published(name: str) -> None:
    """The checker finds nothing in it; the objective gives the published cost to the tenth."""
    found = published(name)
    assert check_plan(found.problem, found.best_plan) == ()
    assert objective_of(found.problem, found.best_plan).total == pytest.approx(found.best_cost)
    assert distance_and_prizes(found, found.best_plan) == found.best_cost


@pytest.mark.parametrize("name", ["RC208", "C201R0.25"])
def test_a_best_known_solution_that_is_disturbed_breaks_rules(name: str) -> None:
    """One vehicle's route given a later start breaks windows; one customer twice, that rule."""
    found = published(name)
    first = found.best_plan.rounds[0]
    late = tuple(
        replace(
            stop,
            arrives_s=stop.arrives_s + 60_000,
            starts_s=stop.starts_s + 60_000,
            leaves_s=stop.leaves_s + 60_000,
        )
        for stop in first.stops
    )
    rounds = (replace(first, stops=late), *found.best_plan.rounds[1:])
    codes = {v.code for v in check_plan(found.problem, Plan(rounds))}
    assert {"window", "travel"} <= codes
    twice = (replace(first, stops=(*first.stops, first.stops[0])), *found.best_plan.rounds[1:])
    assert "visit_twice" in {v.code for v in check_plan(found.problem, Plan(twice))}


def gap_after(found: Published, steps: int) -> float:
    """Per cent above the best known cost, for a plan that the checker lets pass."""
    plan = solve_plan(found.problem, stop=AfterIterations(steps), seed=1).plan
    assert check_plan(found.problem, plan) == ()
    return (distance_and_prizes(found, plan) / found.best_cost - 1) * 100


@pytest.mark.parametrize(
    ("name", "steps", "most_per_cent"),
    [
        ("RC208", 4000, 2.5),
        ("C201R0.25", 1500, 4.0),
        ("PC-C1_10_2", 1000, 4.5),
        ("C1_10_1", 500, 6.0),
    ],
)
def test_a_short_search_comes_near_the_best_known_cost(
    name: str, steps: int, most_per_cent: float
) -> None:
    """Gap to the best known cost after a fixed number of steps (so the same on every machine)."""
    assert 0 <= gap_after(published(name), steps) < most_per_cent
