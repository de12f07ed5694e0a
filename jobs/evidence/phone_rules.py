"""What a phone needs to say, without signal, what its depth readings come to.

The engine stays the one that judges. The phone gets the numbers of the rule, the shapes that the
engine places readings by, the zones, and Student's t by number of readings, and goes through the
same lines (deploy/static/on_site/verdict.js); a test compares both over random lofts.
"""

from __future__ import annotations

import math
from typing import Any

from scipy.special import stdtrit
from shapely.geometry.base import BaseGeometry

from calculations.clear_floor import clear_floors
from calculations.depths import DepthRequirement, floors_of, readings_needed
from calculations.floors import POSITION_TOLERANCE_MM, AreaFloor, pieces
from calculations.headroom import AIR_GAP_MM
from calculations.loft import Loft, Roof
from calculations.measuring import place_in_zone
from jobs.evidence.readings import EDGE_TOLERANCE_MM
from jobs.evidence.site_record import SiteRecord

MOST_READINGS = 256
"""Student's t is handed out up to this many readings an area; more is not typed into a phone."""
DECIMALS = 6


def phone_rules(record: SiteRecord) -> dict[str, Any] | None:
    """Rule, floors and stored readings of a visit; None while there is no loft or no rule."""
    if record.loft is None or record.requirement is None:
        return None
    readings = [
        {
            "id": row.pk,
            "key": str(row.client_key),
            "area": row.area.name,
            "x_mm": row.x_mm,
            "y_mm": row.y_mm,
            "depth_mm": row.depth_mm,
            "allowance": row.allowance,
        }
        for row in record.readings
    ]
    return {**rules_of(record.loft, record.requirement), "readings": readings}


def rules_of(loft: Loft, rule: DepthRequirement) -> dict[str, Any]:
    """Rule and floors as plain values.

    Lengths in mm, areas in m2, depths of the rule in tenths of a millimetre as the engine counts.
    """
    return {
        "required_tenths": rule.required_tenths,
        "below_tenths": rule.below_tenths,
        "thin_tenths": rule.thin_tenths,
        "min_depth_mm": rule.min_depth_mm,
        "greatest_share_below": rule.greatest_share_below,
        "least_limit_share": rule.least_limit_share,
        "least_eaves_depth_mm": rule.least_eaves_depth_mm,
        "reading_tolerance_mm": rule.reading_tolerance_mm,
        "t": _quantiles(rule.confidence),
        "edge_tolerance_mm": EDGE_TOLERANCE_MM,
        "position_tolerance_mm": POSITION_TOLERANCE_MM,
        "roof": _roof(loft.roof),
        "areas": [
            {**_floor(floor), "needed": readings_needed(floor, rule)}
            for floor in floors_of(loft, rule)
        ],
    }


def _quantiles(confidence: float) -> list[float]:
    """By number of readings; 0 stands where there is none."""
    return [0.0, 0.0, *(float(stdtrit(n - 1, confidence)) for n in range(2, MOST_READINGS + 1))]


def _roof(roof: Roof) -> dict[str, float]:
    """Room at a distance from the eaves [mm] is distance * slope + at_plate_mm - gap_mm."""
    pitch = math.radians(roof.pitch_deg)
    return {
        "slope": math.tan(pitch),
        "at_plate_mm": roof.rafter_depth_mm / math.cos(pitch),
        "gap_mm": AIR_GAP_MM / math.cos(pitch),
    }


def _floor(floor: AreaFloor) -> dict[str, Any]:
    grid = floor.grid
    clear = clear_floors(floor)
    turn = math.radians(grid.direction_deg)
    return {
        "name": floor.area.name,
        "net": _rings(floor.net),
        "reach": _rings(floor.reach),
        "open": _rings(floor.open),
        "clear": [_rings(shape, 0) for shape in clear[:3]],
        "solids": _rings(floor.solids),
        "eaves": _rings(floor.eaves),
        "tanks": _rings(floor.tanks),
        "decks": _rings(floor.decks),
        "eaves_edges": _lines(floor.eaves_edges),
        "grid": {
            "pivot_mm": grid.pivot_mm,
            "cos": math.cos(turn),
            "sin": math.sin(turn),
            "low_mm": grid.low_mm,
            "step_mm": grid.step_mm,
            "columns": grid.columns,
            "rows": grid.rows,
            "counted": [int(needed) for needed in grid.counted],
        },
        "middles": {str(zone): place_in_zone(floor, zone, clear) for zone in grid.numbers},
    }


def _rings(shape: BaseGeometry, decimals: int = DECIMALS) -> list[list[list[float]]]:
    """Polygons as rings (outline first, then holes), each x, y, x, y ... in mm."""
    return [
        [_flat(ring.coords, decimals) for ring in (polygon.exterior, *polygon.interiors)]
        for polygon in pieces(shape)
    ]


def _lines(shape: BaseGeometry) -> list[list[float]]:
    return [_flat(line.coords) for line in getattr(shape, "geoms", [shape]) if not line.is_empty]


def _flat(corners: Any, decimals: int = DECIMALS) -> list[float]:
    values = (value for corner in corners for value in corner)
    return [round(value, decimals) if decimals else round(value) for value in values]
