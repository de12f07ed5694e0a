"""The depth that a wool needs for a U-value, against a published table of thicknesses."""

from __future__ import annotations

from dataclasses import replace

import pytest

from calculations.example import EXAMPLE
from calculations.loft import Loft
from calculations.u_route import depth_for_u_value

# Conductivity [W/mK] -> base thickness [mm] between and over joists, for U 0.20 and 0.25 W/m2K.
APPROVED_DOCUMENT_L_TABLE_A = {
    0.030: {0.20: 167, 0.25: 137},
    0.035: {0.20: 188, 0.25: 153},
    0.040: {0.20: 210, 0.25: 170},
    0.045: {0.20: 232, 0.25: 187},
}


def loft_of_the_table() -> Loft:
    """Joists of 48 by 100 mm at 600 mm, with the usual underlay."""
    return replace(
        EXAMPLE,
        areas=tuple(
            replace(area, joist_width_mm=48.0, joist_depth_mm=100.0, joist_spacing_mm=600.0)
            for area in EXAMPLE.areas
        ),
    )


@pytest.mark.parametrize("conductivity", APPROVED_DOCUMENT_L_TABLE_A)
@pytest.mark.parametrize("u_value", [0.20, 0.25])
def test_the_depth_is_that_of_the_published_table(conductivity: float, u_value: float):
    """Approved Document L (2002), Appendix A, insulation between and over joists, as transcribed
    by a third party. It leaves out ceiling board (0.05) and roof space (0.20 m2K/W), which its
    next table takes off the base thickness; the combined method of ISO 6946 then lies 1 to 6 mm
    under its rows.
    """
    depth = depth_for_u_value(loft_of_the_table(), u_value, conductivity)
    base = APPROVED_DOCUMENT_L_TABLE_A[conductivity][u_value]

    assert depth is not None
    assert 0 <= base - 1000 * conductivity * (0.05 + 0.20) - depth <= 6


def test_the_depths_of_the_trade_give_the_u_values_that_are_asked():
    """ISO 6946 combined method, worked by hand for joists of 48 by 100 mm at 600 mm: wool of 0.044
    W/mK needs 100 + 170 mm for 0.16 W/m2K (0.1595), wool of 0.040 less than that (0.1464).
    """
    loft = loft_of_the_table()

    assert depth_for_u_value(loft, 0.16, 0.044) == 270
    assert depth_for_u_value(loft, 0.16, 0.040) == 248


def test_better_wool_needs_less_and_some_u_values_no_depth_gives():
    """The rule of ISO 6946 alone: resistance is depth over conductivity."""
    loft = loft_of_the_table()
    depths = [depth_for_u_value(loft, 0.16, wool) for wool in (0.032, 0.040, 0.044)]

    assert depths == sorted(depths)
    assert depth_for_u_value(loft, 0.05, 0.08) is None
