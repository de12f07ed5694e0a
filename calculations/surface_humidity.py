"""How warm a ceiling must be so that mould does not grow on it, and how warm it is.

References
----------
ISO 13788:2012, clause 5 (surface temperature to avoid critical surface humidity, equation 3 for
    the temperature factor, 80 % at the surface as the limit) and annex A (humidity classes,
    from memory, unconfirmed).
BRE IP 1/06, Assessing the effects of thermal bridging at junctions and around openings:
    temperature factor of at least 0.75 in dwellings (as third parties report it).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from calculations.ceilings import (
    BOARD_CONDUCTIVITY,
    BOARD_MM,
    HATCH_LID_MM,
    ROOF_SPACE_RESISTANCE,
    TIMBER_CONDUCTIVITY,
    LaidWool,
)
from calculations.checks import InputError, require_between
from calculations.climate import ClimateRegion
from calculations.loft import Underlay
from calculations.psychrometrics import dew_point_c, vapour_pressure_pa
from calculations.resistance import OUTSIDE_SURFACE_RESISTANCE

# Inside surface resistance for judging mould, upwards or sideways, m2K/W (ISO 13788, 4.4.1):
# higher than for U-values, since corners and furniture keep warm air off.
MOULD_SURFACE_RESISTANCE = 0.25
LEAST_FACTOR_DWELLINGS = 0.75
MOULD_SURFACE_HUMIDITY = 0.80
# Excess of indoor over outdoor vapour pressure at 0 deg C and below [Pa], upper limit of each
# class; falls in a straight line to none at 20 deg C (ISO 13788 annex A).
HUMIDITY_CLASS_EXCESS_PA = {1: 270.0, 2: 540.0, 3: 810.0, 4: 1080.0, 5: 1360.0}
# Margin on the excess (ISO 13788:2001, 4.2.4; from memory).
EXCESS_MARGIN = 1.10
# Winter outdoor humidity where the climate table gives none: common practice, no published source.
OUTDOOR_RELATIVE_HUMIDITY = 0.85


@dataclass(frozen=True, slots=True)
class CriticalMonth:
    """The month that asks most of a surface.

    month: 1 to 12; factor: least temperature factor [-]; surface_c: least surface temperature;
    indoor_vapour_pa: vapour pressure of the room air.
    """

    month: int
    factor: float
    surface_c: float
    indoor_vapour_pa: float


def temperature_factor(surface_c: float, inside_c: float, outside_c: float) -> float:
    """(surface - outside) / (inside - outside), ISO 13788 equation 3 [-].

    Raises InputError where inside and outside are equally warm.
    """
    if inside_c == outside_c:
        raise InputError("inside_c", "equals outside_c.", "Give a heated room.")
    return (surface_c - outside_c) / (inside_c - outside_c)


def moisture_excess_pa(outside_c: float, humidity_class: int) -> float:
    """Excess of indoor over outdoor vapour pressure [Pa] by humidity class 1 to 5."""
    if humidity_class not in HUMIDITY_CLASS_EXCESS_PA:
        raise InputError("humidity_class", f"is {humidity_class}.", "Give 1 to 5.")
    share = min(1.0, max(0.0, 1 - outside_c / 20))
    return HUMIDITY_CLASS_EXCESS_PA[humidity_class] * share


def critical_month(
    region: ClimateRegion,
    *,
    inside_c: float = 20.0,
    humidity_class: int = 3,
    outdoor_relative_humidity: float = OUTDOOR_RELATIVE_HUMIDITY,
) -> CriticalMonth:
    """The month with the highest least temperature factor (ISO 13788, 5.3).

    humidity_class: 3 is a dwelling of ordinary occupancy, 4 one with high occupancy. Months
    that are warmer than 2 K below the room are passed over: nothing is heated then.
    """
    months = [
        _month(number, outside_c, inside_c, humidity_class, outdoor_relative_humidity)
        for number, outside_c in enumerate(region.monthly_mean_c, start=1)
        if outside_c < inside_c - 2
    ]
    if not months:
        raise InputError("inside_c", "is no warmer than outdoors.", "Give a heated room.")
    return max(months, key=lambda month: month.factor)


def _month(
    number: int, outside_c: float, inside_c: float, humidity_class: int, outdoor_humidity: float
) -> CriticalMonth:
    indoor_pa = vapour_pressure_pa(outside_c, outdoor_humidity)
    indoor_pa += EXCESS_MARGIN * moisture_excess_pa(outside_c, humidity_class)
    surface_c = dew_point_c(indoor_pa / MOULD_SURFACE_HUMIDITY)
    return CriticalMonth(
        number, temperature_factor(surface_c, inside_c, outside_c), surface_c, indoor_pa
    )


def ceiling_factor(
    wool: Sequence[LaidWool], joist_depth_mm: float, underlay: Underlay = Underlay.FELT
) -> float:
    """Temperature factor of a ceiling at its coldest line [-], one-dimensional.

    The lower of the path through the wool and, where wool lies between the joists, the path
    through a joist; both with an inside surface resistance of 0.25 m2K/W. Heat that spreads
    sideways warms the coldest line, so the true factor is a little higher.
    """
    room_mm = joist_depth_mm
    clear = timber = BOARD_MM / 1000 / BOARD_CONDUCTIVITY
    for layer in wool:
        bridged_mm = min(room_mm, layer.thickness_mm) if layer.kind == "between_joists" else 0.0
        room_mm -= bridged_mm
        above = (layer.thickness_mm - bridged_mm) / 1000 / layer.conductivity_w_mk
        clear += bridged_mm / 1000 / layer.conductivity_w_mk + above
        timber += bridged_mm / 1000 / TIMBER_CONDUCTIVITY + above
    return _factor(min(clear, timber), underlay)


def hatch_factor(
    insulation_mm: float, conductivity_w_mk: float = 0.040, underlay: Underlay = Underlay.FELT
) -> float:
    """Temperature factor in the middle of the hatch lid [-]; draughts cool its rim further."""
    require_between("insulation_mm", insulation_mm, 0, 500, "mm")
    require_between("conductivity_w_mk", conductivity_w_mk, 0.01, 2.0, "W/mK")
    lid = HATCH_LID_MM / 1000 / TIMBER_CONDUCTIVITY
    return _factor(lid + insulation_mm / 1000 / conductivity_w_mk, underlay)


def _factor(layers_m2k_w: float, underlay: Underlay) -> float:
    outside = ROOF_SPACE_RESISTANCE[underlay] + OUTSIDE_SURFACE_RESISTANCE
    total = MOULD_SURFACE_RESISTANCE + layers_m2k_w + outside
    return 1 - MOULD_SURFACE_RESISTANCE / total
