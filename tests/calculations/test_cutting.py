"""Pieces cover the floor, come off real rolls without overlap, and nothing is lost."""

from __future__ import annotations

import math
from collections import defaultdict

import pytest
from shapely import Polygon, box, union_all

from benchmarks.random_lofts import random_loft
from calculations.catalogue import INVENTED_CATALOGUE, roll_by_code
from calculations.choosing import cutting_plans
from calculations.cutting import CuttingPlan, strips_of
from calculations.joists import bays_of, to_frame
from calculations.layers import Layer, choose_layers
from calculations.laying import in_laying_order, roll_numbers
from calculations.loft import Loft, LoftArea, Obstacle, ObstacleKind
from calculations.shortfalls import where_laid
from calculations.stacks import Target
from calculations.strips import LEAST_PIECE_MM, SLIVER_MM, pieces_of

SEEDS = range(40)
HATCH = Obstacle(
    "Hatch", ObstacleKind.HATCH, ((7000, 500), (7600, 500), (7600, 1200), (7000, 1200))
)


def planned(seed: int) -> tuple[Loft, tuple[Layer, ...], list[CuttingPlan]]:
    loft = random_loft(seed)
    choice = choose_layers(loft, Target(depth_mm=300), INVENTED_CATALOGUE)
    return loft, choice.layers, cutting_plans(loft, choice.layers, INVENTED_CATALOGUE, 0)


@pytest.mark.parametrize("seed", SEEDS)
def test_pieces_cover_each_layer_once(seed: int) -> None:
    loft, layers, _ = planned(seed)
    for layer in layers:
        area = loft.area_named(layer.area)
        pieces = pieces_of(loft, area, layer, roll_by_code(INVENTED_CATALOGUE, layer.roll), layers)
        place = to_frame(where_laid(loft, area, layer, layers), layer.direction_deg)
        if layer.kind == "between_joists":
            left, _, right, _ = place.bounds
            bays = union_all([box(left, b.low_mm, right, b.high_mm) for b in bays_of(area)])
            place = place.intersection(bays)
        laid = union_all([piece.shape for piece in pieces]) if pieces else Polygon()
        overlap = sum(piece.shape.area for piece in pieces) - laid.area
        assert overlap == pytest.approx(0, abs=10)
        assert laid.difference(place).area == pytest.approx(0, abs=10)
        # What is left open is nowhere wider than a sliver that the neighbours close.
        assert place.difference(laid).buffer(-SLIVER_MM / 2 - 0.1).area == pytest.approx(
            0, abs=6000
        )


@pytest.mark.parametrize("seed", SEEDS)
def test_cuts_lie_on_the_roll_without_overlap(seed: int) -> None:
    _, _, plans = planned(seed)
    for plan in plans:
        roll = roll_by_code(INVENTED_CATALOGUE, plan.roll)
        by_roll = defaultdict(list)
        for cut in plan.packing.cuts:
            by_roll[cut.roll].append(
                box(cut.x_mm, cut.y_mm, cut.x_mm + cut.width_mm, cut.y_mm + cut.length_mm)
            )
        assert set(by_roll) == set(range(plan.rolls))
        for cuts in by_roll.values():
            joined = union_all(cuts)
            assert joined.area == pytest.approx(sum(cut.area for cut in cuts), rel=1e-6)
            assert box(0, 0, roll.width_mm + 0.1, roll.length_mm).covers(joined)


@pytest.mark.parametrize("seed", SEEDS)
def test_every_piece_is_cut_in_full_and_joints_leave_no_scraps(seed: int) -> None:
    loft, layers, plans = planned(seed)
    for plan in plans:
        roll = roll_by_code(INVENTED_CATALOGUE, plan.roll)
        pieces = [
            piece
            for layer in layers
            if layer.roll == plan.roll
            for piece in pieces_of(loft, loft.area_named(layer.area), layer, roll, layers)
        ]
        cuts = defaultdict(list)
        for cut in plan.packing.cuts:
            cuts[cut.item].append(cut)
        assert set(cuts) == set(range(len(pieces)))
        for number, piece in enumerate(pieces):
            parts = sorted(cuts[number], key=lambda cut: cut.start_mm)
            assert sum(part.length_mm for part in parts) == math.ceil(piece.length_mm - 1e-3)
            if len(parts) > 1:
                assert piece.joinable
                assert all(part.length_mm >= LEAST_PIECE_MM for part in parts)


