"""A layer to pieces of wool: bays or roll-wide bands, cut round obstacles, eaves lengths apart.

A piece is what the geometry asks for; whether it is laid from one roll or with a butt joint is
decided by the cutting plan. Work is done in the layer's own frame: u along the strips, v across.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from shapely import LineString, Polygon, box
from shapely.geometry.base import BaseGeometry

from calculations.catalogue import RollType
from calculations.headroom import distance_for_mm, eaves_runs
from calculations.joists import bays_of, from_frame, to_frame
from calculations.layers import Layer
from calculations.loft import Loft, LoftArea
from calculations.outlines import polygonal
from calculations.shortfalls import where_laid
from calculations.stacks import cut_width, strips_beside

EAVES_LENGTH_MM = 2000.0
"""Eaves lengths are about this long, pushed in from the bay (common practice)."""
LEAST_PIECE_MM = 300.0
"""No butt joint leaves a piece shorter than this, and no shorter offcut is kept."""
SLIVER_MM = 25.0
"""What is narrower than this is closed by the snug fit of its neighbours."""
SLIVER_MM2 = 5_000.0
JOINT_MM2 = 120_000.0
"""A cut round an obstacle is worth its work when it saves this much wool (0.12 m2)."""
NEAR_MM = 60.0
"""How near to the line where it may begin a strip counts as being at the eaves."""

NECK_MM = 0.5
"""Half the width of a neck that is too narrow to hold wool together."""

Zone = Literal["eaves", "middle"]


@dataclass(frozen=True, slots=True)
class Piece:
    """One piece of wool as the floor asks for it, not yet assigned to a roll.

    shape: in the layer's frame [mm]. length_mm along u and width_mm across, as cut from the roll
    (snug-fit allowance included). joinable: may be laid from two pieces butted end to end.
    """

    area: str
    layer: int
    roll: str
    direction_deg: float
    bay: int
    zone: Zone
    shape: Polygon
    length_mm: float
    width_mm: float
    joinable: bool
    sawn: bool

    def part(self, start_mm: float, length_mm: float) -> Piece:
        """The part of the piece that begins `start_mm` from its low end."""
        left, low, _, high = self.shape.bounds
        slab = box(left + start_mm, low - 1, left + start_mm + length_mm, high + 1)
        return replace(self, shape=_largest(self.shape.intersection(slab)), length_mm=length_mm)


def pieces_of(
    loft: Loft, area: LoftArea, layer: Layer, roll: RollType, layers: Sequence[Layer]
) -> tuple[Piece, ...]:
    """All pieces of one layer of one area, in no particular order."""
    place = _turned(where_laid(loft, area, layer, layers), layer.direction_deg)
    if place.is_empty:
        return ()
    eaves = _EavesLines.of(loft, area, layer)
    pieces: list[Piece] = []
    for number, (band, shapes) in enumerate(_shapes(area, layer, roll, place), start=1):
        for shape in shapes:
            pieces += _lengths(area, layer, roll, number, shape, band[1] - band[0], eaves)
    return tuple(pieces)


def _turned(place: BaseGeometry, direction_deg: float) -> BaseGeometry:
    """The place in the layer's frame. Where it hangs together at a point only, it is parted there:
    turned by an odd angle its edges would cross by a rounding error."""
    turned = to_frame(place, direction_deg)
    if turned.is_valid:
        return turned
    apart = place.buffer(-NECK_MM, join_style="mitre").buffer(NECK_MM, join_style="mitre")
    return polygonal(to_frame(apart, direction_deg))


Band = tuple[float, float]
"""Low and high v of what one row of strips may fill [mm]."""


def _shapes(
    area: LoftArea, layer: Layer, roll: RollType, place: BaseGeometry
) -> list[tuple[Band, list[Polygon]]]:
    """The shapes to cut in each band; across joists, for the best place of the narrow band."""
    if layer.kind == "between_joists":
        return _cut_bands(place, _bay_bands(area, roll))
    ways = [_cut_bands(place, bands) for bands in _roll_bands(roll, place)]
    return min(ways, key=_wool_and_work_mm2)


def _cut_bands(place: BaseGeometry, bands: Sequence[Band]) -> list[tuple[Band, list[Polygon]]]:
    left, _, right, _ = place.bounds
    found: list[tuple[Band, list[Polygon]]] = []
    for low, high in bands:
        parts = _polygons(place.intersection(box(left - 1, low, right + 1, high)))
        found.append(((low, high), [shape for part in parts for shape in cut_round(part)]))
    return found


def _wool_and_work_mm2(ways: Sequence[tuple[Band, Sequence[Polygon]]]) -> float:
    return round(sum(_extent_area(s) + JOINT_MM2 for _, shapes in ways for s in shapes))


def _bay_bands(area: LoftArea, roll: RollType) -> list[Band]:
    bands: list[Band] = []
    for bay in bays_of(area):
        parts = strips_beside(roll, bay.width_mm)
        width = bay.width_mm / parts
        bands += [(bay.low_mm + i * width, bay.low_mm + (i + 1) * width) for i in range(parts)]
    return bands


def _roll_bands(roll: RollType, place: BaseGeometry) -> list[list[Band]]:
    """Bands as wide as the roll, with the narrow one that is left in the middle, last, or first.

    The middle comes first and wins where all take the same, so that eaves get whole widths.
    """
    _, low, _, high = place.bounds
    count = max(1, math.ceil((high - low) / roll.width_mm - 1e-6))
    narrow = high - low - (count - 1) * roll.width_mm
    ways: list[list[Band]] = []
    for at in dict.fromkeys((count // 2, count - 1, 0)):
        widths = [narrow if i == at else roll.width_mm for i in range(count)]
        edges = [low, *(low + total for total in itertools.accumulate(widths))]
        ways.append(list(zip(edges, edges[1:], strict=False)))
    return ways


def cut_round(part: Polygon) -> list[Polygon]:
    """Cut a piece of a band where that saves wool: round obstacles and along stepped edges.

    Each resulting shape is cut from a rectangle of its own extent. The cuts, square to the strip,
    are chosen among the corners of the shape so that the area of those rectangles plus JOINT_MM2
    for each is least (exact, by dynamic programming).
    """
    return [shape for whole in _without_holes(part) for shape in _best_cuts(whole)]


def _without_holes(part: Polygon) -> list[Polygon]:
    """A strip with an obstacle inside is cut across through the obstacle's middle."""
    if not part.interiors:
        return [part]
    middle = part.interiors[0].centroid.x
    left, low, right, high = part.bounds
    halves = (box(left - 1, low - 1, middle, high + 1), box(middle, low - 1, right + 1, high + 1))
    parts = [part_of for half in halves for part_of in _polygons(part.intersection(half))]
    return [free for piece in parts for free in _without_holes(piece)]


