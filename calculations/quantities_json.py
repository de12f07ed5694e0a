"""Quantities back from the JSON that `Quantities.to_dict` wrote."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from calculations.accessories import AccessoryLine
from calculations.cutting import Strip
from calculations.labour import Labour, LabourStep
from calculations.layers import Layer
from calculations.quantities import AreaWaste, Quantities, RollCount
from calculations.stacks import Target


def read_quantities(data: Mapping[str, Any]) -> Quantities:
    """The same Quantities that were written. Raises KeyError or TypeError for other data."""
    labour = data["labour"]
    return Quantities(
        engine_version=data["engine_version"],
        target=Target(**data["target"]),
        net_area_m2=data["net_area_m2"],
        layers=tuple(Layer(**item) for item in data["layers"]),
        strips=tuple(_strip(item) for item in data["strips"]),
        rolls=tuple(RollCount(**item) for item in data["rolls"]),
        accessories=tuple(AccessoryLine(**item) for item in data["accessories"]),
        labour=Labour(**{**labour, "steps": tuple(LabourStep(**s) for s in labour["steps"])}),
        u_before=data["u_before"],
        u_after=data["u_after"],
        resulting_depth_mm=dict(data["resulting_depth_mm"]),
        packed_volume_m3=data["packed_volume_m3"],
        explanation=tuple(data["explanation"]),
        warnings=tuple(data["warnings"]),
        area_waste=tuple(AreaWaste(**item) for item in data.get("area_waste", ())),
    )


def _strip(item: Mapping[str, Any]) -> Strip:
    outline = tuple((x, y) for x, y in item["outline_mm"])
    return Strip(**{**item, "outline_mm": outline})
