"""Layers: which are chosen, why, and what stays short."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Polygon

from benchmarks.random_lofts import random_loft
from calculations.catalogue import INVENTED_CATALOGUE, RollType
from calculations.headroom import AIR_GAP_MM, END_SHARE, height_mm
from calculations.layers import Layer, choose_layers
from calculations.loft import Condition, Loft, LoftArea, Obstacle, ObstacleKind, Roof
from calculations.quantities import quantify
from calculations.shortfalls import depth_beneath_mm
from calculations.stacks import Target, cut_width
from calculations.strip_notes import NOTCH, TRAY

OUTLINE = ((0, 0), (8000, 0), (8000, 6000), (0, 6000))
W100 = INVENTED_CATALOGUE[0]


def loft_with(
    roof: Roof | None = None, obstacles: tuple[Obstacle, ...] = (), **area: object
) -> Loft:
    values: dict[str, object] = {
        "name": "Main",
        "outline_mm": OUTLINE,
        "joist_spacing_mm": 400,
        "joist_depth_mm": 100,
        "joist_width_mm": 50,
        "joist_direction_deg": 90,
        "eaves_edges": (0, 2),
    }
    return Loft((LoftArea(**(values | area)),), obstacles, roof=roof or Roof())  # type: ignore[arg-type]


def test_first_layer_fills_the_joists_and_the_next_lies_at_right_angles() -> None:
    choice = choose_layers(loft_with(), Target(depth_mm=270), INVENTED_CATALOGUE)
    first, second = choice.layers
    assert (first.kind, first.thickness_mm, first.direction_deg) == ("between_joists", 100, 90)
    assert (second.kind, second.thickness_mm, second.direction_deg) == ("across_joists", 170, 0)
    assert choice.resulting_depth_mm == {"Main": 270}


def test_layers_cross_each_other() -> None:
    choice = choose_layers(loft_with(), Target(depth_mm=450), INVENTED_CATALOGUE)
    directions = [x.direction_deg for x in choice.layers if x.covers != "eaves"]
    assert len(directions) >= 3
    assert all((b - a) % 180 == 90 for a, b in zip(directions, directions[1:], strict=False))


def test_filled_joists_get_layers_across_only() -> None:
    loft = loft_with(existing_depth_mm=100, existing_condition=Condition.LEVEL)
    choice = choose_layers(loft, Target(depth_mm=270), INVENTED_CATALOGUE)
    assert {layer.kind for layer in choice.layers} == {"across_joists"}
    assert choice.layers[0].base_mm == 100
    assert "levelled" in choice.explanation[0]


def test_removed_wool_makes_room_between_the_joists() -> None:
    loft = loft_with(existing_depth_mm=100, existing_condition=Condition.REMOVE)
    choice = choose_layers(loft, Target(depth_mm=270), INVENTED_CATALOGUE)
    assert choice.layers[0].kind == "between_joists"


@pytest.mark.parametrize("objective", ["cost", "rolls"])
def test_cheapest_is_no_dearer_than_any_other_way(objective: str) -> None:
    found = quantify(
        loft_with(),
        Target(depth_mm=270),
        objective=objective,
        seconds=0,  # type: ignore[arg-type]
    )
    for only in (("W100", "W170"), ("W100", "W200"), ("F100", "F200")):
        rolls = tuple(roll for roll in INVENTED_CATALOGUE if roll.code in only)
        other = quantify(
            loft_with(),
            Target(depth_mm=270),
            rolls,
            objective=objective,
            seconds=0,  # type: ignore[arg-type]
        )
        assert total(found, objective) <= total(other, objective)


def total(found: object, objective: str) -> float:
    cost = {roll.code: roll.cost for roll in INVENTED_CATALOGUE}
    return sum(
        line.count * (cost[line.roll] if objective == "cost" else 1)
        for line in found.rolls  # type: ignore[attr-defined]
    )


def test_target_out_of_reach_is_told_by_how_much() -> None:
    choice = choose_layers(loft_with(), Target(depth_mm=600), (W100,))
    assert choice.resulting_depth_mm["Main"] == 400
    assert any("200 mm short of 600 mm" in line for line in choice.unreached)
    choice = choose_layers(loft_with(), Target(u_value_w_m2k=0.05), (W100,))
    assert any("short of 0.05 W/m2K" in line for line in choice.unreached)


def test_a_low_roof_starts_thin_and_says_where_it_stays_short() -> None:
    choice = choose_layers(
        loft_with(Roof(pitch_deg=22.5)), Target(depth_mm=270), INVENTED_CATALOGUE
    )
    starter = next(layer for layer in choice.layers if layer.covers == "eaves")
    assert starter.roll == "W100" and starter.number == 2
    assert any("wall plate" in line and "short" in line for line in choice.unreached)


def test_the_lowest_layer_runs_on_to_the_plate_pressed_beneath_the_tray() -> None:
    """By hand on a 3-4-5 slope with 100 mm rafters: 62.5 mm of room at the plate, and 100 mm from
    (100 - 62.5) x 4 / 3 = 50 mm on."""
    roof = Roof(pitch_deg=math.degrees(math.atan2(3, 4)), rafter_depth_mm=100)
    loft = loft_with(roof)
    found = quantify(loft, Target(depth_mm=270), seconds=0)
    lowest = [strip for strip in found.strips if strip.layer == 1]
    assert min(y for strip in lowest for _, y in strip.outline_mm) == 0
    assert any(
        "runs on to the wall plate, its last 50 mm pressed from 100 to 62 mm" in line
        for line in found.explanation
    )
    assert {strip.note for strip in lowest if strip.zone == "eaves"} == {TRAY}


def test_under_shallow_rafters_the_lowest_layer_ends_where_half_of_it_has_room() -> None:
    """By hand: 75 mm rafters at 45 degrees leave 25 x 1.414 = 35.4 mm; there are 50 mm 14.6 on."""
    choice = choose_layers(
        loft_with(Roof(pitch_deg=45, rafter_depth_mm=75)), Target(depth_mm=270), INVENTED_CATALOGUE
    )
    assert any("runs on to 15 mm from the wall plate" in line for line in choice.explanation)


def test_strips_across_are_notched_only_where_the_rafters_come_down_to_them() -> None:
    """At 45 degrees a rafter's underside is as high as it is far from the plate."""
    roof = Roof(pitch_deg=45, rafter_depth_mm=150)
    loft = loft_with(roof)
    found = quantify(loft, Target(depth_mm=270), seconds=0)
    tops = {layer.number: layer.top_mm for layer in found.layers if layer.number > 1}
    across = [strip for strip in found.strips if strip.layer > 1]
    depth = max(y for area in loft.areas for _, y in area.outline_mm)
    for strip in across:
        ys = [y for _, y in strip.outline_mm]
        away = min(min(ys), depth - max(ys))
        assert (strip.note == NOTCH) == (away < tops[strip.layer] - 1)
    assert {strip.note for strip in across} == {NOTCH, ""}


