"""A day that somebody booked so that the crew sets off before its hours is planned as it is."""

from __future__ import annotations

from dataclasses import replace

from jobs.planning.booked_days import opened_for_bookings
from jobs.planning.checker import check_plan
from jobs.planning.problem import Promise
from jobs.planning.solving.solve import solve_plan
from jobs.planning.solving.stopping import AfterIterations
from tests.jobs.planning.instances import at, problem, shift, visit

FAR_MIN = [40]
BOOKED = visit("booked", 4, promised=Promise("north", at(0, 8)), left_out_points=9_000.0)


def test_a_visit_booked_at_the_opening_of_the_day_is_reached_before_it() -> None:
    given = problem([BOOKED], [shift("north", 0)], positions_min=FAR_MIN)
    given = replace(given, shifts=opened_for_bookings(given, given.visits))

    (stop,) = [
        stop for _, stop in solve_plan(given, stop=AfterIterations(20), seed=1).plan.placed()
    ]

    assert stop.starts_s == at(0, 8)
    assert given.shifts[0].opens_s == at(0, 8) - 40 * 60


def test_nothing_else_starts_before_the_crews_own_hours() -> None:
    given = problem([BOOKED, visit("near", 1)], [shift("north", 0)], positions_min=[*FAR_MIN, 5])
    given = replace(given, shifts=opened_for_bookings(given, given.visits))

    plan = solve_plan(given, stop=AfterIterations(60), seed=1).plan

    starts = {stop.key: stop.starts_s for _, stop in plan.placed()}
    assert set(starts) == {"booked", "near"}
    assert min(starts.values()) >= at(0, 8)
    assert check_plan(given, plan) == ()


def test_a_day_that_nothing_is_booked_on_keeps_its_hours() -> None:
    given = problem([visit("waits", 1)], [shift("north", 0)], positions_min=FAR_MIN)

    assert opened_for_bookings(given, given.visits) == given.shifts
