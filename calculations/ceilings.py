"""Thermal transmittance (U-value) of a ceiling insulated at joist level.

References
----------
ISO 6946:2017, Building components and building elements, Thermal resistance and thermal
    transmittance, Calculation methods: the combined method (6.7.2), roof spaces (table 9).
BR 443:2019, Conventions for U-value calculations: timber fraction of ceiling joists.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from calculations.checks import require_between
from calculations.loft import LoftArea, Underlay
from calculations.resistance import (
    OUTSIDE_SURFACE_RESISTANCE,
    AirVoidLevel,
    Stratum,
    UValueResult,
    air_void_correction,
    combined_method,
    with_correction,
)

Covers = Literal["full", "eaves", "middle"]

# The roof space taken as one layer, m2K/W (ISO 6946 table 9; from memory, unconfirmed).
ROOF_SPACE_RESISTANCE = {
    Underlay.NONE: 0.06,
    Underlay.FELT: 0.20,
    Underlay.BREATHER: 0.20,
    Underlay.FOIL_OR_BOARDS: 0.30,
}
BOARD_MM = 12.5
BOARD_CONDUCTIVITY = 0.25
TIMBER_CONDUCTIVITY = 0.13
# A plain hatch lid where nothing else is known: common practice, no published source.
HATCH_LID_MM = 18.0
# Fixed to the lid of the hatch when wool is laid: common practice, no published source.
HATCH_INSULATION_MM = 100.0


@dataclass(frozen=True, slots=True)
class LaidWool:
    """Wool in one area: thickness [mm] as it lies, declared conductivity [W/mK], and where.

    covers: "full" is wherever the roof leaves room, "eaves" only where the roof is too low for
    the thicker layer that comes next, "middle" the rest. existing: it lies there already, right
    to the wall plate whether there is room for air or not.
    """

    thickness_mm: float
    conductivity_w_mk: float
    kind: Literal["between_joists", "across_joists"]
    covers: Covers = "full"
    existing: bool = False


def u_value_at_joists(
    *,
    joist_width_mm: float,
    joist_spacing_mm: float,
    joist_depth_mm: float,
    between_mm: float,
    across_mm: float,
    conductivity_between_w_mk: float,
    conductivity_across_w_mk: float,
    roof_space_resistance_m2k_w: float = 0.20,
    board_mm: float = 12.5,
    board_conductivity_w_mk: float = 0.25,
    timber_conductivity_w_mk: float = 0.13,
    fraction_extra: float = 0.01,
    air_void_level: AirVoidLevel = 0,
) -> UValueResult:
    """U-value of a ceiling with wool between the joists and across them.

    Parameters
    ----------
    joist_width_mm, joist_spacing_mm, joist_depth_mm : sizes [mm], spacing between centres.
    between_mm : depth laid between the joists [mm]. What stands above the joists counts as
        an unbridged layer. Where it is less than the joist depth, the depth of
        timber is the insulation's (Scottish annex 6.B, after ISO 6946), and a void under wool
        laid across counts for nothing, which is on the safe side.
    across_mm : depth laid across the joists [mm].
    conductivity_between_w_mk, conductivity_across_w_mk : declared conductivity [W/mK].
    roof_space_resistance_m2k_w : see ROOF_SPACE_RESISTANCE [m2K/W].
    fraction_extra : share added to width / spacing for noggings and trimmers (BR 443) [-].
    air_void_level : 0 none, 1 gaps bridge the insulation, 2 gaps and air moves round it
        (ISO 6946 table F.1).

    Raises
    ------
    InputError names the field that is out of range.
    """
    require_between("joist_spacing_mm", joist_spacing_mm, 100, 2000, "mm")
    require_between("joist_width_mm", joist_width_mm, 10, joist_spacing_mm - 10, "mm")
    require_between("joist_depth_mm", joist_depth_mm, 20, 500, "mm")
    require_between("between_mm", between_mm, 0, 2000, "mm")
    require_between("across_mm", across_mm, 0, 2000, "mm")
    for field, value in (
        ("conductivity_between_w_mk", conductivity_between_w_mk),
        ("conductivity_across_w_mk", conductivity_across_w_mk),
        ("board_conductivity_w_mk", board_conductivity_w_mk),
        ("timber_conductivity_w_mk", timber_conductivity_w_mk),
    ):
        require_between(field, value, 0.01, 2.0, "W/mK")
    bridged_mm = min(between_mm, joist_depth_mm)
    strata = (
        Stratum("ceiling board", board_mm, board_conductivity_w_mk),
        Stratum(
            "wool between joists", bridged_mm, conductivity_between_w_mk, timber_conductivity_w_mk
        ),
        Stratum("wool above joists", between_mm - bridged_mm, conductivity_between_w_mk),
        Stratum("wool across joists", across_mm, conductivity_across_w_mk),
    )
    result = combined_method(
        tuple(s for s in strata if s.thickness_mm > 0),
        timber_fraction(joist_width_mm, joist_spacing_mm, fraction_extra),
        outside_resistance_m2k_w=roof_space_resistance_m2k_w + OUTSIDE_SURFACE_RESISTANCE,
    )
    wool = between_mm / 1000 / conductivity_between_w_mk
    wool += across_mm / 1000 / conductivity_across_w_mk
    return with_correction(
        result, air_void_correction(air_void_level, wool, result.total_resistance)
    )


def timber_fraction(
    joist_width_mm: float, joist_spacing_mm: float, fraction_extra: float = 0.01
) -> float:
    """Share of the ceiling's plan that is timber [-]: width / spacing + 0.01 (BR 443)."""
    return joist_width_mm / joist_spacing_mm + fraction_extra


