"""The U-value route: which depth of the wool at hand gives the U-value that a regulation asks.

Where a rule states a U-value beside its depth, a loft of better wool may meet it with less of it.
The depth is found by the combined method of ISO 6946 (`calculations.ceilings`), so the readings
are judged by the same rule as ever, against the depth that this wool needs.
"""

from __future__ import annotations

import math
from typing import Final

from calculations.ceilings import LaidWool, u_value_of_layers
from calculations.checks import require_between
from calculations.loft import Loft

DEEPEST_MM: Final = 1000.0
STEP_MM: Final = 1.0


def depth_for_u_value(
    loft: Loft, greatest_u_value_w_m2k: float, conductivity_w_mk: float
) -> float | None:
    """Least total depth of wool that brings every area of a loft to a U-value [mm].

    Parameters
    ----------
    loft : whose joists bridge the wool and whose underlay closes the roof space.
    greatest_u_value_w_m2k : that no area may exceed [W/m2K], 0.05 to 2.0. It is compared unrounded,
        though BR 443:2019 rounds a U-value to two significant figures: the stricter way.
    conductivity_w_mk : declared, of the worst wool in the loft [W/mK], 0.02 to 0.08.

    Returns
    -------
    Whole millimetres, rounded up; None where no depth up to 1,000 mm is enough.

    Notes
    -----
    ISO 6946:2017, section 6.7.2 (combined method), between the joists and across them. The U-value
    falls as depth grows, so the least depth is found by halving.

    Raises
    ------
    InputError when a value lies outside its range.
    """
    require_between("greatest_u_value_w_m2k", greatest_u_value_w_m2k, 0.05, 2.0, "W/m2K")
    require_between("conductivity_w_mk", conductivity_w_mk, 0.02, 0.08, "W/mK")
    if _worst_u(loft, DEEPEST_MM, conductivity_w_mk) > greatest_u_value_w_m2k:
        return None
    low, high = 0.0, DEEPEST_MM
    while high - low > STEP_MM / 4:
        middle = (low + high) / 2
        if _worst_u(loft, middle, conductivity_w_mk) <= greatest_u_value_w_m2k:
            high = middle
        else:
            low = middle
    return float(math.ceil(high - 1e-9))


def _worst_u(loft: Loft, depth_mm: float, conductivity_w_mk: float) -> float:
    """Of all areas, open floor of this depth: up to the joists' top bridged by them."""
    return max(
        u_value_of_layers(
            area, _wool(depth_mm, area.joist_depth_mm, conductivity_w_mk), loft.roof.underlay
        ).u_value_w_m2k
        for area in loft.areas
    )


def _wool(depth_mm: float, joist_depth_mm: float, conductivity_w_mk: float) -> list[LaidWool]:
    between = min(depth_mm, joist_depth_mm)
    wool = [LaidWool(between, conductivity_w_mk, "between_joists")]
    if depth_mm > between:
        wool.append(LaidWool(depth_mm - between, conductivity_w_mk, "across_joists"))
    return wool
