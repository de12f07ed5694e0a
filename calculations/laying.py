"""The order of laying, which is the order of the cut list.

Layer by layer, the lowest first; within a layer the area farthest from the hatch first, so that
nobody walks back over laid wool; within an area the eaves first, one side after the other; then the
middles from the bay farthest from the hatch towards it (common practice, no published source).
"""

from __future__ import annotations

from collections.abc import Sequence

from shapely import Point as ShapelyPoint
from shapely.geometry.base import BaseGeometry

from calculations.cutting import Part
from calculations.joists import to_frame
from calculations.loft import Loft, ObstacleKind


def way_out(loft: Loft) -> ShapelyPoint:
    """Where the crew comes and goes [mm]: the middle of the first hatch, else a corner."""
    for obstacle in loft.obstacles:
        if obstacle.kind is ObstacleKind.HATCH:
            return obstacle.polygon().centroid
    return ShapelyPoint(loft.areas[0].outline_mm[0])


def in_laying_order(loft: Loft, parts: Sequence[Part]) -> list[Part]:
    """The parts in the order in which a crew lays them."""
    out = way_out(loft)
    floors: dict[str, BaseGeometry] = {area.name: area.floor() for area in loft.areas}

    def key(part: Part) -> tuple[float | int | str, ...]:
        piece = part[0]
        hatch = to_frame(out, piece.direction_deg)
        middle = to_frame(floors[piece.area].centroid, piece.direction_deg)
        left, low, right, high = piece.shape.bounds
        along = abs((left + right) / 2 - hatch.x)
        across = abs((low + high) / 2 - hatch.y)
        side = (
            (0 if ((left + right) / 2 < middle.x) == (hatch.x >= middle.x) else 1)
            if piece.zone == "eaves"
            else 0
        )
        return (
            piece.layer,
            -round(floors[piece.area].centroid.distance(out)),
            piece.area,
            0 if piece.zone == "eaves" else 1,
            side,
            -round(across),
            piece.bay,
            -round(along),
            left,
        )

    return sorted(parts, key=key)


def roll_numbers(parts: Sequence[Part]) -> dict[tuple[str, int], int]:
    """Number of each roll within its type, 1 = first opened when laying in the given order."""
    numbers: dict[tuple[str, int], int] = {}
    opened: dict[str, int] = {}
    for piece, cut in parts:
        if (piece.roll, cut.roll) not in numbers:
            opened[piece.roll] = opened.get(piece.roll, 0) + 1
            numbers[piece.roll, cut.roll] = opened[piece.roll]
    return numbers
