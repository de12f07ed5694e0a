"""Outlines as typed by a person: turned into polygons, or refused with the place named.

All lengths are millimetres in the loft's own flat coordinates.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache

import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.validation import explain_validity

Point = tuple[float, float]
Outline = tuple[Point, ...]

MAX_EXTENT_MM = 100_000.0
"""No loft of one job is longer than 100 m; a longer one is a typing slip."""
MIN_EXTENT_MM = 50.0
"""Anything narrower is nearly always metres typed where millimetres are asked."""
MM2_PER_M2 = 1_000_000.0


class LoftError(ValueError):
    """A loft that cannot be. Says where (`path`), what is wrong and the remedy."""

    def __init__(self, path: str, message: str, remedy: str) -> None:
        super().__init__(f"{path or 'loft'}: {message} {remedy}")
        self.path = path
        self.message = message
        self.remedy = remedy

    def within(self, prefix: str) -> LoftError:
        """The same error told from one level further out, e.g. `areas[1].outline_mm`."""
        path = f"{prefix}.{self.path}" if self.path else prefix
        return LoftError(path, self.message, self.remedy)


def checked_number(
    path: str, value: object, low: float, high: float, unit: str, remedy: str = ""
) -> float:
    """A finite number between `low` and `high` (both included), as a float.

    Raises LoftError when it is not a number, not finite, or out of range.
    """
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise LoftError(path, f"{value!r} is not a number.", f"Give a number of {unit}.")
    number = float(value)
    if not math.isfinite(number):
        raise LoftError(path, f"{value!r} is not finite.", f"Give a number of {unit}.")
    if not low <= number <= high:
        raise LoftError(
            path,
            f"{number:g} {unit} lies outside {low:g} to {high:g} {unit}.",
            remedy or "Measure again, and check the unit.",
        )
    return number


def checked_outline(path: str, points: Iterable[Sequence[float]]) -> Outline:
    """The outline as a tuple of points, closed implicitly, once it is known to be sound.

    Raises LoftError naming the point: too few, not numbers, repeated, crossing, or absurd in size.
    """
    outline = _read_points(path, points)
    if len(outline) > 1 and outline[0] == outline[-1]:
        outline = outline[:-1]
    if len(outline) < 3:
        raise LoftError(path, "has fewer than three corners.", "Add the missing corners.")
    for i, point in enumerate(outline):
        if point == outline[i - 1]:
            raise LoftError(
                f"{path}[{i}]", "repeats the corner before it.", "Remove one of the two."
            )
    _check_size(path, outline)
    polygon = Polygon(outline)
    if not polygon.is_valid:
        raise LoftError(
            path,
            f"crosses or touches itself{_place(polygon)}.",
            "Put the corners in order, walking once round the edge.",
        )
    return outline


def _read_points(path: str, points: Iterable[Sequence[float]]) -> Outline:
    read: list[Point] = []
    try:
        listed = list(points)
    except TypeError:
        raise LoftError(path, "is not a list of corners.", "Give corners as [x, y].") from None
    for i, point in enumerate(listed):
        if isinstance(point, str) or not isinstance(point, Sequence) or len(point) != 2:
            raise LoftError(f"{path}[{i}]", "is not a corner.", "Give each corner as [x, y] in mm.")
        x, y = (
            checked_number(f"{path}[{i}]", value, -MAX_EXTENT_MM, MAX_EXTENT_MM, "mm")
            for value in point
        )
        read.append((x, y))
    return tuple(read)


def _check_size(path: str, outline: Outline) -> None:
    xs, ys = [x for x, _ in outline], [y for _, y in outline]
    width, height = max(xs) - min(xs), max(ys) - min(ys)
    if max(width, height) > MAX_EXTENT_MM:
        raise LoftError(
            path,
            f"is {max(width, height) / 1000:.1f} m long.",
            "Check the corners: positions are millimetres.",
        )
    if min(width, height) < MIN_EXTENT_MM:
        raise LoftError(
            path,
            f"is only {min(width, height):g} mm across.",
            "Check the unit: positions are millimetres, so 6 m is 6000.",
        )


def _place(polygon: Polygon) -> str:
    """Where shapely found the fault, said for a person."""
    found = re.search(r"\[(\S+) (\S+)\]", explain_validity(polygon))
    if not found:
        return ""
    x, y = float(found.group(1)), float(found.group(2))
    return f" near ({x:.0f}, {y:.0f})"


@lru_cache(maxsize=4096)
def outline_polygon(outline: Outline, holes: tuple[Outline, ...] = ()) -> Polygon:
    """Shapely polygon of an outline with holes [mm]; cached, as both are immutable."""
    polygon = Polygon(outline, holes)
    shapely.prepare(polygon)
    return polygon


def polygonal(geometry: BaseGeometry) -> MultiPolygon:
    """The polygons of a geometry, made valid; the lines and points that cutting leaves are dropped.

    Turning by an odd angle moves corners by a rounding error, after which edges may cross.
    """
    if not geometry.is_valid:
        geometry = shapely.make_valid(geometry)
    parts = [part for part in _parts(geometry) if isinstance(part, Polygon) and not part.is_empty]
    return MultiPolygon(parts)


def _parts(geometry: BaseGeometry) -> Iterator[BaseGeometry]:
    for part in getattr(geometry, "geoms", [geometry]):
        if hasattr(part, "geoms"):
            yield from _parts(part)
        else:
            yield part
