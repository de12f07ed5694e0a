"""Limits of the combined method, and the small functions beside it."""

from __future__ import annotations

import json

import pytest

from calculations.checks import InputError
from calculations.heat import u_value_at_joists
from calculations.resistance import (
    Stratum,
    air_void_correction,
    combined_method,
    compressed_resistance,
    fastener_correction,
)

WOOL = Stratum("wool", 100, 0.044, 0.13)


def test_metal_through_wool_is_sent_to_conduction() -> None:
    steel = (Stratum("board", 50, 0.02), Stratum("wool", 150, 0.03, 50.0))
    with pytest.raises(InputError, match=r"Use calculations\.conduction"):
        combined_method(steel, 0.02)


@pytest.mark.parametrize("fraction", [-0.01, 1.0, float("nan")])
def test_a_fraction_that_cannot_be_is_refused(fraction: float) -> None:
    with pytest.raises(InputError) as error:
        combined_method((WOOL,), fraction)
    assert error.value.field == "bridge_fraction"


def test_without_a_bridge_both_limits_are_the_same() -> None:
    result = combined_method((Stratum("wool", 270, 0.044),), 0.0)
    assert result.upper_resistance == pytest.approx(result.lower_resistance, rel=1e-12)


def test_the_steps_lead_to_the_u_value_and_can_be_stored() -> None:
    result = u_value_at_joists(
        joist_width_mm=48,
        joist_spacing_mm=600,
        joist_depth_mm=100,
        between_mm=100,
        across_mm=170,
        conductivity_between_w_mk=0.044,
        conductivity_across_w_mk=0.044,
    )
    steps = {step.label: step.value for step in result.steps}
    assert steps["upper limit"] == pytest.approx(6.3552, abs=5e-5)
    assert steps["lower limit"] == pytest.approx(6.1864, abs=5e-5)
    assert steps["U-value"] == result.u_value_w_m2k
    assert result.rounded == 0.16
    assert json.loads(json.dumps(result.to_dict()))["steps"][0]["label"] == "ceiling board"


def test_pressed_wool_resists_in_proportion_to_what_is_left_of_it() -> None:
    assert compressed_resistance(170, 85, 0.044) == pytest.approx(0.085 / 0.044)
    assert compressed_resistance(100, 150, 0.044) == pytest.approx(0.100 / 0.044)


def test_a_level_of_voids_that_is_not_in_the_table_is_refused() -> None:
    with pytest.raises(InputError, match="Give 0, 1 or 2"):
        air_void_correction(3, 6.0, 6.3)  # type: ignore[arg-type]


def test_plastic_fasteners_need_no_correction() -> None:
    correction = fastener_correction(
        fasteners_per_m2=5,
        fastener_area_mm2=20,
        fastener_conductivity_w_mk=0.3,
        insulation_mm=100,
        penetration_mm=100,
        insulation_resistance_m2k_w=2.7,
        total_resistance_m2k_w=3.0,
    )
    assert correction == 0.0
