"""Water vapour in air: saturation pressure, dew point, humidity at a surface.

Reference
---------
ISO 13788:2012, Hygrothermal performance of building components and building elements, annex E:
    equations E.7 and E.8 (saturation pressure), E.9 and E.10 (their inverse). The numbers of
    the equations are from memory, the formulas are checked against psychrolib.
"""

from __future__ import annotations

import math

from calculations.checks import require_between

_SATURATION_AT_ZERO_PA = 610.5


def saturation_pressure_pa(temperature_c: float) -> float:
    """Saturation pressure of water vapour over water, or over ice below 0 deg C [Pa].

    Valid from -40 to 60 deg C. Raises InputError outside.
    """
    require_between("temperature_c", temperature_c, -40, 60, "deg C")
    if temperature_c >= 0:
        exponent = 17.269 * temperature_c / (237.3 + temperature_c)
    else:
        exponent = 21.875 * temperature_c / (265.5 + temperature_c)
    return _SATURATION_AT_ZERO_PA * math.exp(exponent)


def dew_point_c(vapour_pressure_pa: float) -> float:
    """Temperature at which air of this vapour pressure is saturated [deg C].

    Valid for 12.5 to 19,950 Pa (-40 to 60 deg C). Raises InputError outside.
    """
    require_between("vapour_pressure_pa", vapour_pressure_pa, 12.5, 19950, "Pa")
    ratio = math.log(vapour_pressure_pa / _SATURATION_AT_ZERO_PA)
    if ratio >= 0:
        return 237.3 * ratio / (17.269 - ratio)
    return 265.5 * ratio / (21.875 - ratio)


def vapour_pressure_pa(temperature_c: float, relative_humidity: float) -> float:
    """Vapour pressure [Pa] of air at a relative humidity from 0 to 1."""
    require_between("relative_humidity", relative_humidity, 0, 1, "")
    return relative_humidity * saturation_pressure_pa(temperature_c)


def surface_humidity(air_c: float, relative_humidity: float, surface_c: float) -> float:
    """Relative humidity of room air where it touches a surface, at most 1 (then it condenses)."""
    humidity = vapour_pressure_pa(air_c, relative_humidity) / saturation_pressure_pa(surface_c)
    return min(1.0, humidity)