@pytest.mark.parametrize("seed", SEEDS)
def test_count_is_never_below_its_bound(seed: int) -> None:
    _, _, plans = planned(seed)
    for plan in plans:
        area = sum(cut.width_mm * cut.length_mm for cut in plan.packing.cuts) / 1e6
        roll_m2 = roll_by_code(INVENTED_CATALOGUE, plan.roll).area_m2
        assert math.ceil(area / roll_m2 - 1e-6) <= plan.lower_bound <= plan.rolls
        assert plan.proved_optimal == (plan.lower_bound == plan.rolls)


def terrace() -> Loft:
    outline = ((0, 0), (8000, 0), (8000, 6000), (0, 6000))
    area = LoftArea("Main", outline, 400, 100, 50, 90, eaves_edges=(0, 2))
    return Loft((area,), (HATCH,))


def test_laying_order_is_eaves_first_then_towards_the_hatch() -> None:
    loft = terrace()
    choice = choose_layers(loft, Target(depth_mm=270), INVENTED_CATALOGUE)
    plans = cutting_plans(loft, choice.layers, INVENTED_CATALOGUE, 0)
    parts = in_laying_order(loft, [part for plan in plans for part in plan.parts])
    strips = strips_of(parts, roll_numbers(parts))
    assert [strip.number for strip in strips] == list(range(1, len(strips) + 1))
    first = [strip for strip in strips if strip.layer == 1]
    assert strips[: len(first)] == tuple(first)
    zones = [strip.zone for strip in first]
    assert zones == sorted(zones)
    middles = [strip for strip in first if strip.zone == "middle"]
    away = [abs(sum(x for x, _ in s.outline_mm) / len(s.outline_mm) - 7300) for s in middles]
    assert away == sorted(away, reverse=True)


def test_rolls_are_numbered_as_they_are_opened() -> None:
    loft = terrace()
    choice = choose_layers(loft, Target(depth_mm=270), INVENTED_CATALOGUE)
    plans = cutting_plans(loft, choice.layers, INVENTED_CATALOGUE, 0)
    parts = in_laying_order(loft, [part for plan in plans for part in plan.parts])
    for plan in plans:
        numbers = [
            s.from_roll for s in strips_of(parts, roll_numbers(parts)) if s.roll == plan.roll
        ]
        firsts = list(dict.fromkeys(numbers))
        assert firsts == list(range(1, plan.rolls + 1))


def test_nothing_lies_beneath_the_tank_nor_over_the_hatch() -> None:
    for seed in SEEDS:
        loft, _, plans = planned(seed)
        parts = in_laying_order(loft, [part for plan in plans for part in plan.parts])
        for obstacle in loft.obstacles:
            if obstacle.kind is ObstacleKind.DECK:
                continue
            for strip in strips_of(parts, roll_numbers(parts)):
                assert Polygon(strip.outline_mm).intersection(obstacle.polygon()).area < 200


@pytest.mark.parametrize("seed", SEEDS)
def test_cut_list_says_where_on_which_roll(seed: int) -> None:
    loft, _, plans = planned(seed)
    parts = in_laying_order(loft, [part for plan in plans for part in plan.parts])
    by_roll: dict[tuple[str, int], list[Polygon]] = defaultdict(list)
    for strip in strips_of(parts, roll_numbers(parts)):
        x, y = strip.roll_x_mm, strip.roll_y_mm
        cut = box(x, y, x + strip.width_mm, y + strip.length_mm)
        assert not any(
            cut.intersection(o).area > 1000 for o in by_roll[strip.roll, strip.from_roll]
        )
        by_roll[strip.roll, strip.from_roll].append(cut)
        extent = Polygon(strip.outline_mm).area
        # Lengths and corners are told to 0.1 mm.
        assert extent <= (strip.length_mm + 0.2) * (strip.width_mm + 0.2)
