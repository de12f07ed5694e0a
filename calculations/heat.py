"""Thermal transmittance (U-value) of a ceiling insulated at joist level, and of a whole loft.

References
----------
ISO 6946:2017, Building components and building elements, Thermal resistance and thermal
    transmittance, Calculation methods: the combined method (6.7.2), roof spaces (table 9).
BR 443:2019, Conventions for U-value calculations: timber fraction of ceiling joists.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from calculations.checks import InputError, require_between
from calculations.headroom import distance_for_mm
from calculations.heat_zones import Covers, Zone, ZoneKind, zones_of
from calculations.loft import Loft, LoftArea, Underlay
from calculations.resistance import (
    OUTSIDE_SURFACE_RESISTANCE,
    AirVoidLevel,
    HeatStep,
    Stratum,
    UValueResult,
    air_void_correction,
    combined_method,
    with_correction,
)

__all__ = [
    "HeatRow",
    "HeatStep",
    "LaidWool",
    "LoftHeat",
    "UValueResult",
    "loft_u_values",
    "timber_fraction",
    "u_value_at_joists",
]

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
        an unbridged layer. Where it is less than the joist depth the timber above it is left
        out, as ISO 6946 leaves out parts that project from a plane surface (annex C), and a
        void under wool laid across counts for nothing: both on the safe side.
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


@dataclass(frozen=True, slots=True)
class LaidWool:
    """Wool in one area: thickness [mm] as it lies, declared conductivity [W/mK], and where.

    covers: "full" is everywhere, "eaves" and "middle" only there.
    """

    thickness_mm: float
    conductivity_w_mk: float
    kind: Literal["between_joists", "across_joists"]
    covers: Covers = "full"


@dataclass(frozen=True, slots=True)
class HeatRow:
    """One zone of one area: its size [m2], depth of wool [mm] and U-value [W/m2K]."""

    area: str
    zone: ZoneKind
    area_m2: float
    depth_mm: float
    u_value_w_m2k: float
    note: str = ""

    def to_dict(self) -> dict[str, object]:
        """JSON-able copy."""
        return {
            "area": self.area,
            "zone": str(self.zone),
            "area_m2": self.area_m2,
            "depth_mm": self.depth_mm,
            "u_value_w_m2k": self.u_value_w_m2k,
            "note": self.note,
        }


@dataclass(frozen=True, slots=True)
class LoftHeat:
    """U-values by zone and their mean weighted by area [W/m2K]."""

    rows: tuple[HeatRow, ...]
    mean_u_value_w_m2k: float
    area_m2: float

    @property
    def mean_u(self) -> float:
        """The mean U-value under its short name [W/m2K]."""
        return self.mean_u_value_w_m2k

    @property
    def heat_loss_w_k(self) -> float:
        """Heat lost through the ceiling for each degree of difference [W/K]."""
        return self.mean_u_value_w_m2k * self.area_m2

    def to_dict(self) -> dict[str, object]:
        """JSON-able copy."""
        return {
            "rows": [row.to_dict() for row in self.rows],
            "mean_u_value_w_m2k": self.mean_u_value_w_m2k,
            "area_m2": self.area_m2,
        }


def loft_u_values(
    loft: Loft,
    insulation: Mapping[str, Sequence[LaidWool]],
    *,
    hatch_insulation_mm: float = 0.0,
    hatch_conductivity_w_mk: float = 0.040,
) -> LoftHeat:
    """U-values of every zone of a loft and their mean weighted by area.

    Parameters
    ----------
    loft : the loft; chimneys are no part of the ceiling.
    insulation : by area name, what lies there; an area not named lies bare.
    hatch_insulation_mm, hatch_conductivity_w_mk : on the back of the hatch lid [mm], [W/mK].
        Nothing on it unless told: what the wool on the floor is says nothing of the hatch.

    Notes
    -----
    Nothing is laid beneath a tank, so that zone is reckoned bare; the tank and its jacket are
    not credited. Under a deck the wool lies uncompressed (the deck stands clear of it). The
    eaves strip reaches as far from the wall plate as the full depth would close the 50 mm air
    path, and counts only where layers are told apart by `covers`.
    Mean: sum(A U) / sum(A), the heat flows being parallel.

    Raises
    ------
    InputError when the insulation names an area that the loft does not have.
    """
    unknown = sorted(set(insulation) - {area.name for area in loft.areas})
    if unknown:
        raise InputError(
            f"insulation[{unknown[0]!r}]",
            "names an area that this loft does not have.",
            f"Use one of: {', '.join(area.name for area in loft.areas)}.",
        )
    rows: list[HeatRow] = []
    for area in loft.areas:
        wool = tuple(insulation.get(area.name, ()))
        for zone in zones_of(loft, area, _eaves_mm(loft, wool)):
            if zone.kind is ZoneKind.HATCH:
                rows.append(
                    _hatch_row(area, zone, loft, hatch_insulation_mm, hatch_conductivity_w_mk)
                )
            else:
                rows.append(_floor_row(area, zone, wool, loft))
    total_m2 = sum(row.area_m2 for row in rows)
    mean = sum(row.area_m2 * row.u_value_w_m2k for row in rows) / total_m2
    return LoftHeat(tuple(rows), mean, total_m2)


def _eaves_mm(loft: Loft, wool: Sequence[LaidWool]) -> float:
    if all(layer.covers == "full" for layer in wool):
        return 0.0
    full_depth = sum(w.thickness_mm for w in wool if w.covers != "eaves")
    return distance_for_mm(loft.roof, full_depth)


def _laid_in(zone: ZoneKind, wool: Sequence[LaidWool]) -> tuple[LaidWool, ...]:
    if zone is ZoneKind.TANK:
        return ()
    elsewhere = "middle" if zone is ZoneKind.EAVES else "eaves"
    return tuple(layer for layer in wool if layer.covers != elsewhere)


def _floor_row(area: LoftArea, zone: Zone, wool: Sequence[LaidWool], loft: Loft) -> HeatRow:
    laid = _laid_in(zone.kind, wool)
    result = u_value_of_layers(area, laid, loft.roof.underlay)
    notes = {
        ZoneKind.TANK: "nothing is laid beneath a tank",
        ZoneKind.DECK: "the deck stands clear of the wool",
        ZoneKind.EAVES: "kept thin for the air path",
    }
    return HeatRow(
        area.name,
        zone.kind,
        zone.area_m2,
        sum(layer.thickness_mm for layer in laid),
        result.u_value_w_m2k,
        notes.get(zone.kind, ""),
    )


def u_value_of_layers(
    area: LoftArea, wool: Sequence[LaidWool], underlay: Underlay = Underlay.FELT
) -> UValueResult:
    """U-value of an area's ceiling under wool of any number of layers, lowest first [W/m2K].

    Layers between the joists fill the joist depth from below; what stands above it is not
    bridged. Otherwise as u_value_at_joists, with its ceiling board.
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
    return combined_method(
        strata,
        timber_fraction(area.joist_width_mm, area.joist_spacing_mm),
        outside_resistance_m2k_w=ROOF_SPACE_RESISTANCE[underlay] + OUTSIDE_SURFACE_RESISTANCE,
    )


def _hatch_row(
    area: LoftArea, zone: Zone, loft: Loft, insulation_mm: float, conductivity_w_mk: float
) -> HeatRow:
    require_between("hatch_insulation_mm", insulation_mm, 0, 500, "mm")
    require_between("hatch_conductivity_w_mk", conductivity_w_mk, 0.01, 2.0, "W/mK")
    strata = (
        Stratum("hatch lid", HATCH_LID_MM, TIMBER_CONDUCTIVITY),
        Stratum("hatch insulation", insulation_mm, conductivity_w_mk),
    )
    outside = ROOF_SPACE_RESISTANCE[loft.roof.underlay] + OUTSIDE_SURFACE_RESISTANCE
    result = combined_method(strata, 0.0, outside_resistance_m2k_w=outside)
    return HeatRow(
        area.name,
        zone.kind,
        zone.area_m2,
        insulation_mm,
        result.u_value_w_m2k,
        "its own area; a bare lid unless insulated",
    )