def test_a_steep_deep_roof_needs_no_starter() -> None:
    roof = Roof(pitch_deg=45, rafter_depth_mm=200)
    choice = choose_layers(loft_with(roof), Target(depth_mm=270), INVENTED_CATALOGUE)
    assert {layer.covers for layer in choice.layers} == {"full"}


@pytest.mark.parametrize(
    ("underside_mm", "depth_mm", "squeezed"),
    [(None, 100, False), (200, 100, False), (228, 228, True), (270, 270, False)],
)
def test_wool_beneath_a_deck_is_squeezed_to_three_quarters_at_most(
    underside_mm: float | None, depth_mm: float, squeezed: bool
) -> None:
    outline = ((3000, 2000), (5000, 2000), (5000, 4000), (3000, 4000))
    deck = Obstacle("Deck", ObstacleKind.DECK, outline, underside_mm)
    loft = loft_with(obstacles=(deck,))
    choice = choose_layers(loft, Target(depth_mm=270), INVENTED_CATALOGUE)
    depth, layer = depth_beneath_mm(deck, loft.areas[0], choice.layers)
    assert depth == depth_mm
    assert (layer is not None) == squeezed
    told = [line for line in choice.unreached if "beneath Deck" in line]
    assert bool(told) == (depth_mm < 270)
    found = quantify(loft, Target(depth_mm=270), seconds=0)
    over = [
        s
        for s in found.strips
        if s.layer == 2 and Polygon(s.outline_mm).intersects(deck.polygon().buffer(-1))
    ]
    assert bool(over) == (depth_mm > 200)


