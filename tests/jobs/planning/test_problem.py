"""A problem that cannot be is refused with the key and the remedy."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from jobs.planning.objective import day_of
from jobs.planning.plan_errors import PlanProblemError
from jobs.planning.problem import (
    After,
    Break,
    DepotToPlan,
    Place,
    PlanProblem,
    Promise,
    Travel,
    VisitToPlan,
    Window,
)
from jobs.planning.solving.spoken import moment
from jobs.planning.weights import Weights
from tests.jobs.planning.instances import HOUR_S, at, furnished, remade, shift, visit, with_visit

WRONG: list[tuple[str, str, str, Callable[[], object]]] = [
    ("x", "service_s", "0 or more", lambda: VisitToPlan("x", "home", -1)),
    ("visit", "key", "key of its own", lambda: VisitToPlan("", "home", 1)),
    ("x", "priority", "1 to 5", lambda: visit("x", priority=6)),
    ("x", "crew_size", "1 or more", lambda: visit("x", crew_size=0)),
    ("x", "volume_m3", "0 or more", lambda: visit("x", volume_m3=-1.0)),
    ("x", "stock", "0 or more", lambda: visit("x", stock={"roll": -2})),
    ("x", "parts_s", "add up", lambda: visit("x", 2, parts_s=(HOUR_S, 60))),
    ("x", "parts_s", "some time", lambda: visit("x", 1, parts_s=(HOUR_S, 0))),
    ("x", "fixed", "promised", lambda: visit("x", fixed=True)),
    (
        "x",
        "fixed",
        "of its own",
        lambda: visit("x", 2, fixed=True, promised=Promise("n", 0), parts_s=(HOUR_S, HOUR_S)),
    ),
    (
        "x",
        "fixed_crew",
        "barred",
        lambda: visit("x", fixed_crew="n", barred_crews=frozenset({"n"})),
    ),
    ("window", "closes_s", "later", lambda: Window(10, 9)),
    ("break", "latest_s", "in order", lambda: Break(10, 9, 60)),
    ("break", "length_s", "some time", lambda: Break(10, 10, 0)),
    ("p", "latitude_deg", "globe", lambda: Place("p", "", 91.0, 0.0)),
    ("n:0", "closes_s", "later", lambda: shift("n", 0, closes_s=at(0, 7))),
    ("n:0", "overtime_s", "0 or more", lambda: shift("n", 0, overtime_s=-1)),
    ("n:0", "van_volume_m3", "0 or more", lambda: shift("n", 0, van_volume_m3=-1.0)),
    (
        "n:0",
        "breaks",
        "apart",
        lambda: shift("n", 0, breaks=(Break(0, 100, 60), Break(120, 130, 60))),
    ),
    ("d", "reload_s", "0 or more", lambda: DepotToPlan("d", "depot", reload_s=-1)),
    ("travel", "seconds", "square", lambda: Travel(np.zeros((2, 3)), np.zeros((2, 2)))),
    ("travel", "metres", "loop", lambda: Travel(np.zeros((2, 2)), np.eye(2))),
    ("travel", "metres", "alike", lambda: Travel(np.zeros((2, 2)), np.zeros((3, 3)))),
    ("weights", "late_hour", "from 0", lambda: Weights(late_hour=-1)),
    ("weights", "left_out", "each priority", lambda: Weights(left_out=(1.0, 2.0))),  # type: ignore[arg-type]
]


@pytest.mark.parametrize(("key", "field", "remedy", "make"), WRONG)
def test_a_wrong_part_is_refused(
    key: str, field: str, remedy: str, make: Callable[[], object]
) -> None:
    with pytest.raises(PlanProblemError) as refusal:
        make()
    assert (refusal.value.key, refusal.value.field) == (key, field)
    assert remedy in str(refusal.value)


TOGETHER: list[tuple[str, str, Callable[[PlanProblem], object]]] = [
    ("problem", "starts_at", lambda p: remade(p, starts_at=datetime(2026, 11, 30))),
    ("problem", "days", lambda p: remade(p, days=p.days[::-1])),
    ("problem", "start_step_s", lambda p: remade(p, start_step_s=0)),
    ("travel", "seconds", lambda p: remade(p, places=p.places[:-1])),
    ("visits", "key", lambda p: remade(p, visits=(*p.visits, p.visits[0]))),
    ("shifts", "key", lambda p: remade(p, shifts=(*p.shifts, p.shifts[0]))),
    ("a", "place", lambda p: with_visit(p, "a", place="nowhere")),
    ("a", "after", lambda p: with_visit(p, "a", after=(After("zz"),))),
    ("c", "after", lambda p: with_visit(p, "c", after=(After("d"),))),
    ("h", "fixed", lambda p: with_visit(p, "h", fixed=True, promised=Promise("south", at(2, 9.5)))),
    ("late", "day", lambda p: _with_shift(p, replace(shift("east", 0), key="late", day=9))),
    ("twice", "day", lambda p: _with_shift(p, shift("north", 0, key="twice"))),
    ("e:1", "depot", lambda p: _with_shift(p, shift("e", 1, depot="none"))),
    ("e:1", "end_place", lambda p: _with_shift(p, shift("e", 1, end_place="none"))),
    (
        "depot",
        "stock_by_day",
        lambda p: remade(p, depots=(replace(p.depots[0], stock_by_day=({"roll": 1},)),)),
    ),
]


def _with_shift(given: PlanProblem, more: object) -> PlanProblem:
    return remade(given, shifts=(*given.shifts, more))


@pytest.mark.parametrize(("key", "field", "change"), TOGETHER)
def test_parts_that_do_not_go_together_are_refused(
    key: str, field: str, change: Callable[[PlanProblem], object]
) -> None:
    given = furnished()
    with pytest.raises(PlanProblemError) as refusal:
        change(given)
    assert field == refusal.value.field
    assert key in refusal.value.key or key in str(refusal.value)


def test_a_crew_may_not_start_a_shift_before_the_last_one_ended() -> None:
    given = furnished()
    late = replace(given.shifts[0], overtime_s=20 * HOUR_S)
    with pytest.raises(PlanProblemError, match="has ended"):
        remade(given, shifts=(late, *given.shifts[1:]))


def test_days_and_times_follow_the_office_clock_when_the_clocks_change() -> None:
    """In London clocks went back on 25 October 2026, a Sunday: that day has 25 hours."""
    london = ZoneInfo("Europe/London")
    days = tuple(date(2026, 10, 24 + n) for n in range(3))
    given = remade(furnished(), starts_at=datetime(2026, 10, 24, tzinfo=london), days=days)
    monday_at_nine_s = 24 * HOUR_S + 25 * HOUR_S + 9 * HOUR_S
    assert day_of(given, monday_at_nine_s) == 2
    assert moment(given, monday_at_nine_s) == "Mon 26 Oct at 09:00"


def test_load_and_stock_of_a_long_job_are_shared_out_without_loss() -> None:
    long_job = visit("x", 10, parts_s=(7 * HOUR_S, 3 * HOUR_S), volume_m3=5.0, stock={"roll": 9})
    assert [long_job.part_volume_m3(part) for part in (0, 1)] == pytest.approx([3.5, 1.5])
    pieces = [long_job.part_stock(part)["roll"] for part in (0, 1)]
    assert sum(pieces) == 9
    assert pieces[0] > pieces[1]
