"""U-values of a whole loft, zone by zone, and their mean.

The U-value of one ceiling build-up is calculations.ceilings'; its public names are here too.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass

from calculations.ceilings import (
    ROOF_SPACE_RESISTANCE,
    LaidWool,
    timber_fraction,
    u_value_at_joists,
    u_value_of_hatch,
    u_value_of_layers,
)
from calculations.checks import InputError
from calculations.heat_zones import Zone, ZoneKind, zones_of
from calculations.loft import Loft, LoftArea
from calculations.resistance import HeatStep, UValueResult, compressed_resistance

__all__ = [
    "ROOF_SPACE_RESISTANCE",
    "HeatRow",
    "HeatStep",
    "LaidWool",
    "LoftHeat",
    "UValueResult",
    "ceiling_area_m2",
    "compressed_resistance",
    "loft_u_values",
    "timber_fraction",
    "u_value_at_joists",
    "u_value_of_hatch",
    "u_value_of_layers",
]

_NOTES = {
    ZoneKind.OPEN: "",
    ZoneKind.EAVES: "kept thin for the air path under the roof",
    ZoneKind.HATCH: "its own area; a bare lid unless insulated",
    ZoneKind.TANK: "nothing is laid beneath a tank",
    ZoneKind.DECK: "what fits beneath the deck",
}


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
        return asdict(self) | {"zone": str(self.zone)}


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
    insulation : by area name, what lies there, lowest first, a thin starter right before the
        thicker layer beside it; an area not named lies bare.
    hatch_insulation_mm, hatch_conductivity_w_mk : on the back of the hatch lid [mm], [W/mK].
        Nothing on it unless told: what the wool on the floor is says nothing of the hatch.

    Notes
    -----
    Nothing is laid beneath a tank, so that zone is reckoned bare; the tank and its jacket are
    not credited. At the eaves each layer begins where the 50 mm air path stays free above it;
    existing wool is taken to lie right to the wall plate. Beneath a deck lies what fits; a
    layer squeezed there keeps its conductivity over the lesser depth (ISO 6946 equation 3).
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
        for zone in zones_of(loft, area, tuple(insulation.get(area.name, ()))):
            if zone.kind is ZoneKind.HATCH:
                rows.append(
                    _hatch_row(area, zone, loft, hatch_insulation_mm, hatch_conductivity_w_mk)
                )
            else:
                rows.append(_floor_row(area, zone, loft))
    total_m2 = sum(row.area_m2 for row in rows)
    mean = sum(row.area_m2 * row.u_value_w_m2k for row in rows) / total_m2
    return LoftHeat(tuple(rows), mean, total_m2)


def ceiling_area_m2(loft: Loft) -> float:
    """Area of ceiling that heat is lost through: the floor less chimneys [m2].

    What a mean U-value is a mean of; calculations.savings wants this area.
    """
    return loft_u_values(loft, {}).area_m2


def _floor_row(area: LoftArea, zone: Zone, loft: Loft) -> HeatRow:
    result = u_value_of_layers(area, zone.wool, loft.roof.underlay)
    depth_mm = sum(layer.thickness_mm for layer in zone.wool)
    return HeatRow(
        area.name, zone.kind, zone.area_m2, depth_mm, result.u_value_w_m2k, _NOTES[zone.kind]
    )


def _hatch_row(
    area: LoftArea, zone: Zone, loft: Loft, insulation_mm: float, conductivity_w_mk: float
) -> HeatRow:
    result = u_value_of_hatch(insulation_mm, conductivity_w_mk, loft.roof.underlay)
    return HeatRow(
        area.name,
        zone.kind,
        zone.area_m2,
        insulation_mm,
        result.u_value_w_m2k,
        _NOTES[zone.kind],
    )