@given(
    seed=st.integers(0, 10_000),
    depth=st.sampled_from([200, 270, 300, 350, 400]),
)
@settings(max_examples=40, deadline=None)
def test_no_strip_reaches_into_the_air_path(seed: int, depth: float) -> None:
    loft = random_loft(seed)
    found = quantify(loft, Target(depth_mm=depth), seconds=0)
    tops: dict[tuple[str, int, str], float] = {
        (x.area, x.number, x.roll): x.base_mm + (END_SHARE if x.end_pressed else 1) * x.thickness_mm
        for x in found.layers
    }
    gap = AIR_GAP_MM / math.cos(math.radians(loft.roof.pitch_deg))
    for strip in found.strips:
        area = loft.area_named(strip.area)
        for edge in area.eaves_edges:
            away = Polygon(strip.outline_mm).distance(LineString(area.edge_mm(edge)))
            top = tops[strip.area, strip.layer, strip.roll]
            assert top <= height_mm(loft.roof, away) - gap + 0.3


@given(seed=st.integers(0, 10_000), depth=st.integers(150, 450))
@settings(max_examples=40, deadline=None)
def test_depth_reached_is_the_sum_of_what_lies_there(seed: int, depth: float) -> None:
    loft = random_loft(seed)
    choice = choose_layers(loft, Target(depth_mm=depth), INVENTED_CATALOGUE)
    for area in loft.areas:
        laid = sum(
            layer.thickness_mm
            for layer in choice.layers
            if layer.area == area.name and layer.covers != "eaves"
        )
        reached = choice.resulting_depth_mm[area.name]
        assert reached == pytest.approx(area.kept_depth_mm + laid)
        assert reached >= depth or any(area.name in line for line in choice.unreached)
        _assert_stacked(area, [x for x in choice.layers if x.area == area.name])


def _assert_stacked(area: LoftArea, layers: list[Layer]) -> None:
    """Each layer rests on the one below, or on the joists."""
    top = area.kept_depth_mm
    for layer in (x for x in layers if x.covers != "eaves"):
        floor = max(top, area.joist_depth_mm) if layer.kind == "across_joists" else top
        assert layer.base_mm == pytest.approx(floor)
        top = layer.top_mm


@pytest.mark.parametrize(
    ("clear_mm", "width_mm", "sawn"),
    [(350, 380, False), (362, 380, False), (380, 380, False), (550, 570, False), (400, 410, True)],
)
def test_perforated_width_is_used_when_it_matches(
    clear_mm: float, width_mm: float, sawn: bool
) -> None:
    cut = cut_width(W100, clear_mm)
    assert (cut.width_mm, cut.sawn) == (width_mm, sawn)


def test_a_bay_wider_than_the_roll_takes_strips_side_by_side() -> None:
    narrow = replace(W100, code="N", width_mm=370, splits=())
    thick = RollType("T", "Thick", 170, 1140, 5000, 0.044, (2, 3), 27, 0.19)
    loft = loft_with(joist_spacing_mm=600)
    found = quantify(loft, Target(depth_mm=270), (narrow, thick), seconds=0)
    widths = {strip.width_mm for strip in found.strips if strip.layer == 1}
    assert widths and max(widths) <= 370
