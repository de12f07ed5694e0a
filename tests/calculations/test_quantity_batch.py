"""Quantities by area over arrays against the choices for single lofts."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from calculations.catalogue import INVENTED_CATALOGUE
from calculations.checks import InputError
from calculations.layers import Target, choose_layers
from calculations.loft import Condition, Loft, LoftArea, Roof, Underlay, net_polygon
from calculations.quantity_batch import columns_of, quantities_by_area
from tests.calculations.sample_lofts import BY_SHAPE

DEPTH = Target(depth_mm=270)
U_VALUE = Target(u_value_w_m2k=0.16)


def varied_lofts(count: int) -> list[Loft]:
    """Invented rectangles with joists and existing wool of many kinds."""
    rng = np.random.default_rng(4)
    lofts = []
    for _ in range(count):
        width, depth = rng.uniform(3000, 11_000, 2)
        area = LoftArea(
            "main",
            ((0, 0), (width, 0), (width, depth), (0, depth)),
            joist_spacing_mm=float(rng.choice([400, 450, 600])),
            joist_depth_mm=float(rng.choice([75, 100, 150])),
            joist_width_mm=float(rng.choice([38, 48, 50])),
            joist_direction_deg=0,
            existing_depth_mm=float(rng.choice([0, 25, 50, 100, 150, 300])),
            existing_condition=rng.choice(list(Condition)),
        )
        lofts.append(Loft((area,), roof=Roof(underlay=rng.choice(list(Underlay)))))
    return [*lofts, *BY_SHAPE.values()]


@pytest.mark.parametrize("objective", ["cost", "rolls"])
@pytest.mark.parametrize("target", [DEPTH, U_VALUE], ids=["depth", "U-value"])
def test_the_layers_are_those_of_the_single_path(target: Target, objective: str) -> None:
    lofts = varied_lofts(150)
    batch = quantities_by_area(columns_of(lofts), target, objective=objective)  # type: ignore[arg-type]
    row = 0
    for loft in lofts:
        choice = choose_layers(loft, target, INVENTED_CATALOGUE, objective)  # type: ignore[arg-type]
        for area in loft.areas:
            stack = batch.stacks[batch.stack[row]]
            laid = [x.roll for x in choice.layers if x.area == area.name and x.covers != "eaves"]
            assert [roll.code for roll in (*stack.between, *stack.across)] == laid
            assert batch.depth_mm[row] == choice.resulting_depth_mm[area.name]
            row += 1
    assert row == len(batch.stack)


def test_rolls_are_the_net_area_over_what_a_roll_covers() -> None:
    loft = replace(BY_SHAPE["ell"], fixtures=())
    batch = quantities_by_area(columns_of([loft]), DEPTH)
    codes = [roll.code for roll in INVENTED_CATALOGUE]
    for row, area in enumerate(loft.areas):
        stack = batch.stacks[batch.stack[row]]
        net_m2 = net_polygon(loft, area).area / 1e6
        for roll in stack.across:
            least = net_m2 / (roll.width_mm * roll.length_mm / 1e6)
            assert batch.rolls_by_area[row, codes.index(roll.code)] >= least - 1e-12
    expected = [math.ceil(total - 1e-9) for total in batch.rolls_by_area.sum(axis=0)]
    assert batch.rolls_by_job[0].tolist() == expected
    cost = sum(n * r.cost for n, r in zip(expected, INVENTED_CATALOGUE, strict=True))
    assert batch.cost_by_job[0] == pytest.approx(cost)


def test_twice_the_jobs_is_the_same_twice() -> None:
    lofts = varied_lofts(20)
    once = quantities_by_area(columns_of(lofts), DEPTH)
    twice = quantities_by_area(columns_of([*lofts, *lofts]), DEPTH)
    assert np.array_equal(np.vstack([once.rolls_by_job] * 2), twice.rolls_by_job)


def test_no_jobs_take_nothing() -> None:
    batch = quantities_by_area(columns_of([]), DEPTH)
    assert batch.rolls_by_job.shape == (0, len(INVENTED_CATALOGUE))
    assert len(batch.stack) == 0


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"net_m2": np.array([-1.0, 5.0])}, "net_m2"),
        ({"kept_depth_mm": np.array([np.nan, 0.0])}, "kept_depth_mm"),
        ({"job": np.array([1, 0])}, "job"),
        ({"underlay": np.array([0, 9])}, "underlay"),
        ({"joist_depth_mm": np.array([100.0])}, "joist_depth_mm"),
    ],
)
def test_columns_that_cannot_be_are_refused(change: dict[str, np.ndarray], field: str) -> None:
    columns = columns_of(varied_lofts(2)[:2])
    with pytest.raises(InputError) as error:
        replace(columns, **change)  # type: ignore[arg-type]
    assert error.value.field == field
