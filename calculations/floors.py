"""The floor of a loft area as depth readings see it: open, at the eaves, under things.

Everything in millimetres in the loft's own coordinates.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray
from shapely import MultiLineString, MultiPolygon, Point, Polygon, box
from shapely.affinity import rotate
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from calculations.headroom import distance_for_mm, eaves_band, eaves_runs, room_mm
from calculations.loft import Fixture, Loft, LoftArea, Obstacle, ObstacleKind, Roof

POSITION_TOLERANCE_MM = 150.0
"""How far a reading's typed position may be off and still count where it says it is."""

TANK_REACH_MM = 300.0
"""Wool is dressed up round a tank about this far; the tank allowance reaches so far."""

GREATEST_EAVES_REACH_MM = 1500.0


def pieces(shape: BaseGeometry) -> list[Polygon]:
    """The polygons of `shape`, largest first; lines and points dropped."""
    parts = shape.geoms if hasattr(shape, "geoms") else [shape]
    found = [part for part in parts if isinstance(part, Polygon) and part.area > 0]
    return sorted(found, key=lambda part: (-part.area, part.bounds))


def eaves_reach_mm(loft: Loft, depth_mm: float) -> float:
    """Distance from the eaves within which `depth_mm` does not fit under the roof [mm].

    Held under 1500 mm, so that a nearly flat roof does not excuse the whole floor.
    """
    return min(distance_for_mm(loft.roof, depth_mm), GREATEST_EAVES_REACH_MM)


@dataclass(frozen=True)
class ZoneGrid:
    """Zones of an area: cells of a grid laid along its joists, numbered row by row.

    counted: for each cell, whether it holds enough open floor to need a reading.
    """

    pivot_mm: tuple[float, float]
    direction_deg: float
    low_mm: tuple[float, float]
    step_mm: tuple[float, float]
    columns: int
    rows: int
    counted: tuple[bool, ...]

    def zone_of(self, x_mm: ArrayLike, y_mm: ArrayLike) -> NDArray[np.int64]:
        """Zone number of each position; -1 where the zone needs no reading.

        Positions a little outside the grid belong to its nearest cell.
        """
        turn = math.radians(self.direction_deg)
        dx = np.asarray(x_mm, dtype=np.float64) - self.pivot_mm[0]
        dy = np.asarray(y_mm, dtype=np.float64) - self.pivot_mm[1]
        along = dx * math.cos(turn) + dy * math.sin(turn) - self.low_mm[0]
        across = dy * math.cos(turn) - dx * math.sin(turn) - self.low_mm[1]
        column = np.clip(np.floor(along / self.step_mm[0]), 0, self.columns - 1)
        row = np.clip(np.floor(across / self.step_mm[1]), 0, self.rows - 1)
        cell = (row * self.columns + column).astype(np.int64)
        return np.where(np.array(self.counted)[cell], cell, -1)

    def cell(self, number: int) -> Polygon:
        """Outline of zone `number`, in loft coordinates."""
        row, column = divmod(number, self.columns)
        u = self.low_mm[0] + column * self.step_mm[0]
        v = self.low_mm[1] + row * self.step_mm[1]
        flat = box(u, v, u + self.step_mm[0], v + self.step_mm[1])
        turned = rotate(flat, self.direction_deg, origin=(0.0, 0.0))
        return Polygon(
            [(x + self.pivot_mm[0], y + self.pivot_mm[1]) for x, y in turned.exterior.coords]
        )

    @property
    def numbers(self) -> tuple[int, ...]:
        return tuple(i for i, needed in enumerate(self.counted) if needed)


