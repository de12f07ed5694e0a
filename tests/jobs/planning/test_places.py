"""Where a visit fits while it is being dragged, and what that would cost."""

from __future__ import annotations

from dataclasses import replace

import pytest

from benchmarks.random_rounds import random_problem
from jobs.planning.checker import check_plan
from jobs.planning.objective import objective_of
from jobs.planning.plan import Plan, Unplanned
from jobs.planning.plan_errors import NotInPlan
from jobs.planning.problem import PlanProblem
from jobs.planning.solving.insertion import best_in_shift, put_in
from jobs.planning.solving.places import draft_of, feasible_places, fits, lifted
from jobs.planning.solving.solve import solve_plan
from jobs.planning.solving.stopping import AfterIterations
from tests.jobs.planning.instances import at, furnished, problem, shift, visit


def planned(given: PlanProblem, steps: int = 120) -> Plan:
    return solve_plan(given, stop=AfterIterations(steps), seed=1).plan


def without(plan: Plan, key: str) -> Plan:
    """The plan as told, with one visit not in it."""
    rounds = tuple(replace(r, stops=tuple(s for s in r.stops if s.key != key)) for r in plan.rounds)
    return Plan(rounds, (*plan.unplanned, Unplanned(key)))


def test_a_free_day_takes_a_visit_and_says_when_and_for_how_much() -> None:
    given = problem([visit("a")], [shift("north", 0), shift("north", 1)])
    found = fits(given, planned(given), "a", "north:1")
    assert found.ok
    assert (found.position, found.starts_s, found.extra_points) == (0, at(1, 8) + 600, 0.0)


def test_a_place_in_the_round_can_be_chosen() -> None:
    """Homes at 10, 20 and 30 minutes: last in the row is no detour, first one is none either."""
    given = problem([visit("a"), visit("b"), visit("x")], [shift("north", 0)])
    plan = planned(given)
    for position in range(3):
        found = fits(given, plan, "x", "north:0", position=position)
        assert found.ok
        assert found.position == position


def test_a_start_can_be_chosen() -> None:
    given = problem([visit("a")], [shift("north", 0)])
    found = fits(given, planned(given), "a", "north:0", starts_s=at(0, 11))
    assert found.ok
    assert found.starts_s == at(0, 11)


def test_a_start_that_the_crew_cannot_make_is_refused_with_the_earliest() -> None:
    given = problem([visit("a")], [shift("north", 0)], positions_min=[45])
    found = fits(given, planned(given), "a", "north:0", starts_s=at(0, 8))
    assert not found.ok
    assert found.starts_s == at(0, 8.75)
    assert "08:45 at the earliest" in found.reasons[0].words


def test_a_start_too_late_on_a_day_too_short_blames_nothing_that_comes_before() -> None:
    """Seven and a half hours of work and two drives of 45 minutes fit no day of eight hours."""
    given = problem([visit("a", 7.5)], [shift("north", 0)], positions_min=[45])
    found = fits(given, planned(given), "a", "north:0", starts_s=at(0, 10))
    assert not found.ok
    assert "From the time asked for it does not end before" in found.reasons[0].words


def test_a_full_day_is_refused_with_its_reason() -> None:
    given = problem([visit("a", 7), visit("b", 7)], [shift("north", 0), shift("south", 0)])
    plan = planned(given)
    other = next(r.shift for r, s in plan.placed() if s.key == "b")
    found = fits(given, plan, "a", other)
    assert not found.ok
    assert [reason.code for reason in found.reasons] == ["no_room"]
    assert "is full" in found.reasons[0].words


def test_a_crew_without_the_skill_is_refused_with_every_reason() -> None:
    given = problem(
        [visit("a", skills=frozenset({"surveying"}), crew_size=3)],
        [shift("north", 0), shift("south", 0, skills=frozenset({"surveying"}), crew_size=3)],
    )
    found = fits(given, planned(given), "a", "north:0")
    assert [reason.code for reason in found.reasons] == ["skills", "crew_size"]


def test_the_price_is_what_the_plan_then_costs() -> None:
    """Carried out, each place costs what was said, and breaks no rule."""
    given = random_problem(20, 3, 3, seed=4)
    plan = planned(given)
    before = objective_of(given, plan)
    tried = 0
    for key in [s.key for _, s in plan.placed() if s.part == 0]:
        for found in feasible_places(given, plan, key):
            if not found.ok:
                continue
            draft, _ = lifted(draft_of(given, plan), given.visit_index[key])
            task = draft.tables.first_task[given.visit_index[key]]
            if len(given.visit(key).lengths_s) > 1:
                continue
            move = best_in_shift(draft, task, given.shift_index[found.shift])
            assert move is not None
            put_in(draft, move)
            then = draft.to_plan()
            assert check_plan(given, then) == ()
            assert objective_of(given, then).total - before.total == pytest.approx(
                found.extra_points, abs=0.05
            )
            tried += 1
    assert tried > 10


def test_every_shift_answers() -> None:
    given = furnished()
    found = feasible_places(given, planned(given), "g")
    assert [place.shift for place in found] == [s.key for s in given.shifts]
    assert all(place.ok or place.reasons for place in found)


def test_a_held_visit_can_lie_nowhere_else() -> None:
    given = furnished()
    places = {place.shift: place for place in feasible_places(given, planned(given), "f")}
    assert places["south:2"].ok
    assert places["north:2"].reasons[0].code == "fixed"


def test_a_long_job_is_tried_by_its_first_day() -> None:
    given = furnished()
    places = {place.shift: place for place in feasible_places(given, planned(given), "e")}
    assert places["south:1"].ok
    assert not places["south:2"].ok


@pytest.mark.parametrize(("key", "row"), [("zz", "north:0"), ("a", "west:0")])
def test_an_unknown_key_is_named(key: str, row: str) -> None:
    given = furnished()
    with pytest.raises(NotInPlan, match="zz|west:0"):
        fits(given, planned(given, 0), key, row)
