"""The sheet that drawings are made on: a plan to scale above, words and a key below.

The sheet is 360 units wide, so that on a phone of 390 px one unit is about one pixel and
type sizes hold; in print it is scaled as a whole. Only presentation attributes are used (no
style elements or attributes, no scripts, nothing fetched), so that a page with a strict
content security policy can hold the drawing as it is.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable, Sequence
from html import escape

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

Position = tuple[float, float]
Box = tuple[float, float, float, float]

WIDTH = 360.0
MARGIN = 12.0
TEXT = 10.0
SMALL = 8.5
TITLE = 13.0
INK = "#1c1c1c"
SOFT = "#6a6a6a"
FAINT = "#cfcfcf"
PALE = "#ececec"
PAPER = "#ffffff"
LETTER_WIDTH = 0.55
"""Mean width of a letter to its size, for the widest sans-serif fonts in common use."""
LINE = 1.35


def fixed(value: float) -> str:
    """A length for SVG: two decimals at most, no negative zero."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def text_width(words: str, size: float) -> float:
    """Width of `words` in units, estimated; no font is at hand to measure with."""
    return len(words) * size * LETTER_WIDTH


def wrap(words: str, size: float, width: float) -> list[str]:
    """`words` broken at spaces into lines of at most `width` units."""
    lines: list[str] = []
    for word in words.split():
        if lines and text_width(f"{lines[-1]} {word}", size) <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


