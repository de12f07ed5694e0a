"""Whole rolls decide between ways that cost about the same by the square metre."""

from __future__ import annotations

import pytest

from benchmarks.random_lofts import random_loft
from calculations.catalogue import INVENTED_CATALOGUE, roll_by_code
from calculations.choosing import best_counted, cutting_plans
from calculations.layers import Objective, choose_layers
from calculations.loft import Loft, LoftArea
from calculations.stacks import Target


@pytest.mark.parametrize("objective", ["cost", "rolls"])
@pytest.mark.parametrize("seed", range(8))
def test_counting_never_takes_more_than_the_price_alone(seed: int, objective: Objective) -> None:
    loft, target = random_loft(seed), Target(depth_mm=270)
    counted = best_counted(loft, target, INVENTED_CATALOGUE, objective, 0)
    by_price = choose_layers(loft, target, INVENTED_CATALOGUE, objective)
    plans = cutting_plans(loft, by_price.layers, INVENTED_CATALOGUE, 0)
    total = sum(
        plan.rolls
        * (roll_by_code(INVENTED_CATALOGUE, plan.roll).cost if objective == "cost" else 1)
        for plan in plans
    )
    assert counted.total <= total


def test_two_areas_are_cut_from_the_same_rolls() -> None:
    """Each of two like areas alone needs a roll begun; together they share it."""
    low = ((0, 0), (3000, 0), (3000, 2500), (0, 2500))
    high = ((4000, 0), (7000, 0), (7000, 2500), (4000, 2500))
    areas = [
        LoftArea(name, outline, 400, 100, 50, 90) for name, outline in (("A", low), ("B", high))
    ]
    target = Target(depth_mm=270)
    alone = best_counted(Loft((areas[0],)), target, INVENTED_CATALOGUE, "rolls", 0)
    both = best_counted(Loft(tuple(areas)), target, INVENTED_CATALOGUE, "rolls", 0)
    assert both.total < 2 * alone.total


def test_the_reason_for_each_count_is_told() -> None:
    counted = best_counted(random_loft(3), Target(depth_mm=270), INVENTED_CATALOGUE, "cost", 0)
    for plan in counted.plans:
        told = [line for line in counted.choice.explanation if line.startswith(plan.roll)]
        assert len(told) == 1
        assert f"{plan.rolls} rolls" in told[0]
        assert ("takes fewer" in told[0]) == plan.proved_optimal
