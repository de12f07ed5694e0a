"""Drawings stand by themselves, say everything without colour, and show what is there."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import lru_cache
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import Point

from calculations.catalogue import INVENTED_CATALOGUE
from calculations.depths import DepthRequirement, Reading, where_to_measure
from calculations.drawing import (
    PhotoPoint,
    draw_evidence,
    draw_layer,
    draw_loft,
    photo_points,
)
from calculations.drawing.layer_drawing import DIGIT_WIDTH, fit_number
from calculations.loft import Loft, LoftArea, LoftError, loft_from_dict
from calculations.quantities import Quantities, Target, quantify
from tests.calculations.sample_lofts import BY_SHAPE, ELL, RECTANGLE

SVG = "{http://www.w3.org/2000/svg}"


@lru_cache
def quantities_of(shape: str) -> Quantities:
    return quantify(BY_SHAPE[shape], Target(depth_mm=270), seconds=0)


def drawings(loft: Loft) -> dict[str, str]:
    points = where_to_measure(loft, (), DepthRequirement(270))
    readings = [Reading(p.area, p.x_mm, p.y_mm, 262 + i % 20) for i, p in enumerate(points)]
    shape = next(name for name, known in BY_SHAPE.items() if known is loft)
    quantities = quantities_of(shape)
    layers = {
        f"layer {number}": draw_layer(loft, quantities, number)
        for number in {layer.number for layer in quantities.layers}
    }
    return {
        **layers,
        "loft": draw_loft(loft),
        "evidence": draw_evidence(loft, readings, photo_points(loft), 270),
        "nothing yet": draw_evidence(loft),
    }


def words(svg: str) -> list[str]:
    return [t.text or "" for t in ElementTree.fromstring(svg).iter(f"{SVG}text")]


@pytest.mark.parametrize("shape", sorted(BY_SHAPE))
def test_each_drawing_stands_by_itself(shape: str) -> None:
    for name, svg in drawings(BY_SHAPE[shape]).items():
        root = ElementTree.fromstring(svg)
        assert root.tag == f"{SVG}svg", name
        assert root.get("viewBox", "").startswith("0 0 360 "), name
        told = {root[0].get("id"), root[1].get("id")}
        assert [root[0].tag, root[1].tag] == [f"{SVG}title", f"{SVG}desc"], name
        assert root[0].text and root[1].text, name
        assert set(root.get("aria-labelledby", "").split()) == told, name
        tags = {element.tag.removeprefix(SVG) for element in root.iter()}
        assert not tags & {"script", "style", "image", "use", "foreignObject", "a"}, name
        assert "http" not in svg.replace('xmlns="http://www.w3.org/2000/svg"', ""), name
        assert "style=" not in svg and "href" not in svg, name
        assert not re.search(r"\bon[a-z]+=", svg), name


@pytest.mark.parametrize("shape", sorted(BY_SHAPE))
def test_only_greys_are_used_so_that_print_loses_nothing(shape: str) -> None:
    for svg in drawings(BY_SHAPE[shape]).values():
        for colour in set(re.findall(r"#[0-9a-f]{6}", svg)):
            assert colour[1:3] == colour[3:5] == colour[5:7]


def test_every_fill_pattern_is_in_the_drawing_and_two_drawings_share_none() -> None:
    ids: list[set[str]] = []
    for svg in (draw_loft(RECTANGLE), draw_evidence(RECTANGLE), draw_loft(ELL)):
        used = set(re.findall(r"url\(#([^)]+)\)", svg))
        made = set(re.findall(r'id="([^"]+)"', svg))
        assert used <= made
        ids.append(made)
    assert not (ids[0] & ids[1] or ids[0] & ids[2] or ids[1] & ids[2])


def test_words_stay_on_the_sheet() -> None:
    for loft in BY_SHAPE.values():
        for svg in drawings(loft).values():
            root = ElementTree.fromstring(svg)
            height = float(root.get("viewBox", "").split()[3])
            for text in root.iter(f"{SVG}text"):
                assert 0 <= float(text.get("x", "")) <= 360
                assert 0 <= float(text.get("y", "")) <= height


def test_the_survey_names_everything_in_the_loft() -> None:
    found = " ".join(words(draw_loft(RECTANGLE)))
    for item in (*RECTANGLE.obstacles, *RECTANGLE.fixtures, *RECTANGLE.areas):
        assert item.name in found
    assert "8.00 m" in found and "5.00 m" in found
    assert "Damaged wiring: electrician first (bare ends by the chimney)" in found


def test_an_l_shape_tells_the_lengths_that_the_overall_sizes_do_not() -> None:
    found = words(draw_loft(ELL))
    assert {"9.00 m", "10.50 m", "4.50 m", "4.20 m", "6.00 m"} <= set(found)


def test_readings_carry_their_depth_and_a_mark_of_their_own() -> None:
    readings = [
        Reading("Main", 1500, 1000, 281),
        Reading("Main", 2500, 1000, 254),
        Reading("Main", 4000, 200, 110, "eaves"),
    ]
    svg = draw_evidence(RECTANGLE, readings, (), 270)
    assert {"281", "254", "110"} <= set(words(svg))
    plan, key = svg.split('class="eb-key"')
    assert plan.count("eb-enough") == plan.count("eb-below") == plan.count("eb-apart") == 1
    assert {"270 mm or more", "Below 270 mm", "Eaves, tank or deck"} <= set(words(svg))
    assert key.count("eb-below") == 1


def test_places_still_to_measure_are_marked() -> None:
    wanted = where_to_measure(RECTANGLE, (), DepthRequirement(270))
    svg = draw_evidence(RECTANGLE, (), (), 270, wanted=wanted)
    plan = svg.split('class="eb-key"')[0]
    assert plan.count('<circle class="eb-wanted"') == len(wanted) == 7
    assert "7 places still to measure, 270 mm asked" in words(svg)
    assert "Measure here" in words(svg)


def test_names_from_outside_cannot_break_the_drawing() -> None:
    point = PhotoPoint("P1", 1000, 1000, "both", '<script>alert("x")</script> & more')
    svg = draw_evidence(RECTANGLE, (), (point,))
    assert "<script" not in svg
    assert '<script>alert("x")</script> & more' in " ".join(words(svg))


@pytest.mark.parametrize("shape", sorted(BY_SHAPE))
def test_photo_points_lie_in_the_loft_and_are_the_same_every_time(shape: str) -> None:
    loft = BY_SHAPE[shape]
    points = photo_points(loft)
    assert points == photo_points(loft)
    assert [p.label for p in points] == [f"P{i}" for i in range(1, len(points) + 1)]
    floors = [area.floor().buffer(1) for area in loft.areas]
    for point in points:
        assert any(floor.covers(Point(point.x_mm, point.y_mm)) for floor in floors), point


def test_what_can_go_wrong_unseen_is_photographed() -> None:
    said = " ".join(p.why for p in photo_points(RECTANGLE))
    for item in (*RECTANGLE.obstacles, *RECTANGLE.fixtures):
        assert item.name in said
    assert said.count("air path open") == 2
    assert {p.moment for p in photo_points(RECTANGLE)} == {"both", "after"}


@pytest.mark.parametrize("shape", sorted(BY_SHAPE))
def test_every_strip_of_a_layer_is_drawn_once_with_its_number(shape: str) -> None:
    quantities = quantities_of(shape)
    for number in {layer.number for layer in quantities.layers}:
        svg = draw_layer(BY_SHAPE[shape], quantities, number)
        strips = [s for s in quantities.strips if s.layer == number]
        found = [
            text.text
            for text in ElementTree.fromstring(svg).iter(f"{SVG}text")
            if text.get("class") == "eb-number"
        ]
        assert sorted(map(int, found)) == [s.number for s in sorted(strips, key=lambda s: s.number)]
        plan = svg.split('class="eb-key"')[0]
        assert len(re.findall(r'class="eb-strip eb-', plan)) == len(strips)


def test_a_layer_says_where_to_begin_and_what_is_laid() -> None:
    svg = draw_layer(RECTANGLE, quantities_of("rectangle"), 1)
    assert svg.split('class="eb-key"')[0].count("eb-begin") == 1
    assert "Begin here" in words(svg)
    assert any(line.startswith("Main: ") and "between joists" in line for line in words(svg))


def test_an_area_without_that_layer_says_so() -> None:
    svg = draw_layer(ELL, quantities_of("ell"), 2)
    assert "Rear wing: nothing in this layer" in words(svg)


def test_a_layer_that_is_not_there_is_refused() -> None:
    with pytest.raises(LoftError, match="layer_number: is 9. Ask for one of: 1, 2."):
        draw_layer(RECTANGLE, quantities_of("rectangle"), 9)


@given(st.text("0123456789", min_size=1, max_size=3), st.floats(3, 90), st.floats(3, 90))
def test_a_number_that_is_shown_fits_its_strip(digits: str, width: float, height: float) -> None:
    size, turn = fit_number(digits, width, height)
    long = len(digits) * DIGIT_WIDTH * size
    across, upright = (0.8 * size, long) if turn else (long, 0.8 * size)
    assert across <= width and upright <= height


def test_sides_are_numbered_for_whoever_names_the_eaves() -> None:
    loft = loft_from_dict(
        {
            "areas": [
                {
                    "name": "Main loft",
                    "outline_mm": [[0, 0], [8000, 0], [8000, 6000], [0, 6000]],
                    "joist_spacing_mm": 400,
                    "joist_depth_mm": 100,
                    "joist_width_mm": 47,
                    "joist_direction_deg": 90,
                }
            ]
        }
    )

    numbered = draw_loft(loft, number_sides=True)

    assert numbered.count('class="eb-side"') == 4
    assert 'class="eb-side"' not in draw_loft(loft)


def test_three_types_of_roll_in_a_layer_are_told_apart() -> None:
    low = LoftArea("Low", ((0, 0), (4000, 0), (4000, 3000), (0, 3000)), 400, 100, 50, 90)
    loft = Loft((low,))
    found = quantify(loft, Target(depth_mm=270), seconds=0)
    rolls = [roll.code for roll in INVENTED_CATALOGUE[:3]]
    strips = tuple(
        replace(strip, roll=rolls[i % 3])
        for i, strip in enumerate(found.strips)
        if strip.layer == 1
    )
    layers = tuple(replace(found.layers[0], roll=code) for code in rolls)
    drawing = draw_layer(loft, replace(found, strips=strips, layers=layers), 1)
    grounds = set(re.findall(r'class="eb-strip eb-middle"[^>]*fill="([^"]+)"', drawing))
    assert len(grounds) == 3


def test_what_to_mind_at_the_eaves_is_told_with_the_numbers_of_its_strips() -> None:
    found = quantities_of("rectangle")
    notched = [s.number for s in found.strips if s.layer == 2 and s.note]
    assert notched
    drawing = draw_layer(BY_SHAPE["rectangle"], found, 2)
    assert f"Notch round the rafters at the eaves: strips {notched[0]}" in drawing