def u_value_of_layers(
    area: LoftArea, wool: Sequence[LaidWool], underlay: Underlay = Underlay.FELT
) -> UValueResult:
    """U-value of an area's ceiling under wool of any number of layers, lowest first [W/m2K].

    Layers between the joists fill the joist depth from below; what stands above it is not
    bridged. Existing wool that lies between the joists alone, its fit unknown and its gaps
    crossed by nothing, takes the correction for air voids of level 1 (ISO 6946 table F.1) where
    that is 3 % or more. Otherwise as u_value_at_joists, with its ceiling board.
    """
    strata = [Stratum("ceiling board", BOARD_MM, BOARD_CONDUCTIVITY)]
    room_mm = area.joist_depth_mm
    for layer in wool:
        require_between("thickness_mm", layer.thickness_mm, 0, 2000, "mm")
        require_between("conductivity_w_mk", layer.conductivity_w_mk, 0.01, 2.0, "W/mK")
        bridged_mm = min(room_mm, layer.thickness_mm) if layer.kind == "between_joists" else 0.0
        room_mm -= bridged_mm
        if bridged_mm > 0:
            strata.append(
                Stratum(
                    "wool between joists", bridged_mm, layer.conductivity_w_mk, TIMBER_CONDUCTIVITY
                )
            )
        if layer.thickness_mm > bridged_mm:
            above_mm = layer.thickness_mm - bridged_mm
            strata.append(Stratum("wool above joists", above_mm, layer.conductivity_w_mk))
    result = combined_method(
        strata,
        timber_fraction(area.joist_width_mm, area.joist_spacing_mm),
        outside_resistance_m2k_w=ROOF_SPACE_RESISTANCE[underlay] + OUTSIDE_SURFACE_RESISTANCE,
    )
    crossed = any(stratum.name == "wool above joists" for stratum in strata)
    if not wool or crossed or not all(layer.existing for layer in wool):
        return result
    resistance = sum(stratum.resistance_m2k_w for stratum in strata[1:])
    return with_correction(result, air_void_correction(1, resistance, result.total_resistance))


def u_value_of_hatch(
    insulation_mm: float, conductivity_w_mk: float, underlay: Underlay = Underlay.FELT
) -> UValueResult:
    """U-value of a hatch lid of 18 mm board with insulation on its back [W/m2K]."""
    require_between("hatch_insulation_mm", insulation_mm, 0, 500, "mm")
    require_between("hatch_conductivity_w_mk", conductivity_w_mk, 0.01, 2.0, "W/mK")
    strata = (
        Stratum("hatch lid", HATCH_LID_MM, TIMBER_CONDUCTIVITY),
        Stratum("hatch insulation", insulation_mm, conductivity_w_mk),
    )
    outside = ROOF_SPACE_RESISTANCE[underlay] + OUTSIDE_SURFACE_RESISTANCE
    return combined_method(strata, 0.0, outside_resistance_m2k_w=outside)
