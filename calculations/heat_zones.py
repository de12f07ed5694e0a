"""Where in a loft area the insulation differs: open floor, eaves, hatch, tank, deck."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from shapely import union_all
from shapely.geometry.base import BaseGeometry

from calculations.headroom import eaves_band
from calculations.loft import Loft, LoftArea, ObstacleKind

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


def zones_of(loft: Loft, area: LoftArea, eaves_mm: float) -> tuple[Zone, ...]:
    """Split an area's floor, chimneys left out, into zones that do not overlap.

    eaves_mm: width of the strip along the wall plates that is laid otherwise; 0 for none.
    """
    left: BaseGeometry = area.floor()
    found: list[Zone] = []
    chimneys = [o.polygon() for o in loft.obstacles if o.kind is ObstacleKind.CHIMNEY]
    left = left.difference(union_all(chimneys)) if chimneys else left
    for obstacle_kind, zone_kind in _OBSTACLE_ZONES:
        shapes = [o.polygon() for o in loft.obstacles if o.kind is obstacle_kind]
        if shapes:
            left = _take(left, union_all(shapes), zone_kind, found)
    if eaves_mm > 0 and area.eaves_edges:
        left = _take(left, eaves_band(area, eaves_mm), ZoneKind.EAVES, found)
    _take(left, left, ZoneKind.OPEN, found)
    return tuple(reversed(found))


def _take(
    left: BaseGeometry, shape: BaseGeometry, kind: ZoneKind, found: list[Zone]
) -> BaseGeometry:
    part = left.intersection(shape)
    if part.area > 0:
        found.append(Zone(kind, part, part.area / 1e6))
    return left.difference(shape)
