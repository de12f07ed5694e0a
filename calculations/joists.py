"""Where joists and bays lie in an area.

A survey gives spacing, not the place of each joist, so a rule is needed and stated: the first joist
stands with its face against the low side of the area (the side of least coordinate across the
joists) and the others follow at the spacing; what is left at the high side is the gap between the
last joist and the wall. Common practice, no published source.

Work is done in the joists' own frame: u runs along the joists, v across them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TypeVar

from shapely import affinity
from shapely.geometry.base import BaseGeometry

from calculations.loft import LoftArea
from calculations.outlines import Point

Geometry = TypeVar("Geometry", bound=BaseGeometry)

LEAST_GAP_MM = 20.0
"""A narrower gap at the last wall is closed by the snug fit of its neighbour."""


@dataclass(frozen=True, slots=True)
class Bay:
    """The space between two joists: from v = low_mm to v = high_mm in the joists' frame."""

    number: int
    low_mm: float
    high_mm: float

    @property
    def width_mm(self) -> float:
        return self.high_mm - self.low_mm


def _turn_deg(direction_deg: float) -> float:
    """Angle of the u axis: along the joists, in the sense that lets v grow with x or y."""
    return direction_deg if direction_deg < 45 else direction_deg - 180


def to_frame(geometry: Geometry, direction_deg: float) -> Geometry:
    """Turn a geometry [mm] so that `direction_deg` lies along u; v then grows with y (or x)."""
    angle = _turn_deg(direction_deg)
    return affinity.rotate(geometry, -angle, origin=(0, 0)) if angle else geometry


def from_frame(geometry: Geometry, direction_deg: float) -> Geometry:
    """The inverse of `to_frame`."""
    angle = _turn_deg(direction_deg)
    return affinity.rotate(geometry, angle, origin=(0, 0)) if angle else geometry


def joist_centres_mm(area: LoftArea) -> tuple[float, ...]:
    """Place of each joist's centre line across the joists: v in the joists' frame [mm]."""
    _, low, _, high = to_frame(area.polygon(), area.joist_direction_deg).bounds
    first = low + area.joist_width_mm / 2
    count = math.floor((high - first) / area.joist_spacing_mm + 1e-9) + 1
    return tuple(first + i * area.joist_spacing_mm for i in range(max(count, 1)))


def bays_of(area: LoftArea) -> tuple[Bay, ...]:
    """Bays of an area from its low side to its high side, numbered from 1.

    The last is the gap between the last joist and the wall, where it is wide enough to fill.
    """
    _, _, _, high = to_frame(area.polygon(), area.joist_direction_deg).bounds
    half = area.joist_width_mm / 2
    centres = joist_centres_mm(area)
    sides = [(a + half, b - half) for a, b in zip(centres, centres[1:], strict=False)]
    if high - (centres[-1] + half) >= LEAST_GAP_MM:
        sides.append((centres[-1] + half, high))
    return tuple(Bay(i, low, high) for i, (low, high) in enumerate(sides, start=1))


def joist_lines_mm(area: LoftArea) -> tuple[tuple[Point, Point], ...]:
    """Centre line of each joist in loft coordinates [mm], cut to the area's floor, for drawing."""
    from shapely import LineString

    floor = to_frame(area.floor(), area.joist_direction_deg)
    left, _, right, _ = floor.bounds
    lines: list[tuple[Point, Point]] = []
    for v in joist_centres_mm(area):
        cut = floor.intersection(LineString([(left - 1, v), (right + 1, v)]))
        for part in getattr(cut, "geoms", [cut]):
            if part.geom_type == "LineString" and part.length > 1:
                ends = from_frame(part, area.joist_direction_deg).coords
                lines.append(((ends[0][0], ends[0][1]), (ends[-1][0], ends[-1][1])))
    return tuple(lines)
