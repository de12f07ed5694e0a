"""Findings on air and damp."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import pytest

from calculations.loft import (
    Fixture,
    FixtureKind,
    Hazard,
    HazardKind,
    Loft,
    LoftArea,
    Obstacle,
    ObstacleKind,
    Roof,
)
from calculations.moisture import MoistureNote, check_moisture
from calculations.surface_humidity import ceiling_factor, critical_month, hatch_factor


@dataclass(frozen=True)
class Laid:
    area: str
    thickness_mm: float
    kind: Literal["between_joists", "across_joists"]
    covers: Literal["full", "eaves", "middle"] = "full"


AREA = LoftArea(
    name="main",
    outline_mm=((0, 0), (6000, 0), (6000, 5000), (0, 5000)),
    joist_spacing_mm=600,
    joist_depth_mm=100,
    joist_width_mm=48,
    joist_direction_deg=90,
    eaves_edges=(0, 2),
)
HATCH = Obstacle(
    "hatch", ObstacleKind.HATCH, ((3000, 2000), (3600, 2000), (3600, 2600), (3000, 2600))
)
LOFT = Loft(areas=(AREA,), obstacles=(HATCH,), roof=Roof(rafter_depth_mm=150, eaves_opening_mm=10))
FIRST = Laid("main", 100, "between_joists")
THICK = Laid("main", 170, "across_joists")


def find(notes: tuple[MoistureNote, ...], where: str, words: str) -> MoistureNote:
    (note,) = [n for n in notes if n.where == where and words in n.text]
    return note


def test_layers_step_back_from_the_eaves_and_say_how_far() -> None:
    notes = check_moisture(LOFT, (FIRST, THICK))
    note = find(notes, "main: eaves", "air under the roof")
    assert note.severity == "note"
    assert "begin 0 mm, 211 mm from the wall plate" in note.text
    assert "eaves tray" in note.text


def test_layers_that_fit_to_the_plate_leave_the_air_path_open() -> None:
    note = find(check_moisture(LOFT, (FIRST,)), "main: eaves", "right to the wall plate")
    assert note.severity == "note"


def test_old_wool_that_blocks_the_eaves_is_warned_of() -> None:
    stuffed = replace(LOFT, areas=(replace(AREA, existing_depth_mm=200),))
    note = find(check_moisture(stuffed, ()), "main: eaves", "there already")
    assert note.severity == "warning"
    assert "200 mm of wool" in note.text


def test_a_bare_strip_under_a_low_roof_is_cold() -> None:
    low = replace(LOFT, roof=replace(LOFT.roof, rafter_depth_mm=75))
    note = find(check_moisture(low, (FIRST, THICK)), "main: eaves", "Temperature factor")
    assert note.severity == "warning"
    assert "A strip of 28 mm lies bare" in note.text
    assert "mould along the wall is likely" in note.text
    thin = replace(low, areas=(replace(AREA, existing_depth_mm=25),))
    note = find(check_moisture(thin, (FIRST,)), "main: eaves", "Temperature factor")
    assert "Only 25 mm of wool lies there" in note.text
    warm = find(check_moisture(LOFT, (FIRST, THICK)), "main: eaves", "Temperature factor")
    assert warm.severity == "note"


def test_a_pressed_end_at_the_plate_is_told_with_its_tray() -> None:
    """100 mm rafters at 35 degrees leave 50 / cos 35 = 61 mm at the plate, 100 mm 56 mm on."""
    low = replace(LOFT, roof=replace(LOFT.roof, rafter_depth_mm=100))
    notes = check_moisture(low, (FIRST, THICK))
    pressed = find(notes, "main: eaves", "runs on to the wall plate").text
    assert "presses the last 56 mm of the 100 mm wool down to 61 mm" in pressed
    assert "other layers begin 298 mm" in find(notes, "main: eaves", "air under the roof").text
    assert find(notes, "main: eaves", "Temperature factor").severity == "note"


def test_where_the_roof_has_no_room_for_more_at_the_plate_that_is_said() -> None:
    shallow = replace(LOFT, roof=replace(LOFT.roof, pitch_deg=22.5, rafter_depth_mm=100))
    note = find(check_moisture(shallow, (FIRST,)), "main: eaves", "Temperature factor")
    assert note.severity == "warning"
    assert "Only 54 mm of wool lies there, and mould along the wall is to be feared" in note.text
    assert "there is no room for more" in note.text


def test_an_area_away_from_the_eaves_has_no_say_on_them() -> None:
    inner = replace(LOFT, areas=(replace(AREA, eaves_edges=()),))
    assert not [n for n in check_moisture(inner, (FIRST,)) if n.where == "main: eaves"]


@pytest.mark.parametrize(("opening_mm", "severity"), [(10, "note"), (9.9, "warning")])
def test_the_opening_at_the_eaves_is_judged(opening_mm: float, severity: str) -> None:
    roof = replace(LOFT.roof, eaves_opening_mm=opening_mm)
    notes = check_moisture(replace(LOFT, roof=roof), (FIRST,))
    assert find(notes, "eaves", "continuous").severity == severity


def test_a_steep_roof_without_ridge_opening_is_warned_of() -> None:
    notes = check_moisture(replace(LOFT, roof=replace(LOFT.roof, pitch_deg=40)), (FIRST,))
    assert find(notes, "ridge", "open up 5 mm more").severity == "warning"


def test_a_bare_hatch_is_warned_of_and_an_insulated_one_is_not() -> None:
    assert find(check_moisture(LOFT, ()), "hatch", "bare").severity == "warning"
    assert find(check_moisture(LOFT, (FIRST,)), "hatch", "with 100 mm").severity == "note"
    bare = check_moisture(LOFT, (FIRST,), hatch_insulation_mm=0)
    assert find(bare, "hatch", "bare").severity == "warning"


def test_fans_and_wet_timber_are_warned_of_and_warnings_come_first() -> None:
    loft = replace(
        LOFT,
        fixtures=(Fixture("bathroom fan", FixtureKind.FAN, 100, 100),),
        hazards=(Hazard(HazardKind.WET_TIMBER),),
    )
    notes = check_moisture(loft, (FIRST,))
    assert find(notes, "bathroom fan", "outdoors").severity == "warning"
    assert find(notes, "roof", "Wet timber").severity == "warning"
    severities = [note.severity for note in notes]
    assert severities == sorted(severities, reverse=True)


def test_every_finding_names_its_ground() -> None:
    assert all(note.source and note.text for note in check_moisture(LOFT, (FIRST, THICK)))


def test_more_wool_makes_a_warmer_ceiling() -> None:
    from calculations.heat import LaidWool

    factors = [
        ceiling_factor((LaidWool(depth, 0.044, "across_joists"),), 100)
        for depth in (10, 50, 100, 270)
    ]
    assert factors == sorted(factors)
    assert hatch_factor(0) < hatch_factor(50) < hatch_factor(100)


def test_a_damper_household_asks_for_a_warmer_surface() -> None:
    from calculations.climate import climate_region

    region = climate_region("uk_average")
    needed = [critical_month(region, humidity_class=c).factor for c in (1, 2, 3, 4, 5)]
    assert needed == sorted(needed)
