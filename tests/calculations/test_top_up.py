"""Wool on top of a short loft: enough of it, in whole rolls, with the hours it takes."""

from __future__ import annotations

import pytest

from calculations.catalogue import INVENTED_CATALOGUE, roll_by_code
from calculations.outlines import LoftError
from calculations.top_up import CUTTING_SHARE, MOST_LAYERS, top_up

W100, W170 = (roll_by_code(INVENTED_CATALOGUE, code) for code in ("W100", "W170"))


def test_one_layer_that_is_thick_enough_covers_the_floor_with_its_cuttings():
    found = top_up(100.0, 40.0, (W100, W170))

    assert found.rolls == {"W100": 5}
    assert 4 * W100.area_m2 < 40.0 * (1 + CUTTING_SHARE) <= 5 * W100.area_m2
    assert found.volume_m3 == pytest.approx(5 * W100.packed_volume_m3)


def test_a_deep_gap_takes_as_many_layers_as_reach_it():
    assert top_up(230.0, 10.0, (W100, W170)).depth_mm >= 230.0
    assert top_up(230.0, 10.0, (W100,)).rolls == {"W100": 4}


def test_a_place_without_a_floor_to_speak_of_takes_one_roll_and_nothing_short_none():
    assert top_up(20.0, 0.0, (W100,)).rolls == {"W100": 1}
    assert top_up(0.0, 0.0, (W100,)).rolls == {}


def test_more_than_any_layers_reach_is_answered_with_the_thickest():
    assert top_up(900.0, 5.0, (W100, W170)).depth_mm == MOST_LAYERS * W170.thickness_mm


def test_more_floor_and_more_depth_never_take_fewer_hours_or_less_wool():
    found = [top_up(100.0, floor, (W100,)) for floor in (0.0, 5.0, 20.0, 80.0)]
    hours, volumes = [f.crew_hours for f in found], [f.volume_m3 for f in found]
    assert hours == sorted(hours) and volumes == sorted(volumes)
    assert top_up(180.0, 20.0, (W100,)).crew_hours > found[2].crew_hours


@pytest.mark.parametrize(
    ("lacking_mm", "floor_m2", "field"), [(-1.0, 1.0, "lacking_mm"), (1.0, -1.0, "floor_m2")]
)
def test_a_number_that_cannot_be_is_refused_by_name(lacking_mm, floor_m2, field):
    with pytest.raises(LoftError, match=field):
        top_up(lacking_mm, floor_m2, INVENTED_CATALOGUE)


def test_an_empty_catalogue_is_refused():
    with pytest.raises(LoftError, match="catalogue"):
        top_up(1.0, 1.0, ())
