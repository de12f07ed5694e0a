"""Why a visit stayed out, and that what is said to help really lets it in."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings

from benchmarks.random_rounds import random_problem
from jobs.planning.plan import Plan, Reason, Relief
from jobs.planning.plan_errors import NotInPlan
from jobs.planning.problem import After, DepotToPlan, PlanProblem, Promise, Travel, Window
from jobs.planning.solving.first_plan import first_draft
from jobs.planning.solving.insertion import best_move
from jobs.planning.solving.places import draft_of
from jobs.planning.solving.reasons import (
    HINTS,
    SUMMARIES,
    cost_of_moving,
    explain_unplanned,
    with_reasons,
)
from jobs.planning.solving.relief import relieved
from jobs.planning.solving.solve import solve_plan
from jobs.planning.solving.stopping import AfterIterations
from jobs.planning.solving.tables import tables_of
from tests.jobs.planning.instances import (
    HOUR_S,
    at,
    line_travel,
    problem,
    problems,
    remade,
    shift,
    visit,
)
from tests.jobs.planning.test_every_plan_is_sound import QUIET


def planned(given_: PlanProblem) -> Plan:
    return solve_plan(given_, stop=AfterIterations(60), seed=1).plan


def reasons_of(given_: PlanProblem, key: str) -> tuple[Reason, ...]:
    plan = planned(given_)
    assert key in {one.key for one in plan.unplanned}
    return explain_unplanned(given_, plan, key)


def goes_in(given_: PlanProblem, plan: Plan, key: str, reason: Reason) -> bool:
    """Whether the visit fits into the same plan once the relief is really granted."""
    assert reason.relief is not None
    freer = relieved(given_, key, reason.relief)
    draft = draft_of(freer, plan)
    move = best_move(draft, freer.visit_index[key], tried=1000)
    if reason.relief.kind == "worth":
        worth = tables_of(freer).left_out_units[freer.visit_index[key]]
        return move is not None and move.units < worth
    return move is not None


MONDAY = [shift("north", 0)]
ROLLS = DepotToPlan("depot", "depot", stock_by_day=({"roll": 5}, {"roll": 5}, {"roll": 5}))
LOADED = [shift("north", 0, depot="depot", van_volume_m3=4.0)]

CASES: list[tuple[str, PlanProblem, str, str]] = [
    (
        "skills",
        problem([visit("x", skills=frozenset({"electrical"}))], MONDAY),
        "No crew has everything it needs: electrical",
        " in North (North, Mon 30 Nov at 08:10)",
    ),
    (
        "crew_size",
        problem([visit("x", crew_size=3)], MONDAY),
        "too small",
        "Letting North do it with fewer people than asked",
    ),
    (
        "window",
        problem([visit("x", windows=(Window(at(1, 9), at(1, 11)),))], MONDAY),
        "No window agreed",
        "A window that holds Mon 30 Nov at 08:10",
    ),
    (
        "earliest",
        problem([visit("x", earliest_s=at(1, 0))], MONDAY),
        "may not start before",
        "Starting it as early as Mon 30 Nov at 08:10",
    ),
    (
        "fixed_crew",
        problem([visit("x", fixed_crew="south")], MONDAY),
        "belongs to one crew",
        "Letting another crew go (North, Mon 30 Nov at 08:10)",
    ),
    (
        "barred_crew",
        problem([visit("x", barred_crews=frozenset({"north"}))], MONDAY),
        "barred",
        "Letting another crew go",
    ),
    (
        "van",
        problem([visit("x", volume_m3=9.0)], LOADED, depots=(replace(ROLLS, stock_by_day=()),)),
        "vans of crews with time for it are too small",
        "A van of 9.0 m³ for North on Mon 30 Nov",
    ),
    (
        "stock",
        problem([visit("x", stock={"roll": 7})], LOADED, depots=(ROLLS,)),
        "runs out",
        "2 more of roll for North on Mon 30 Nov",
    ),
    (
        "no_room",
        problem([visit("x", 8)], MONDAY),
        "",
        "An extra 30 min of overtime of North on Mon 30 Nov (it would start at 08:10)",
    ),
]


@pytest.mark.parametrize(("code", "given_", "words", "helps"), CASES)
def test_the_obstacle_is_named_and_its_relief_lets_the_visit_in(
    code: str, given_: PlanProblem, words: str, helps: str
) -> None:
    plan = planned(given_)
    reasons = explain_unplanned(given_, plan, "x")
    found = next(reason for reason in reasons if reason.code == code)
    assert words in found.words
    assert helps in found.would_help
    assert goes_in(given_, plan, "x", found)


def test_what_must_come_before_is_named() -> None:
    given_ = problem(
        [visit("first", skills=frozenset({"electrical"})), visit("x", after=(After("first"),))],
        MONDAY,
    )
    found = next(reason for reason in reasons_of(given_, "x") if reason.code == "order")
    assert goes_in(given_, planned(given_), "x", found)


def test_a_visit_that_is_not_worth_its_way_says_what_it_would_have_to_be_worth() -> None:
    given_ = problem([visit("x", left_out_points=50.0)], MONDAY, positions_min=[100])
    (found,) = reasons_of(given_, "x")
    assert found.code == "not_worth"
    assert "costs 200 points there, and leaving it out 50" in found.words
    assert goes_in(given_, planned(given_), "x", found)


def test_nothing_is_said_of_a_visit_that_is_planned() -> None:
    given_ = problem([visit("x")], MONDAY)
    assert explain_unplanned(given_, planned(given_), "x") == ()


def test_every_unplanned_visit_of_a_plan_gets_reasons() -> None:
    given_ = random_problem(40, 2, 3, seed=3)
    plan = with_reasons(given_, planned(given_))
    assert plan.unplanned
    assert all(one.reasons and all(r.words for r in one.reasons) for one in plan.unplanned)


@settings(QUIET, max_examples=80)
@given(problems())
def test_whatever_is_said_to_help_helps(given_: PlanProblem) -> None:
    plan = first_draft(tables_of(given_), None).to_plan()
    for one in plan.unplanned:
        for reason in explain_unplanned(given_, plan, one.key):
            if reason.relief is not None:
                assert goes_in(given_, plan, one.key, reason), (one.key, reason)


def test_what_moving_a_visit_costs_is_what_it_then_costs() -> None:
    """Two crews; the far one would drive an hour more, half an hour of it after hours."""
    given_ = problem(
        [visit("a", 6.5)],
        [shift("north", 0), shift("south", 0, start_place="depot", end_place="depot")],
        travel=_two_bases(),
    )
    given_ = remade(given_, shifts=tuple(replace(s, overtime_s=HOUR_S) for s in given_.shifts))
    cost = cost_of_moving(given_, planned(given_), "a")
    assert cost.best is not None
    assert cost.best.shift == "south:0"
    assert dict(cost.by_component) == pytest.approx({"driving": 60.0, "overtime": 15.0})
    assert cost.extra_points == pytest.approx(75.0)
    assert "Best elsewhere: South, Mon 30 Nov at 08:50" in cost.words


def _two_bases() -> Travel:

    return line_travel([0, -30, 20])


def test_a_visit_with_nowhere_else_to_go_would_be_left_out() -> None:
    given_ = problem([visit("a", priority=3)], MONDAY)
    cost = cost_of_moving(given_, planned(given_), "a")
    assert cost.best is None
    assert cost.extra_points == pytest.approx(1080.0 - 20.0)


def test_the_price_of_moving_asks_for_a_planned_visit() -> None:
    given_ = problem([visit("a")], MONDAY)
    with pytest.raises(NotInPlan, match="no planned visit 'b'"):
        cost_of_moving(given_, planned(given_), "b")


def test_two_rules_that_must_give_way_together_are_told_together() -> None:
    """North lacks the skill, and the work is half an hour longer than its day."""
    given_ = problem([visit("x", 8, skills=frozenset({"electrical"}))], MONDAY)
    found = next(reason for reason in reasons_of(given_, "x") if reason.would_help)
    assert "with both: 30 min more overtime and somebody with electrical in North" in (
        found.would_help
    )
    assert goes_in(given_, planned(given_), "x", found)


def test_what_fits_only_an_empty_day_is_told_so() -> None:
    given_ = problem([visit("a", 6, required=True), visit("x", 6)], MONDAY)
    (found,) = reasons_of(given_, "x")
    assert "An empty day of North: plan more days" in found.would_help


def test_a_visit_longer_than_any_shift_is_told_each_way_in_with_its_numbers() -> None:
    """Eleven hours of two people (22 operative-hours) ten minutes away, shifts of eight hours.

    22 h shared by three are 7 h 20 min, to the quarter 7 h 30 min; halved they are 5 h 30 min.
    """
    three = shift("south", 0, crew_size=3)
    given_ = problem([visit("x", 11, crew_size=2)], [*MONDAY, shift("north", 1), three])
    plan = planned(given_)
    (found,) = explain_unplanned(given_, plan, "x")
    assert (found.code, found.relief.kind) == ("too_long", "overtime")
    assert found.would_help == (
        "One of these: a shift of 11 h 30 min for North on Mon 30 Nov, where it is 8 h now; its "
        "work shared out over 2 days of 5 h 30 min (North, Mon 30 Nov at 08:10); or 3 people "
        "instead of 2, 7 h 30 min instead of 11 h (South, Mon 30 Nov at 08:10)."
    )
    for relief in (found.relief, Relief("split", amount=2), Relief("hands", amount=3)):
        assert goes_in(given_, plan, "x", replace(found, relief=relief))


def test_what_nothing_tried_lets_in_says_how_many_days_it_takes() -> None:
    """A shift of 8 h with 20 min of driving leaves 7 h 40 min; 30 h are four such days."""
    given_ = problem([visit("x", 30)], MONDAY)
    (found,) = reasons_of(given_, "x")
    assert found.relief is None
    assert "over 4 days of 7 h 30 min, on more days: North has 7 h 40 min" in found.would_help
    assert "beside 20 min there and back" in found.would_help


def test_what_lies_too_far_away_says_how_near_a_crew_would_have_to_be() -> None:
    """13 h 20 min there and back; two hours of work leave three each way of a shift of eight."""
    given_ = problem([visit("x", 2)], MONDAY, positions_min=[400])
    (found,) = reasons_of(given_, "x")
    assert found.code == "too_far"
    assert "A crew with a base at most 3 h away. North" in found.would_help
    assert "drives 13 h 20 min there and back in a shift of 8 h" in found.would_help


def test_every_obstacle_has_a_word_on_what_helps() -> None:
    assert SUMMARIES.keys() == HINTS.keys()


def test_every_unplanned_visit_is_told_what_would_help() -> None:
    given_ = random_problem(40, 2, 3, seed=3)
    plan = with_reasons(given_, planned(given_))
    assert all(any(r.would_help for r in one.reasons) for one in plan.unplanned)


def test_a_day_begun_early_by_hand_keeps_its_room_for_more() -> None:
    """What is fixed at eight makes North set off before eight; the afternoon is as long as ever."""
    promise = Promise("north", at(0, 8))
    given_ = problem([visit("held", 1, promised=promise, fixed=True), visit("x", 6)], MONDAY)
    assert not planned(given_).unplanned
