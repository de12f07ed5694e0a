"""The search that learns what to charge for broken limits."""

from __future__ import annotations

import pytest

from benchmarks.vrptw_files import published
from jobs.planning.solving.draft import Draft
from jobs.planning.solving.first_plan import first_draft
from jobs.planning.solving.late_acceptance import (
    LEAST_LEGS_A_LOAD,
    LEGS_AT_FIRST,
    STRICT,
    Manner,
    Penalties,
)
from jobs.planning.solving.part_work import PartAnswer
from jobs.planning.solving.routes import RoutingProblem, Wanted, improve
from jobs.planning.solving.sharing import Sharing
from jobs.planning.solving.tables import tables_of

STEPS = 400


class After:
    """Says stop after so many steps."""

    def __init__(self, steps: int) -> None:
        self.left = steps

    def __call__(self, best_cost: int) -> bool:
        self.left -= 1
        return self.left < 0


@pytest.fixture(scope="module")
def draft() -> Draft:
    """A hundred visits with times agreed, as a first plan has them."""
    return first_draft(tables_of(published("RC208").problem), None)


def whole(draft: Draft) -> RoutingProblem:
    tables = draft.tables
    return RoutingProblem(
        draft, Wanted(tuple(range(len(tables.shifts))), tuple(range(len(tables.tasks))))
    )


def learned(draft: Draft, manner: Manner) -> Penalties:
    return improve(whole(draft), 1, After(STEPS), lambda best: None, manner)[1]


def test_loads_kept_without_trying_are_charged_less_until_the_least(draft: Draft) -> None:
    """From far too high, the penalty comes down; but never below so many legs."""
    high = Penalties(5e3, 5e3)
    after = learned(draft, Manner(30, penalties=high))
    assert after.litre < high.litre
    least = learned(draft, Manner(30, penalties=Penalties(1e-9, 5e3))).litre
    first = learned(draft, Manner(30, penalties=None)).litre
    assert least >= LEAST_LEGS_A_LOAD / LEGS_AT_FIRST * first * (1 - 1e-9)


def test_limits_broken_too_often_are_charged_more(draft: Draft) -> None:
    low = Penalties(5e3, 1e-3)
    assert learned(draft, Manner(30, penalties=low)).second > low.second


def test_a_strict_search_learns_nothing(draft: Draft) -> None:
    problem = whole(draft)
    after = improve(problem, 1, After(150), lambda best: None, Manner(30, strict=True))[1]
    assert after.second == pytest.approx(STRICT.second * problem.scale)


def test_better_answers_keep_every_limit_and_never_get_dearer(draft: Draft) -> None:
    problem = whole(draft)
    told: list[int] = []

    def note(best: object) -> None:
        assert best.is_feasible()  # type: ignore[attr-defined]
        told.append(best.distance_cost())  # type: ignore[attr-defined]

    best, _ = improve(problem, 1, After(STEPS), note, Manner(30, leeway=0.003))
    assert best is not None
    assert told and told == sorted(told, reverse=True)
    assert best.distance_cost() == told[-1]


def test_the_next_parts_begin_with_what_the_last_ones_learned(draft: Draft) -> None:
    """The geometric mean, since penalties move by factors."""
    sharing = Sharing(draft.tables, seed=1, cores=1)
    assert sharing.parts(draft, None)[0].penalties is None
    answers = [PartAnswer({}, 1, Penalties(1.0, 2.0)), PartAnswer({}, 1, Penalties(4.0, 8.0))]
    sharing.note([*answers, PartAnswer({}, 1, None)], gained=True)
    (part,) = sharing.parts(draft, None)
    assert part.penalties is not None
    assert part.penalties.litre == pytest.approx(2.0)
    assert part.penalties.second == pytest.approx(4.0)
