"""Where depth readings are still wanted."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from shapely import Point, contains_xy
from shapely.geometry.base import BaseGeometry
from shapely.ops import nearest_points

from calculations.clear_floor import WALL_CLEARANCE_MM, clear_floors
from calculations.floors import AreaFloor, pieces

LATTICE_MM = 250.0
CLEARANCE_MM = WALL_CLEARANCE_MM
EDGE_MM = 5.0
"""Positions are rounded: they lie this far within the shape that is meant."""
COMFORTABLE_MM = 400.0
"""Readings keep this far from walls and obstacles where there is room."""

Position = tuple[float, float]


@dataclass(frozen=True, slots=True)
class MeasuringPoint:
    """A position [mm] in an area that still wants a reading, and why."""

    area: str
    x_mm: float
    y_mm: float
    why: str


def points_wanted(
    floor: AreaFloor,
    taken: Sequence[Position],
    zones_read: Iterable[int],
    needed: int,
) -> list[MeasuringPoint]:
    """Positions still wanted in one area: every unread zone, then the widest gaps.

    taken: positions of counted readings [mm]. needed: readings the area needs in all.
    Positions are whole millimetres on open floor, off joists, cables, fittings and tanks where
    there is room for that.
    """
    read = set(zones_read)
    clear = clear_floors(floor)
    found: list[MeasuringPoint] = []
    for zone in floor.grid.numbers:
        if zone not in read:
            x, y = place_in_zone(floor, zone, clear)
            found.append(MeasuringPoint(floor.area.name, x, y, "no reading in this zone yet"))
    positions = [*taken, *((p.x_mm, p.y_mm) for p in found)]
    lattice = _clear_of(_lattice(floor.open), clear, needed)
    while len(positions) < needed:
        x, y = _farthest(lattice, positions)
        positions.append((x, y))
        found.append(MeasuringPoint(floor.area.name, x, y, "the widest gap between readings"))
    return found


def place_in_zone(floor: AreaFloor, zone: int, clear: Sequence[BaseGeometry]) -> Position:
    """Near the middle of a zone, in the best of `clear` (`clear_floors`) that reaches into it."""
    cell = floor.grid.cell(zone)
    middle = middle_of(cell.intersection(floor.open))
    for shape in clear:
        inner = cell.intersection(shape).buffer(-EDGE_MM)
        if not inner.is_empty:
            near, _ = nearest_points(inner, Point(middle))
            return float(round(near.x)), float(round(near.y))
    return middle


def _clear_of(
    lattice: list[Position], clear: Sequence[BaseGeometry], needed: int
) -> list[Position]:
    """The positions in the best of `clear` that leaves enough to choose from."""
    points = np.array(lattice)
    for shape in clear:
        kept = contains_xy(shape, points[:, 0], points[:, 1])
        if int(kept.sum()) >= needed:
            return [(float(x), float(y)) for x, y in points[kept]]
    return lattice


def middle_of(shape: BaseGeometry) -> Position:
    """A position well inside the largest piece of `shape`, in whole millimetres."""
    piece = pieces(shape)[0]
    point = piece.centroid
    if not piece.buffer(-CLEARANCE_MM).covers(point):
        point = piece.representative_point()
    return float(round(point.x)), float(round(point.y))


def _lattice(shape: BaseGeometry) -> list[Position]:
    inner = shape.buffer(-COMFORTABLE_MM)
    if inner.area < 0.25 * shape.area:
        inner = shape.buffer(-CLEARANCE_MM)
    if inner.is_empty:
        return [middle_of(shape)]
    low_x, low_y, high_x, high_y = inner.bounds
    step = min(LATTICE_MM, max(high_x - low_x, high_y - low_y) / 8)
    xs = np.arange(math.ceil(low_x), high_x + 1, step)
    ys = np.arange(math.ceil(low_y), high_y + 1, step)
    grid_x, grid_y = np.meshgrid(xs, ys)
    kept = contains_xy(inner, grid_x.ravel(), grid_y.ravel())
    points = np.column_stack([grid_x.ravel()[kept], grid_y.ravel()[kept]])
    return [(float(round(x)), float(round(y))) for x, y in points] or [middle_of(shape)]


def _farthest(lattice: list[Position], positions: list[Position]) -> Position:
    points = np.array(lattice)
    if not positions:
        return middle_of_points(lattice)
    others = np.array(positions)
    gaps = np.hypot(
        points[:, None, 0] - others[None, :, 0], points[:, None, 1] - others[None, :, 1]
    )
    return lattice[int(gaps.min(axis=1).argmax())]


def middle_of_points(lattice: list[Position]) -> Position:
    points = np.array(lattice)
    centre = points.mean(axis=0)
    return lattice[int(np.hypot(*(points - centre).T).argmin())]