def _best_cuts(shape: Polygon) -> list[Polygon]:
    if _extent_area(shape) - shape.area < JOINT_MM2:
        return [shape]
    _, low, _, high = shape.bounds
    stops = sorted({round(u, 3) for u, _ in shape.exterior.coords})
    best: list[tuple[float, list[Polygon]]] = [(0.0, [])]
    for j in range(1, len(stops)):
        choices: list[tuple[float, list[Polygon]]] = []
        for i in range(j):
            slab = shape.intersection(box(stops[i], low - 1, stops[j], high + 1))
            shapes = _polygons(slab)
            cost = best[i][0] + sum(_extent_area(s) + JOINT_MM2 for s in shapes)
            choices.append((cost, best[i][1] + shapes))
        best.append(min(choices, key=lambda choice: choice[0]))
    return best[-1][1]


def _extent_area(shape: Polygon) -> float:
    left, low, right, high = shape.bounds
    return float((right - left) * (high - low))


@dataclass(frozen=True, slots=True)
class _EavesLines:
    """Eaves edges in a layer's frame, told apart by whether strips run into them or beside them."""

    ends: tuple[LineString, ...]
    sides: tuple[LineString, ...]
    reach_mm: float

    @classmethod
    def of(cls, loft: Loft, area: LoftArea, layer: Layer) -> _EavesLines:
        ends: list[LineString] = []
        sides: list[LineString] = []
        for run in eaves_runs(area):
            for edge in zip(run, run[1:], strict=False):
                line = to_frame(LineString(edge), layer.direction_deg)
                (u0, v0), (u1, v1) = line.coords
                (sides if abs(u1 - u0) > abs(v1 - v0) else ends).append(line)
        reach = distance_for_mm(loft.roof, layer.top_mm) + NEAR_MM
        return cls(tuple(ends), tuple(sides), reach)

    def beside(self, shape: Polygon) -> bool:
        """Whether the strip lies along an eaves edge."""
        return any(shape.distance(line) <= self.reach_mm for line in self.sides)

    def at_end(self, shape: Polygon, high: bool) -> bool:
        """Whether the low or high end of the strip runs into the eaves."""
        left, low, right, top = shape.bounds
        u = right if high else left
        end = box(u - 1, low, u + 1, top).intersection(shape)
        return any(end.distance(line) <= self.reach_mm for line in self.ends)