@dataclass(frozen=True)
class AreaFloor:
    """One area's floor, ready for readings.

    net: outline less holes. open: net less obstacles and the strip at the eaves where full
    depth does not fit; where hardly anything is left (a narrow eaves void), net less
    obstacles, else net. eaves, tanks, decks: where those allowances are granted. solids:
    where no depth can be measured. fixtures: the loft's, which readings keep off.
    """

    area: LoftArea
    net: BaseGeometry
    open: BaseGeometry
    eaves: BaseGeometry
    eaves_edges: BaseGeometry
    roof: Roof
    tanks: BaseGeometry
    decks: BaseGeometry
    solids: BaseGeometry
    grid: ZoneGrid
    fixtures: tuple[Fixture, ...] = ()

    @cached_property
    def reach(self) -> BaseGeometry:
        """Where a reading of this area may say it lies."""
        return self.net.buffer(POSITION_TOLERANCE_MM)

    def room_at_eaves_mm(self, x_mm: float, y_mm: float) -> float:
        """Depth that fits under the roof there [mm], the position taken a little too low."""
        distance = float(self.eaves_edges.distance(Point(x_mm, y_mm)))
        return room_mm(self.roof, max(0.0, distance - POSITION_TOLERANCE_MM))

    @property
    def net_m2(self) -> float:
        return float(self.net.area) / 1e6

    @property
    def open_m2(self) -> float:
        return float(self.open.area) / 1e6


def area_floor(loft: Loft, area: LoftArea, min_depth_mm: float, zone_m2: float) -> AreaFloor:
    """`area`'s floor for readings against `min_depth_mm`, cut in zones of about `zone_m2`."""
    net = area.floor()
    eaves = eaves_band(area, eaves_reach_mm(loft, min_depth_mm))
    everything = unary_union([o.polygon() for o in loft.obstacles])
    kept = net.difference(everything)
    open_floor = kept.difference(eaves)
    for fallback in (kept, net):
        if open_floor.area >= 0.1 * net.area:
            break
        open_floor = fallback
    return AreaFloor(
        area=area,
        net=net,
        open=open_floor,
        eaves=eaves.buffer(POSITION_TOLERANCE_MM),
        eaves_edges=MultiLineString(eaves_runs(area)),
        roof=loft.roof,
        tanks=_union(loft.obstacles, ObstacleKind.TANK).buffer(TANK_REACH_MM),
        decks=_union(loft.obstacles, ObstacleKind.DECK).buffer(POSITION_TOLERANCE_MM),
        solids=unary_union(
            [
                _union(loft.obstacles, kind).buffer(-POSITION_TOLERANCE_MM)
                for kind in (ObstacleKind.CHIMNEY, ObstacleKind.HATCH, ObstacleKind.TANK)
            ]
        ),
        grid=zone_grid(open_floor, area.joist_direction_deg, zone_m2),
        fixtures=loft.fixtures,
    )


def _union(obstacles: tuple[Obstacle, ...], kind: ObstacleKind) -> BaseGeometry:
    shapes = [o.polygon() for o in obstacles if o.kind is kind]
    return unary_union(shapes) if shapes else MultiPolygon()


def zone_grid(floor: BaseGeometry, direction_deg: float, zone_m2: float) -> ZoneGrid:
    """A grid of zones over `floor`, its sides along and across `direction_deg`.

    Each side of the floor's bounding rectangle is cut into as many equal parts as come
    nearest to squares of `zone_m2`, and a side of 2 m or more into at least two. A cell
    needs a reading when it holds a quarter of its own size of floor, or one square metre
    if that is less; the cell with most floor always does.
    """
    first = floor.bounds
    pivot = (first[0], first[1])
    level = rotate(floor, -direction_deg, origin=pivot)
    low_u, low_v, high_u, high_v = level.bounds
    side = math.sqrt(zone_m2 * 1e6)
    counts = [_parts(high_u - low_u, side), _parts(high_v - low_v, side)]
    step = ((high_u - low_u) / counts[0], (high_v - low_v) / counts[1])
    grid = ZoneGrid(
        pivot_mm=pivot,
        direction_deg=direction_deg,
        low_mm=(low_u - pivot[0], low_v - pivot[1]),
        step_mm=step,
        columns=counts[0],
        rows=counts[1],
        counted=(True,) * (counts[0] * counts[1]),
    )
    least = min(0.25 * step[0] * step[1], 1e6)
    held = [float(grid.cell(i).intersection(floor).area) for i in range(len(grid.counted))]
    fullest = max(range(len(held)), key=held.__getitem__)
    counted = tuple(size >= least or i == fullest for i, size in enumerate(held))
    return ZoneGrid(
        grid.pivot_mm,
        direction_deg,
        grid.low_mm,
        step,
        grid.columns,
        grid.rows,
        counted,
    )


def _parts(length_mm: float, side_mm: float) -> int:
    least = 2 if length_mm >= 2000 else 1
    return max(least, round(length_mm / side_mm))
