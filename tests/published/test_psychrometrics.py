"""Water vapour against a reference library."""

from __future__ import annotations

import psychrolib
import pytest

from calculations.psychrometrics import (
    dew_point_c,
    saturation_pressure_pa,
    surface_humidity,
    vapour_pressure_pa,
)


@pytest.fixture(autouse=True)
def _si_units() -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)


@pytest.mark.parametrize("temperature_c", range(-10, 61, 5))
def test_saturation_pressure(temperature_c: int) -> None:
    """psychrolib (ASHRAE Handbook Fundamentals 2017, ch. 1, eqs 5 and 6): within 0.22 %.

    ISO 13788's equations E.7 and E.8 are Magnus formulas; ASHRAE's are Hyland and Wexler's.
    The difference is the formulas' own.
    """
    reference = psychrolib.GetSatVapPres(temperature_c)
    assert saturation_pressure_pa(temperature_c) == pytest.approx(reference, rel=0.0022)


@pytest.mark.parametrize(("temperature_c", "gap"), [(-40, 0.019), (-20, 0.0051), (-15, 0.0034)])
def test_saturation_pressure_over_very_cold_ice(temperature_c: int, gap: float) -> None:
    """psychrolib, as above: the Magnus formula over ice falls below it in hard frost.

    0.3 % at -15, 0.5 % at -20, 1.9 % at -40 deg C; below what a British roof sees.
    """
    reference = psychrolib.GetSatVapPres(temperature_c)
    assert saturation_pressure_pa(temperature_c) < reference
    assert saturation_pressure_pa(temperature_c) == pytest.approx(reference, rel=gap)


@pytest.mark.parametrize("relative_humidity", [0.3, 0.5, 0.7, 0.9])
@pytest.mark.parametrize("temperature_c", [-10, 0, 10, 20, 30])
def test_dew_point(temperature_c: float, relative_humidity: float) -> None:
    """psychrolib's dew point from relative humidity: within 0.05 K (same reason as above)."""
    reference = psychrolib.GetTDewPointFromRelHum(temperature_c, relative_humidity)
    found = dew_point_c(vapour_pressure_pa(temperature_c, relative_humidity))
    assert found == pytest.approx(reference, abs=0.05)


def test_room_air_at_a_cold_surface() -> None:
    """psychrolib: 20 deg C and 50 % is 80 % humid where it touches a surface at 12.6 deg C."""
    pressure = psychrolib.GetVapPresFromRelHum(20, 0.5)
    reference = pressure / psychrolib.GetSatVapPres(12.6)
    assert surface_humidity(20, 0.5, 12.6) == pytest.approx(reference, abs=0.002)
    assert surface_humidity(20, 0.5, 5) == 1.0


@pytest.mark.parametrize("temperature_c", [-40, -5, 0, 0.001, 15, 60])
def test_dew_point_is_the_inverse_of_saturation(temperature_c: float) -> None:
    """ISO 13788:2012 annex E: equations E.9 and E.10 invert E.7 and E.8 exactly."""
    assert dew_point_c(saturation_pressure_pa(temperature_c)) == pytest.approx(
        temperature_c, abs=1e-9
    )
