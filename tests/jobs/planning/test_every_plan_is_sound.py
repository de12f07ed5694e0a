"""Whatever the problem, a plan breaks no rule, and costs what the objective says."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, Phase, given, settings

from benchmarks.random_rounds import random_problem
from jobs.planning.checker import check_plan
from jobs.planning.objective import objective_of
from jobs.planning.plan import Plan
from jobs.planning.problem import PlanProblem
from jobs.planning.solving.first_plan import first_draft
from jobs.planning.solving.hand_rule import plan_by_hand
from jobs.planning.solving.second_solver import plan_with_second_solver
from jobs.planning.solving.solve import solve_plan
from jobs.planning.solving.stopping import AfterIterations
from jobs.planning.solving.tables import REQUIRED_POINTS, UNITS_PER_POINT, tables_of
from tests.jobs.planning.instances import furnished, problems

MAY_REMAIN = {"required_left_out", "fixed_left_out"}
# Shrinking a problem takes minutes; what fails is printed whole and is small enough to read.
QUIET = settings(
    deadline=None,
    derandomize=True,
    database=None,
    phases=(Phase.explicit, Phase.generate),
    suppress_health_check=list(HealthCheck),
)


def broken(problem: PlanProblem, plan: Plan) -> list[str]:
    """Codes and words of the rules broken, but for what fits nowhere."""
    return [
        f"{one.code} {one.where}: {one.words}"
        for one in check_plan(problem, plan)
        if one.code not in MAY_REMAIN
    ]


@settings(QUIET, max_examples=120)
@given(problems())
def test_a_first_plan_breaks_no_rule_and_costs_what_it_says(problem: PlanProblem) -> None:
    draft = first_draft(tables_of(problem), None)
    plan = draft.to_plan()
    assert broken(problem, plan) == []
    missing = sum(
        problem.visit(one.key).required or problem.visit(one.key).fixed for one in plan.unplanned
    )
    told = draft.units / UNITS_PER_POINT - missing * REQUIRED_POINTS
    assert told == pytest.approx(objective_of(problem, plan).total, abs=0.05)


@settings(QUIET, max_examples=40)
@given(problems())
def test_a_searched_plan_breaks_no_rule(problem: PlanProblem) -> None:
    found = solve_plan(problem, stop=AfterIterations(90), seed=3)
    assert broken(problem, found.plan) == []
    first = first_draft(tables_of(problem), None).to_plan()
    assert found.objective.total <= objective_of(problem, first).total + REQUIRED_POINTS


@settings(QUIET, max_examples=25)
@given(problems())
def test_a_plan_by_hand_breaks_no_rule(problem: PlanProblem) -> None:
    assert broken(problem, plan_by_hand(problem)) == []


def test_the_search_does_better_than_the_hand_rule() -> None:
    problem = random_problem(40, 3, 4, seed=5)
    by_hand = objective_of(problem, plan_by_hand(problem))
    found = solve_plan(problem, stop=AfterIterations(100), seed=1)
    assert found.objective.total < 0.8 * by_hand.total


def test_the_second_solver_breaks_no_rule() -> None:
    problem = furnished()
    assert broken(problem, plan_with_second_solver(problem, 0.2)) == []


def test_the_furnished_problem_is_planned_whole() -> None:
    problem = furnished()
    found = solve_plan(problem, stop=AfterIterations(150), seed=1)
    assert check_plan(problem, found.plan) == ()
    assert found.plan.unplanned == ()
