"""On problems small enough to try everything, the search finds the best that there is.

Every way of dealing visits to shifts and every order is tried, timed by a few lines of their own.
"""

from __future__ import annotations

from itertools import permutations, product
from random import Random

import pytest

from jobs.planning.problem import PlanProblem, Shift, VisitToPlan, Window
from jobs.planning.solving.solve import solve_plan
from jobs.planning.solving.stopping import AfterIterations
from jobs.planning.weights import Weights
from tests.jobs.planning.instances import HOUR_S, at, problem, shift, visit

STAYS_OUT = -1


def tiny(seed: int) -> PlanProblem:
    """Four or five visits, two crews or two days, windows, due times, skills, overtime."""
    chance = Random(seed)
    visits = [
        visit(
            f"v{n}",
            chance.choice((1.0, 2.0, 3.0)),
            windows=(Window(at(0, hour := chance.choice((8, 10, 12))), at(0, hour + 3)),)
            if chance.random() < 0.4
            else (),
            due_s=at(chance.randrange(2), 12) if chance.random() < 0.5 else None,
            priority=chance.randint(1, 5),
            skills=frozenset({"surveying"}) if chance.random() < 0.3 else frozenset(),
            volume_m3=chance.choice((0.0, 2.0)),
        )
        for n in range(chance.choice((4, 5)))
    ]
    second = chance.choice((("south", 0), ("north", 1)))
    shifts = [
        shift(
            crew,
            day,
            closes_s=at(day, 13),
            overtime_s=HOUR_S,
            van_volume_m3=4.0,
            skills=frozenset({"surveying"} if crew == "north" else ()),
        )
        for crew, day in (("north", 0), second)
    ]
    positions = [chance.randrange(5, 60) for _ in visits]
    return problem(visits, shifts, positions_min=positions)


def best_by_trying_everything(given: PlanProblem) -> float:
    """The least points over all assignments and orders."""
    count = len(given.visits)
    best = float("inf")
    cache: dict[tuple[int, frozenset[int]], float] = {}
    for dealt in product(range(STAYS_OUT, len(given.shifts)), repeat=count):
        total = sum(
            given.weights.leaving_out(given.visits[n].priority)
            for n in range(count)
            if dealt[n] == STAYS_OUT
        )
        for row in range(len(given.shifts)):
            own = frozenset(n for n in range(count) if dealt[n] == row)
            if (row, own) not in cache:
                cache[row, own] = best_order(given, row, own)
            total += cache[row, own]
        best = min(best, total)
    return best


def best_order(given: PlanProblem, row: int, own: frozenset[int]) -> float:
    return min(price(given, given.shifts[row], order) for order in permutations(sorted(own)))


def price(given: PlanProblem, shift: Shift, order: tuple[int, ...]) -> float:
    """Points of one round in that order, infinite if it breaks a rule."""
    visits = [given.visits[n] for n in order]
    if sum(v.volume_m3 for v in visits) > (shift.van_volume_m3 or 0):
        return float("inf")
    if not visits:
        return 0.0
    place, time_s, points = shift.start_place, shift.opens_s, 0.0
    for one in visits:
        way_s = given.travel_s(place, one.place)
        points += way_s / 60
        start_s = door_s(one, time_s + way_s, given.start_step_s)
        if start_s is None or not one.skills <= shift.skills:
            return float("inf")
        time_s = start_s + one.service_s
        if one.due_s is not None:
            late_h = max(0, time_s - one.due_s) / HOUR_S
            points += late_h * given.weights.late_hour * one.priority
        place = one.place
    home_s = given.travel_s(place, shift.end_place)
    points += home_s / 60
    over_s = max(0, time_s + home_s - shift.closes_s)
    if over_s > shift.overtime_s:
        return float("inf")
    return points + over_s / HOUR_S * given.weights.overtime_hour


def door_s(one: VisitToPlan, from_s: int, step_s: int) -> int | None:
    """The first even moment at which the visit may start."""
    opens_s = max(from_s, one.windows[0].opens_s if one.windows else 0)
    start_s = -(-opens_s // step_s) * step_s
    return None if one.windows and start_s > one.windows[0].closes_s else start_s


@pytest.mark.parametrize("seed", range(12))
def test_nothing_better_exists(seed: int) -> None:
    given = tiny(seed)
    assert given.weights == Weights()
    found = solve_plan(given, stop=AfterIterations(400), seed=seed)
    assert found.objective.total == pytest.approx(best_by_trying_everything(given), abs=0.01)
