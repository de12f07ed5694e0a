"""A loft is refused with the place named, or kept exactly."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import pytest

from calculations.loft import (
    Fixture,
    FixtureKind,
    Hazard,
    HazardKind,
    Loft,
    LoftArea,
    LoftError,
    Obstacle,
    ObstacleKind,
    Roof,
    loft_area_m2,
    loft_from_dict,
    net_polygon,
)

SQUARE = ((0, 0), (8000, 0), (8000, 6000), (0, 6000))
HATCH = ((3000, 3000), (3600, 3000), (3600, 3600), (3000, 3600))


def area(**changes: object) -> LoftArea:
    values: dict[str, object] = {
        "name": "Main",
        "outline_mm": SQUARE,
        "joist_spacing_mm": 400,
        "joist_depth_mm": 100,
        "joist_width_mm": 50,
        "joist_direction_deg": 90,
    }
    return LoftArea(**(values | changes))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("changes", "path", "says"),
    [
        ({"outline_mm": SQUARE[:2]}, "outline_mm", "fewer than three"),
        (
            {"outline_mm": ((0, 0), (8000, 6000), (8000, 0), (0, 6000))},
            "outline_mm",
            "near (4000, 3000)",
        ),
        (
            {"outline_mm": ((0, 0), (0, 0), (8000, 0), (8000, 6000))},
            "outline_mm[1]",
            "repeats",
        ),
        ({"outline_mm": ((0, 0), (8, 0), (8, 6), (0, 6))}, "outline_mm", "6 m is 6000"),
        ({"outline_mm": ((0, 0), (math.nan, 0), (8000, 6000))}, "outline_mm[1]", "finite"),
        ({"outline_mm": ((0, 0), ("8", 0), (8000, 6000))}, "outline_mm[1]", "not a number"),
        ({"outline_mm": ((0, 0), (9e7, 0), (8000, 6000))}, "outline_mm[1]", "outside"),
        ({"holes_mm": (((7000, 1000), (9000, 1000), (9000, 2000)),)}, "holes_mm[0]", "outside"),
        ({"joist_spacing_mm": 40}, "joist_spacing_mm", "outside 150 to 1500"),
        ({"joist_width_mm": 300, "joist_spacing_mm": 300}, "joist_width_mm", "leave no bay"),
        ({"joist_direction_deg": 180}, "joist_direction_deg", "180 is the same as 0"),
        ({"existing_depth_mm": -5}, "existing_depth_mm", "outside"),
        ({"eaves_edges": (4,)}, "eaves_edges[0]", "numbered 0 to 3"),
        ({"eaves_edges": (1, 1)}, "eaves_edges", "twice"),
        ({"name": " "}, "name", "empty"),
    ],
)
def test_area_that_cannot_be_names_the_place(
    changes: dict[str, object], path: str, says: str
) -> None:
    with pytest.raises(LoftError) as caught:
        area(**changes)
    assert caught.value.path == path
    assert says in str(caught.value)
    assert caught.value.remedy


def test_areas_that_overlap_are_refused_with_the_place() -> None:
    other = area(name="Rear", outline_mm=((7000, 0), (9000, 0), (9000, 6000), (7000, 6000)))
    with pytest.raises(LoftError, match=r"areas\[1\].outline_mm: overlaps areas\[0\] \(Main\)"):
        Loft((area(), other))


def test_areas_that_share_an_edge_are_fine() -> None:
    other = area(name="Rear", outline_mm=((8000, 0), (9000, 0), (9000, 6000), (8000, 6000)))
    assert loft_area_m2(Loft((area(), other))) == pytest.approx(54.0)


@pytest.mark.parametrize(
    ("changes", "path"),
    [
        ({"areas": ()}, "areas"),
        (
            {
                "obstacles": (
                    Obstacle("Tank", ObstacleKind.TANK, ((9e3, 0), (9.9e3, 0), (9e3, 900))),
                )
            },
            "obstacles[0].outline_mm",
        ),
        ({"fixtures": (Fixture("Light", FixtureKind.DOWNLIGHT, -900, 100),)}, "fixtures[0].x_mm"),
    ],
)
def test_things_outside_the_loft_are_refused(changes: dict[str, object], path: str) -> None:
    with pytest.raises(LoftError) as caught:
        replace(Loft((area(),)), **changes)  # type: ignore[arg-type]
    assert caught.value.path == path


def full_loft() -> Loft:
    return Loft(
        areas=(area(eaves_edges=(0, 2), holes_mm=(((100, 100), (900, 100), (900, 900)),)),),
        obstacles=(
            Obstacle("Hatch", ObstacleKind.HATCH, HATCH),
            Obstacle("Deck", ObstacleKind.DECK, ((5000, 1000), (7000, 1000), (7000, 2000)), 320.0),
        ),
        fixtures=(Fixture("Shower cable", FixtureKind.CABLE, 0, 0, 4000, 0, 9500, 10, True),),
        hazards=(Hazard(HazardKind.WET_TIMBER, "by the chimney"),),
        roof=Roof(pitch_deg=40),
    )


def test_a_loft_survives_json() -> None:
    loft = full_loft()
    assert loft_from_dict(json.loads(json.dumps(loft.to_dict()))) == loft


@pytest.mark.parametrize(
    ("spoil", "path"),
    [
        (lambda d: d["areas"][0].update(outline_mm=[[0, 0], [1, 1]]), "areas[0].outline_mm"),
        (lambda d: d["areas"][0].pop("joist_spacing_mm"), "areas[0].joist_spacing_mm"),
        (lambda d: d["areas"][0].update(colour="red"), "areas[0].colour"),
        (lambda d: d["areas"][0].update(existing_condition="wet"), "areas[0].existing_condition"),
        (lambda d: d["obstacles"][1].update(kind="sofa"), "obstacles[1].kind"),
        (lambda d: d["roof"].update(pitch_deg=95), "roof.pitch_deg"),
        (lambda d: d.update(areas={}), "areas"),
        (lambda d: d["fixtures"][0].update(to_y_mm=None), "fixtures[0].to_y_mm"),
        (lambda d: d["hazards"][0].update(note=3), "hazards[0].note"),
        (lambda d: d.update(areas=["Main"]), "areas[0]"),
    ],
)
def test_bad_json_is_refused_with_its_path(spoil: object, path: str) -> None:
    data = json.loads(json.dumps(full_loft().to_dict()))
    spoil(data)  # type: ignore[operator]
    with pytest.raises(LoftError) as caught:
        loft_from_dict(data)
    assert caught.value.path == path


def test_net_polygon_leaves_hatch_out_and_runs_on_beneath_a_deck() -> None:
    loft = full_loft()
    floor_mm2 = 48e6 - 0.5 * 800 * 800
    assert loft_area_m2(loft) == pytest.approx(floor_mm2 / 1e6)
    assert net_polygon(loft, loft.areas[0]).area == pytest.approx(floor_mm2 - 600 * 600)
