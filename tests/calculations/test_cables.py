"""What is said of cables under insulation."""

from __future__ import annotations

from dataclasses import replace

import pytest

from calculations.cables import check_cables, surrounded_factor
from calculations.checks import InputError
from calculations.loft import Fixture, FixtureKind, Hazard, HazardKind, Loft, LoftArea

AREA = LoftArea(
    name="main",
    outline_mm=((0, 0), (6000, 0), (6000, 5000), (0, 5000)),
    joist_spacing_mm=600,
    joist_depth_mm=100,
    joist_width_mm=48,
    joist_direction_deg=90,
)
LIGHTS = Fixture("lights", FixtureKind.CABLE, 500, 500, 5000, 500, load_w=400, conductor_mm2=1.0)
SHOWER = Fixture(
    "shower", FixtureKind.CABLE, 500, 900, 5000, 900, load_w=9500, conductor_mm2=6.0, high_load=True
)


def loft(*cables: Fixture) -> Loft:
    return Loft(areas=(AREA,), fixtures=cables)


def test_a_shower_cable_must_lie_on_top() -> None:
    (verdict,) = check_cables(loft(SHOWER), 270)
    assert verdict.load_a == pytest.approx(9500 / 230)
    assert verdict.capacity_a == pytest.approx(23.5)  # 47 A x 0.50
    assert verdict.verdict == "lay_on_top"
    assert "over the 23.5 A" in verdict.text


def test_a_cable_overloaded_in_the_open_goes_to_an_electrician() -> None:
    (verdict,) = check_cables(loft(replace(SHOWER, conductor_mm2=4.0)), 270)
    assert verdict.verdict == "refer_to_electrician"


def test_a_light_load_is_still_laid_on_top_and_never_called_safe() -> None:
    (verdict,) = check_cables(loft(LIGHTS), 270)
    assert verdict.verdict == "lay_on_top"
    assert "safe" not in verdict.text.lower()
    assert "protective device" in verdict.text


@pytest.mark.parametrize(
    "cable",
    [
        replace(LIGHTS, conductor_mm2=None),
        replace(LIGHTS, load_w=None),
        replace(LIGHTS, conductor_mm2=16.0),
    ],
    ids=["size unknown", "load unknown", "size beyond the table"],
)
def test_what_is_not_known_goes_to_an_electrician(cable: Fixture) -> None:
    (verdict,) = check_cables(loft(cable), 270)
    assert verdict.verdict == "refer_to_electrician"


def test_damaged_wiring_sends_every_cable_to_an_electrician() -> None:
    damaged = replace(loft(LIGHTS, SHOWER), hazards=(Hazard(HazardKind.DAMAGED_WIRING),))
    assert {v.verdict for v in check_cables(damaged, 0)} == {"refer_to_electrician"}


def test_a_cable_above_the_full_depth_stays_there() -> None:
    (verdict,) = check_cables(loft(LIGHTS), 0)
    assert verdict.verdict == "above_full_depth"
    assert verdict.derating == 1.0


def test_a_run_of_unknown_length_counts_as_long() -> None:
    (verdict,) = check_cables(loft(replace(LIGHTS, to_x_mm=None, to_y_mm=None)), 270)
    assert verdict.derating == 0.50


def test_other_fixtures_are_left_alone() -> None:
    assert check_cables(loft(Fixture("lamp", FixtureKind.DOWNLIGHT, 100, 100)), 270) == ()


def test_a_negative_depth_is_refused() -> None:
    with pytest.raises(InputError, match="depth_over_mm"):
        check_cables(loft(LIGHTS), -1)


def test_more_length_enclosed_never_carries_more() -> None:
    factors = [surrounded_factor(length) for length in range(0, 700, 10)]
    assert factors == sorted(factors, reverse=True)
