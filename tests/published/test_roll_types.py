"""Rolls of a company's own against published figures: area, resistance, what a loft takes."""

from __future__ import annotations

import pytest

from calculations.catalogue import RollType
from calculations.loft import Loft, LoftArea
from calculations.quantities import quantify
from calculations.stacks import Target

APPROVED_DOCUMENT_L_CONTINUOUS = {
    0.15: (131, 163, 196, 228, 261, 294, 326),
    0.20: (97, 122, 146, 170, 194, 219, 243),
}
CONDUCTIVITIES = (0.020, 0.025, 0.030, 0.035, 0.040, 0.045, 0.050)


def a_roll(thickness_mm: float, conductivity_w_mk: float = 0.04, **more: float) -> RollType:
    values = {"width_mm": 1000.0, "length_mm": 6000.0, "cost": 20.0, "packed_volume_m3": 0.2}
    return RollType(
        f"R{thickness_mm:.0f}",
        "Wool",
        thickness_mm,
        conductivity_w_mk=conductivity_w_mk,
        **values | more,
    )


@pytest.mark.parametrize("u_value", APPROVED_DOCUMENT_L_CONTINUOUS)
def test_resistance_is_that_of_the_published_thickness_table(u_value: float) -> None:
    """Approved Document L (2002), Appendix A, continuous insulation, as transcribed by a third
    party; resistance by ISO 6946:2017, equation 3. With the surfaces (0.10 + 0.04 m2K/W, the same
    standard's table 7) each of the table's thicknesses gives its U-value, to the millimetre that
    the table rounds to.
    """
    row = APPROVED_DOCUMENT_L_CONTINUOUS[u_value]
    for conductivity, thickness_mm in zip(CONDUCTIVITIES, row, strict=True):
        roll = a_roll(thickness_mm, conductivity)
        half_mm = 0.0005 / conductivity
        assert roll.resistance_m2k_w == pytest.approx(1 / u_value - 0.14, abs=half_mm + 1e-9)


def test_an_own_roll_covers_the_floor_that_its_area_gives() -> None:
    """By hand, areas of rectangles alone (Euclid I.36). A floor of 8 m by 6 m, its joists filled,
    lies under one layer across: rolls 1 m wide and 6 m long cover 6 m2 each, so 48 m2 take 8 and
    leave nothing; laid with 100 mm at 26.00 a roll that is 4.33 a m2.
    """
    outline = ((0, 0), (8000, 0), (8000, 6000), (0, 6000))
    loft = Loft((LoftArea("Main", outline, 600, 100, 50, 90, 100.0),))
    roll = a_roll(170, cost=26.0)

    found = quantify(loft, Target(depth_mm=270), (roll,), seconds=0.2)

    (line,) = found.rolls
    assert roll.area_m2 == 6.0
    assert roll.cost_per_m2 == pytest.approx(26 / 6)
    assert line.count * roll.area_m2 >= line.laid_area_m2
    assert (line.count, line.laid_area_m2) == (8, pytest.approx(48.0))
    assert found.packed_volume_m3 == pytest.approx(8 * 0.2)
