"""Openings of cold roofs, and the surface-humidity factor."""

from __future__ import annotations

import psychrolib
import pytest

from calculations.climate import climate_region
from calculations.heat import LaidWool
from calculations.loft import Roof, RoofForm
from calculations.moisture import required_openings
from calculations.surface_humidity import (
    ceiling_factor,
    critical_month,
    moisture_excess_pa,
    temperature_factor,
)


@pytest.mark.parametrize(
    ("roof", "eaves_mm", "high_level_mm"),
    [
        (Roof(pitch_deg=35), 10, 0),
        (Roof(pitch_deg=15), 25, 0),
        (Roof(pitch_deg=15.1), 10, 0),
        (Roof(pitch_deg=35.1), 10, 5),
        (Roof(pitch_deg=30, span_m=10), 10, 0),
        (Roof(pitch_deg=30, span_m=10.1), 10, 5),
        (Roof(pitch_deg=12, form=RoofForm.LEAN_TO), 25, 5),
        (Roof(pitch_deg=30, form=RoofForm.HIPPED), 10, 0),
    ],
)
def test_openings_of_bs_5250(roof: Roof, eaves_mm: float, high_level_mm: float) -> None:
    """BS 5250, cold pitched roofs, as roof makers' pages report it.

    25 mm at the eaves to 15 degrees, 10 mm above; 5 mm at high level over 35 degrees, over
    10 m of span, and for lean-to roofs.
    """
    needed = required_openings(roof)
    assert (needed.eaves_mm, needed.high_level_mm) == (eaves_mm, high_level_mm)
    assert needed.eaves_mm2_per_m == 1000 * eaves_mm


def test_temperature_factor_of_iso_13788() -> None:
    """ISO 13788:2012 equation 3: (17 - 0) / (20 - 0) = 0.85."""
    assert temperature_factor(17, 20, 0) == pytest.approx(0.85)


def test_humidity_classes_of_iso_13788() -> None:
    """ISO 13788:2012 annex A (from memory): 810 Pa at 0 deg C in class 3, none at 20 deg C."""
    assert moisture_excess_pa(-5, 3) == 810
    assert moisture_excess_pa(0, 3) == 810
    assert moisture_excess_pa(10, 3) == pytest.approx(405)
    assert moisture_excess_pa(20, 3) == 0


def test_critical_month_against_psychrolib() -> None:
    """ISO 13788:2012, 5.3, on SAP table U1, every month worked with psychrolib.

    Outdoors at 85 %, excess 810 x (1 - outdoors / 20) x 1.10, 80 % at the surface. The factor
    may differ by 0.005 for the two formulas of saturation pressure.
    """
    psychrolib.SetUnitSystem(psychrolib.SI)
    region = climate_region("uk_average")
    factors = {}
    for number, outside_c in enumerate(region.monthly_mean_c, start=1):
        indoor_pa = psychrolib.GetVapPresFromRelHum(outside_c, 0.85)
        indoor_pa += 1.10 * 810 * (1 - outside_c / 20)
        surface_c = psychrolib.GetTDewPointFromVapPres(20, indoor_pa / 0.8)
        factors[number] = (surface_c - outside_c) / (20 - outside_c)
    found = critical_month(region)
    assert found.month == max(factors, key=lambda number: factors[number])
    assert found.factor == pytest.approx(factors[found.month], abs=0.005)


def test_bare_and_insulated_ceilings_against_the_limit_for_dwellings() -> None:
    """BRE IP 1/06: 0.75 in dwellings. A bare ceiling fails it, 100 mm between joists passes.

    ISO 13788 with 0.25 m2K/W inside, one-dimensional by hand. Bare: 1 - 0.25/0.54 = 0.537.
    With 100 mm of wool the joist decides: 1 - 0.25/(0.54 + 0.1/0.13) = 0.809.
    """
    assert ceiling_factor((), 100) == pytest.approx(1 - 0.25 / 0.54)
    wool = (LaidWool(100, 0.044, "between_joists"),)
    assert ceiling_factor(wool, 100) == pytest.approx(1 - 0.25 / (0.54 + 0.1 / 0.13))
