"""The heat picture says what the conduction found."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest

from calculations.conduction import JoistBay, check_joist_bay
from calculations.heat_picture import draw_heat_picture

BAY = JoistBay(48, 600, 100, 100, 170, 0.044, 0.044)
SVG = "{http://www.w3.org/2000/svg}"


def words(svg: str) -> list[str]:
    return ["".join(text.itertext()) for text in ElementTree.fromstring(svg).iter(f"{SVG}text")]


def test_it_is_one_svg_that_fetches_and_runs_nothing() -> None:
    root = ElementTree.fromstring(draw_heat_picture(BAY))
    assert root.tag == f"{SVG}svg"
    assert root.get("viewBox")
    assert root.find(f"{SVG}title") is not None
    assert root.find(f"{SVG}desc") is not None
    names = {element.tag.removeprefix(SVG) for element in root.iter()}
    assert not names & {"script", "image", "style", "foreignObject"}


def test_both_u_values_stand_beside_each_other() -> None:
    check = check_joist_bay(BAY)
    said = " ".join(words(draw_heat_picture(BAY)))
    assert f"two dimensions {check.conduction_u_w_m2k:.3f} W/m²K" in said
    assert f"combined method {check.combined_u_w_m2k:.3f} W/m²K" in said


@pytest.mark.parametrize(("inside_c", "outside_c"), [(20, 0), (21, -5), (18, 8)])
@pytest.mark.parametrize("across_mm", [0, 100, 300])
def test_isotherms_lie_between_the_two_airs_and_their_labels_keep_apart(
    inside_c: float, outside_c: float, across_mm: float
) -> None:
    bay = JoistBay(48, 600, 100, 100, across_mm, 0.044, 0.044)
    root = ElementTree.fromstring(draw_heat_picture(bay, inside_c, outside_c))
    (group,) = [g for g in root.iter(f"{SVG}g") if g.get("class") == "eb-isotherms"]
    labels = [
        (float(str(text.text).removesuffix(" °C")), float(text.get("y", "nan")))
        for text in group.iter(f"{SVG}text")
    ]
    assert len(labels) >= 2
    assert all(outside_c < temperature < inside_c for temperature, _ in labels)
    heights = [y for _, y in sorted(labels)]
    assert all(low - high >= 10 - 0.02 for high, low in zip(heights, heights[1:], strict=False))


def test_the_picture_is_the_same_on_both_sides_of_the_joist() -> None:
    root = ElementTree.fromstring(draw_heat_picture(BAY))
    lines = [p.get("d", "") for p in root.iter(f"{SVG}path") if p.get("class") == "eb-isotherm"]
    assert lines
    for line in lines:
        points = [tuple(map(float, pair.split())) for pair in re.split("[ML]", line)[1:]]
        middle = (points[0][0] + points[-1][0]) / 2
        for (x, y), (x_mirrored, y_mirrored) in zip(points, reversed(points), strict=True):
            assert x - middle == pytest.approx(middle - x_mirrored, abs=0.02)
            assert y == pytest.approx(y_mirrored, abs=0.011)
