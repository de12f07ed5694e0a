"""Where in a loft area the insulation differs: open floor, eaves, hatch, tank, deck."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from shapely import LineString, Polygon, union_all
from shapely.geometry.base import BaseGeometry

from calculations.loft import Loft, LoftArea, ObstacleKind, Roof

# Air path to keep under the roof at the eaves [mm] (BS 5250 as commonly reported).
AIR_GAP_MM = 50.0

Covers = Literal["full", "eaves", "middle"]


class ZoneKind(StrEnum):
    OPEN = "open"
    EAVES = "eaves"
    HATCH = "hatch"
    TANK = "tank"
    DECK = "deck"


@dataclass(frozen=True, slots=True)
class Zone:
    """A part of an area's floor with one build-up; the shape in mm, the size in m2."""

    kind: ZoneKind
    shape: BaseGeometry
    area_m2: float


_OBSTACLE_ZONES = (
    (ObstacleKind.HATCH, ZoneKind.HATCH),
    (ObstacleKind.TANK, ZoneKind.TANK),
    (ObstacleKind.DECK, ZoneKind.DECK),
)


def headroom_mm(roof: Roof, distance_mm: float) -> float:
    """Height from the joists' underside to the roof's underlay [mm], distance_mm from the plate.

    The rafter's foot stands on the wall plate, level with the joists: its depth cut plumb,
    rafter_depth / cos(pitch), plus the rise, distance x tan(pitch). Plain geometry.
    """
    pitch = math.radians(roof.pitch_deg)
    return roof.rafter_depth_mm / math.cos(pitch) + distance_mm * math.tan(pitch)


def eaves_width_mm(roof: Roof, depth_mm: float) -> float:
    """How far from the wall plate depth_mm of wool still closes the 50 mm air path [mm]."""
    short_by = depth_mm + AIR_GAP_MM - headroom_mm(roof, 0.0)
    return max(0.0, short_by / math.tan(math.radians(roof.pitch_deg)))


def zones_of(loft: Loft, area: LoftArea, eaves_mm: float) -> tuple[Zone, ...]:
    """Split an area's floor, chimneys left out, into zones that do not overlap.

    eaves_mm: width of the strip along the wall plates that is laid otherwise; 0 for none.
    """
    left: BaseGeometry = Polygon(area.outline_mm, area.holes_mm)
    found: list[Zone] = []
    chimneys = [Polygon(o.outline_mm) for o in loft.obstacles if o.kind is ObstacleKind.CHIMNEY]
    left = left.difference(union_all(chimneys)) if chimneys else left
    for obstacle_kind, zone_kind in _OBSTACLE_ZONES:
        shapes = [Polygon(o.outline_mm) for o in loft.obstacles if o.kind is obstacle_kind]
        if shapes:
            left = _take(left, union_all(shapes), zone_kind, found)
    if eaves_mm > 0 and area.eaves_edges:
        strips = [
            LineString(_edge(area, index)).buffer(eaves_mm, cap_style="flat")
            for index in area.eaves_edges
        ]
        left = _take(left, union_all(strips), ZoneKind.EAVES, found)
    _take(left, left, ZoneKind.OPEN, found)
    return tuple(reversed(found))


def _edge(area: LoftArea, index: int) -> tuple[tuple[float, float], tuple[float, float]]:
    points = area.outline_mm
    return points[index], points[(index + 1) % len(points)]


def _take(
    left: BaseGeometry, shape: BaseGeometry, kind: ZoneKind, found: list[Zone]
) -> BaseGeometry:
    part = left.intersection(shape)
    if part.area > 0:
        found.append(Zone(kind, part, part.area / 1e6))
    return left.difference(shape)
