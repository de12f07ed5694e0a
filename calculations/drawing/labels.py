"""Words and plates beside marks, placed where they cover the least of what is there."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from calculations.drawing.sheet import (
    INK,
    LINE,
    TEXT,
    WIDTH,
    Box,
    Position,
    Sheet,
    text_width,
)

OFF_PLAN_COST = 400.0
DISTANCE_COST = 0.4
INSIDE_STEP = 6.0
BOLD_WIDENS = 1.2


def place_label(
    sheet: Sheet,
    at: Position,
    lines: Sequence[str],
    *,
    size: float = TEXT,
    reach: float = 7.0,
) -> None:
    """Words beside a mark: right, left, above, below, corners, then the same farther out."""
    width, height = _size(lines, size)
    boxes = [
        (x - width / 2, y - height / 2, x + width / 2, y + height / 2)
        for x, y in _around(at, width / 2, height / 2, reach)
    ]
    _write(sheet, _best(sheet, at, [_kept_on(found) for found in boxes]), lines, size, False)


def place_inside(
    sheet: Sheet, shape: BaseGeometry, tries: Sequence[tuple[Sequence[str], float]]
) -> bool:
    """The first of `tries` (lines and their size) that fits within `shape` (in millimetres)
    clear of everything else; else the last if it fits at all. Whether any was written."""
    drawn = on_sheet(sheet, shape)
    shapely.prepare(drawn)
    last: tuple[Box, Sequence[str], float] | None = None
    for lines, size in tries:
        boxes = _boxes_within(drawn, *_size(lines, size, BOLD_WIDENS))
        if not boxes:
            continue
        centre = drawn.centroid if drawn.covers(drawn.centroid) else drawn.representative_point()
        found = _best(sheet, (centre.x, centre.y), boxes)
        last = (found, lines, size)
        if float(sheet.clashes([found])[0]) == 0:
            break
    if last is None:
        return False
    _write(sheet, *last, True)
    return True


def _boxes_within(drawn: Polygon, width: float, height: float) -> list[Box]:
    """Boxes of that size on a lattice, all within `drawn`."""
    low_x, low_y, high_x, high_y = drawn.bounds
    xs, ys = np.meshgrid(
        np.arange(low_x, high_x - width, INSIDE_STEP),
        np.arange(low_y, high_y - height, INSIDE_STEP),
    )
    tried = shapely.box(xs.ravel(), ys.ravel(), xs.ravel() + width, ys.ravel() + height)
    kept = shapely.covers(drawn, tried)
    return [
        (float(x), float(y), float(x) + width, float(y) + height)
        for x, y in zip(xs.ravel()[kept], ys.ravel()[kept], strict=True)
    ]


def place_plate(sheet: Sheet, at: Position, half_width: float, half_height: float) -> Position:
    """Middle of a plate for a mark at `at`: over it if that is free, else beside it with a
    line leading to a dot at the place itself."""
    boxes = [
        (x - half_width, y - half_height, x + half_width, y + half_height)
        for x, y in [at, *_around(at, half_width, half_height, 4.0)]
    ]
    found = _best(sheet, at, [_kept_on(b) for b in boxes])
    sheet.take((found[0] - 1, found[1] - 1, found[2] + 1, found[3] + 1))
    middle = ((found[0] + found[2]) / 2, (found[1] + found[3]) / 2)
    if math.dist(middle, at) > 1:
        sheet.line((at, middle), "leader", stroke=INK, stroke_width=0.8)
        sheet.add(
            f'<circle class="eb-place" cx="{at[0]:.2f}" cy="{at[1]:.2f}" r="1.5" fill="{INK}"/>'
        )
    return middle


def on_sheet(sheet: Sheet, shape: BaseGeometry) -> Polygon:
    """The largest piece of `shape` (millimetres) in sheet units."""
    parts = [p for p in getattr(shape, "geoms", [shape]) if isinstance(p, Polygon)]
    piece = max(parts, key=lambda p: float(p.area))
    return Polygon(
        [sheet.at(x, y) for x, y in piece.exterior.coords],
        [[sheet.at(x, y) for x, y in ring.coords] for ring in piece.interiors],
    )


def _size(lines: Sequence[str], size: float, first_widens: float = 1.0) -> tuple[float, float]:
    widths = [text_width(line, size) for line in lines]
    widths[0] *= first_widens
    return max(widths), len(lines) * size * LINE


def _kept_on(found: Box) -> Box:
    width = found[2] - found[0]
    left = min(max(found[0], 2.0), WIDTH - width - 2.0)
    return left, found[1], left + width, found[3]


def _best(sheet: Sheet, at: Position, boxes: Sequence[Box]) -> Box:
    """The box that covers least, is nearest, and stays over the plan."""
    costs = sheet.clashes(boxes)
    right_edge = sheet.left + sheet.plan_width
    for i, (left, top, right, bottom) in enumerate(boxes):
        costs[i] += DISTANCE_COST * math.dist(at, ((left + right) / 2, (top + bottom) / 2))
        off = max(sheet.left - left, right - right_edge, sheet.top - top)
        off = max(off, bottom - sheet.top - sheet.plan_height)
        if off > 4:
            costs[i] += OFF_PLAN_COST
    return boxes[int(costs.argmin())]


def _around(at: Position, half_width: float, half_height: float, reach: float) -> list[Position]:
    """Middles of boxes round `at`, nearest first."""
    x, y = at
    found = []
    for out in (reach, reach + 8, reach + 18, reach + 30):
        wide, high = out + half_width, out + half_height
        near_wide, near_high = 0.7 * out + half_width, 0.7 * out + half_height
        found += [(x + wide, y), (x - wide, y), (x, y - high), (x, y + high)]
        found += [(x + a * near_wide, y + b * near_high) for b in (-1, 1) for a in (1, -1)]
    return found


def _write(sheet: Sheet, found: Box, lines: Sequence[str], size: float, bold_first: bool) -> None:
    left, top, right, bottom = found
    for i, line in enumerate(lines):
        sheet.text(
            (left + right) / 2,
            top + size * (1.0 + LINE * i),
            line,
            size=size,
            anchor="middle",
            halo=True,
            weight="bold" if bold_first and i == 0 else "normal",
            name="label",
        )
    sheet.take((left - 1, top - 1, right + 1, bottom + 1))