class Sheet:
    """SVG elements in order, with a scale from millimetres to units for the plan."""

    def __init__(self, bounds_mm: tuple[float, float, float, float], *, inset: float = 34.0):
        low_x, low_y, high_x, high_y = bounds_mm
        self._low_x, self._high_y = low_x, high_y
        room = WIDTH - 2 * MARGIN - inset
        self.scale = min(room / (high_x - low_x), 430.0 / (high_y - low_y))
        plan_width = (high_x - low_x) * self.scale
        self.left = MARGIN + inset + (room - plan_width) / 2
        self.top = 0.0
        self.plan_width = plan_width
        self.plan_height = (high_y - low_y) * self.scale
        self.parts: list[str] = []
        self.defs: list[str] = []
        self.bottom = 0.0
        self.taken: list[Box] = []

    def at(self, x_mm: float, y_mm: float) -> Position:
        """Sheet position of a loft position; y points up in the loft, down on the sheet."""
        return (
            self.left + (x_mm - self._low_x) * self.scale,
            self.top + (self._high_y - y_mm) * self.scale,
        )

    # Elements, in sheet units.

    def add(self, element: str) -> None:
        self.parts.append(element)

    def open_group(self, name: str, label: str = "") -> None:
        told = f' role="group" aria-label="{escape(label)}"' if label else ""
        self.add(f'<g class="eb-{name}"{told}>')

    def close_group(self) -> None:
        self.add("</g>")

    def path(self, d: str, name: str, **attributes: str | float) -> None:
        self.add(f'<path class="eb-{name}" d="{d}"{attributes_text(attributes)}/>')

    def line(self, points: Sequence[Position], name: str, **attributes: str | float) -> None:
        """An open line through sheet positions."""
        self.path(line_path(points), name, **{"fill": "none", **attributes})

    def text(
        self,
        x: float,
        y: float,
        words: str,
        *,
        size: float = TEXT,
        anchor: str = "start",
        weight: str = "normal",
        fill: str = INK,
        halo: bool = False,
        turn: float = 0.0,
        name: str = "words",
    ) -> None:
        """One line of words with its baseline at y."""
        more: dict[str, str | float] = {"font-size": size, "fill": fill}
        if anchor != "start":
            more["text-anchor"] = anchor
        if weight != "normal":
            more["font-weight"] = weight
        if halo:
            more |= {
                "stroke": PAPER,
                "stroke-width": 2.6,
                "stroke-linejoin": "round",
                "paint-order": "stroke",
            }
        if turn:
            more["transform"] = f"rotate({fixed(turn)} {fixed(x)} {fixed(y)})"
        self.add(
            f'<text class="eb-{name}" x="{fixed(x)}" y="{fixed(y)}"'
            f"{attributes_text(more)}>{escape(words)}</text>"
        )

    def pattern(self, key: str, size: float, inner: str, turn: float = 0.0) -> str:
        """A fill pattern; returns what to put in a fill attribute."""
        turned = f' patternTransform="rotate({fixed(turn)})"' if turn else ""
        found = (
            f'<pattern id="@{key}" patternUnits="userSpaceOnUse" width="{fixed(size)}" '
            f'height="{fixed(size)}"{turned}>{inner}</pattern>'
        )
        if found not in self.defs:
            self.defs.append(found)
        return f"url(#@{key})"

    # Shapes of the loft.

    def outline_path(self, shape: BaseGeometry) -> str:
        """Path data of a shape in millimetres, holes included."""
        rings: list[str] = []
        for piece in getattr(shape, "geoms", [shape]):
            if isinstance(piece, Polygon) and not piece.is_empty:
                for ring in (piece.exterior, *piece.interiors):
                    points = [self.at(x, y) for x, y in list(ring.coords)[:-1]]
                    rings.append(line_path(points) + "Z")
        return "".join(rings)

    def shape(self, shape: BaseGeometry, name: str, **attributes: str | float) -> None:
        d = self.outline_path(shape)
        if d:
            self.path(d, name, **{"fill-rule": "evenodd", **attributes})

    # Room taken by words and marks, so that labels keep clear of one another.

    def take(self, box: Box) -> None:
        self.taken.append(box)

    def take_line(self, points: Sequence[Position], half: float = 2.0) -> None:
        """Keep words off a line through `points`."""
        for start, end in zip(points, points[1:], strict=False):
            count = max(1, math.ceil(math.dist(start, end) / (2 * half)))
            for i in range(count + 1):
                x = start[0] + (end[0] - start[0]) * i / count
                y = start[1] + (end[1] - start[1]) * i / count
                self.take((x - half, y - half, x + half, y + half))

    def clashes(self, boxes: Sequence[Box]) -> NDArray[np.float64]:
        """How much of each box lies over room already taken, in square units."""
        tried = np.asarray(boxes, dtype=np.float64).reshape(-1, 1, 4)
        taken = np.asarray(self.taken, dtype=np.float64).reshape(1, -1, 4)
        wide = np.minimum(tried[..., 2], taken[..., 2]) - np.maximum(tried[..., 0], taken[..., 0])
        high = np.minimum(tried[..., 3], taken[..., 3]) - np.maximum(tried[..., 1], taken[..., 1])
        return np.asarray((np.clip(wide, 0, None) * np.clip(high, 0, None)).sum(axis=1))

    def finish(self, title: str, description: str) -> str:
        """The complete SVG. Identifiers are made from the content, so that several drawings
        can stand in one page without sharing a pattern by accident."""
        inner = "".join(self.parts)
        defs = "".join(self.defs)
        mark = hashlib.sha256((title + defs + inner).encode()).hexdigest()[:10]
        height = fixed(math.ceil(self.bottom + MARGIN))
        text = (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="eb-drawing" role="img" '
            f'viewBox="0 0 {fixed(WIDTH)} {height}" width="100%" '
            f'font-family="system-ui, -apple-system, Segoe UI, Roboto, Helvetica, Arial, '
            f'sans-serif" font-variant-numeric="tabular-nums" '
            f'aria-labelledby="@title @desc" data-plan="{self._place()}">'
            f'<title id="@title">{escape(title)}</title>'
            f'<desc id="@desc">{escape(description)}</desc>'
            f"<defs>{defs}</defs>"
            f'<rect class="eb-paper" width="{fixed(WIDTH)}" height="{height}" fill="{PAPER}"/>'
            f"{inner}</svg>"
        )
        return (
            text.replace('id="@', f'id="eb-{mark}-')
            .replace("url(#@", f"url(#eb-{mark}-")
            .replace('"@title @desc"', f'"eb-{mark}-title eb-{mark}-desc"')
        )

    def _place(self) -> str:
        """Where the plan lies, for a page that turns a touch into a loft position: left, top
        [sheet units], least x, greatest y [mm], scale [units per mm]."""
        place = (self.left, self.top, self._low_x, self._high_y)
        return " ".join([*(fixed(value) for value in place), f"{self.scale:.8f}"])


def line_path(points: Iterable[Position]) -> str:
    """Path data through `points`, without closing."""
    return "M" + "L".join(f"{fixed(x)} {fixed(y)}" for x, y in points)


def attributes_text(attributes: dict[str, str | float]) -> str:
    """Attributes as text; underscores in names stand for hyphens."""
    return "".join(
        f' {name.replace("_", "-")}="{escape(value) if isinstance(value, str) else fixed(value)}"'
        for name, value in attributes.items()
    )