def eaves_length_mm(roll: RollType) -> float:
    """Length of an eaves piece [mm]: a whole share of the roll, as near to 2 m as can be."""
    return roll.length_mm / max(1, round(roll.length_mm / EAVES_LENGTH_MM))


def _lengths(
    area: LoftArea,
    layer: Layer,
    roll: RollType,
    bay: int,
    shape: Polygon,
    band_mm: float,
    eaves: _EavesLines,
) -> list[Piece]:
    """The shape as one piece, or as eaves lengths and a middle."""
    left, low, right, high = shape.bounds
    length, extent = right - left, high - low
    if min(length, extent) < SLIVER_MM or shape.area < SLIVER_MM2:
        return []
    width, sawn = _cut_from_roll(layer, roll, extent, band_mm)
    beside = eaves.beside(shape)
    piece = Piece(
        area.name,
        layer.number,
        layer.roll,
        layer.direction_deg,
        bay,
        "eaves" if beside else "middle",
        shape,
        length,
        width,
        joinable=length >= 2 * LEAST_PIECE_MM,
        sawn=sawn,
    )
    if layer.kind != "between_joists" or beside:
        return [piece]
    return _eaves_apart(piece, roll, eaves.at_end(shape, False), eaves.at_end(shape, True))


def _eaves_apart(piece: Piece, roll: RollType, low_end: bool, high_end: bool) -> list[Piece]:
    """Eaves lengths and what lies between them. An eaves length is one piece, pushed in whole."""
    if not low_end and not high_end:
        return [piece]
    eaves_mm, length = eaves_length_mm(roll), piece.length_mm
    if length <= eaves_mm + LEAST_PIECE_MM:
        return [replace(piece, zone="eaves", joinable=length > roll.length_mm)]
    if low_end and high_end and length <= 2 * eaves_mm + LEAST_PIECE_MM:
        half = length / 2
        return [
            replace(piece.part(start, half), zone="eaves", joinable=half > roll.length_mm)
            for start in (0.0, half)
        ]
    parts: list[Piece] = []
    start, rest = 0.0, length
    if low_end:
        parts.append(replace(piece.part(0.0, eaves_mm), zone="eaves", joinable=False))
        start, rest = eaves_mm, rest - eaves_mm
    if high_end:
        parts.append(replace(piece.part(length - eaves_mm, eaves_mm), zone="eaves", joinable=False))
        rest -= eaves_mm
    middle = piece.part(start, rest)
    return [*parts, replace(middle, joinable=rest >= 2 * LEAST_PIECE_MM)]


def _cut_from_roll(
    layer: Layer, roll: RollType, extent_mm: float, band_mm: float
) -> tuple[float, bool]:
    """Width to cut [mm] and whether it is sawn, for wool of that extent across the strip."""
    if layer.kind == "between_joists":
        cut = cut_width(roll, extent_mm)
        return cut.width_mm, cut.sawn
    for width_mm in sorted(roll.split_widths_mm):
        if abs(width_mm - extent_mm) < 1.0:
            return width_mm, False
    return min(extent_mm, roll.width_mm), extent_mm < roll.width_mm - 1e-6


def _polygons(geometry: BaseGeometry) -> list[Polygon]:
    parts = getattr(geometry, "geoms", [geometry])
    return [part for part in parts if isinstance(part, Polygon) and part.area > 1.0]


def _largest(geometry: BaseGeometry) -> Polygon:
    return max(_polygons(geometry), key=lambda polygon: polygon.area)


def outline_of(piece: Piece) -> tuple[tuple[float, float], ...]:
    """Outline of a piece in loft coordinates [mm], to 0.1 mm."""
    turned = from_frame(piece.shape, piece.direction_deg)
    rounded = Polygon([(round(x, 1) + 0.0, round(y, 1) + 0.0) for x, y in turned.exterior.coords])
    if not rounded.is_valid:
        rounded = _largest(polygonal(rounded))
    return tuple((x, y) for x, y in rounded.exterior.coords[:-1])
