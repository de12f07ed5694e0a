"""Outlines as a surveyor writes them: length by width from a corner, or a list of corners."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from jobs.errors import Refused

Outline = list[list[float]]
LEAST_CORNERS = 3


@dataclass(frozen=True, slots=True)
class Rectangle:
    """A rectangle in metres: its lower left corner, its length along x, its width along y."""

    left_m: float
    lower_m: float
    length_m: float
    width_m: float

    def outline_mm(self) -> Outline:
        """Four corners, counter-clockwise from the lower left, in mm."""
        left, lower = self.left_m * 1000, self.lower_m * 1000
        right, upper = left + self.length_m * 1000, lower + self.width_m * 1000
        return [[left, lower], [right, lower], [right, upper], [left, upper]]


def rectangle_of(outline_mm: Sequence[Sequence[float]]) -> Rectangle | None:
    """The rectangle an outline draws, or None when it is another shape."""
    corners = sorted({(float(x), float(y)) for x, y in outline_mm})
    xs, ys = sorted({x for x, _ in corners}), sorted({y for _, y in corners})
    if len(outline_mm) != 4 or len(corners) != 4 or len(xs) != 2 or len(ys) != 2:
        return None
    return Rectangle(
        left_m=xs[0] / 1000,
        lower_m=ys[0] / 1000,
        length_m=(xs[1] - xs[0]) / 1000,
        width_m=(ys[1] - ys[0]) / 1000,
    )


def corners_to_outline_mm(text: str) -> Outline:
    """Read corners in metres: "0 0, 8 0, 8 6, 0 6" (comma, semicolon or new line between).

    Raises:
        Refused: a corner is not two numbers, or there are fewer than three.
    """
    outline = []
    for piece in filter(None, (part.strip() for part in re.split(r"[,;\n]+", text))):
        numbers = piece.split()
        try:
            x, y = (float(number) for number in numbers)
        except ValueError as error:
            raise Refused(
                f"“{piece}” is not a corner.",
                field="corners",
                remedy="Write each corner as two numbers in metres, such as 8.0 6.0.",
            ) from error
        outline.append([x * 1000, y * 1000])
    if len(outline) < LEAST_CORNERS:
        raise Refused("An outline needs at least three corners.", field="corners")
    return outline


def outline_to_corners(outline_mm: Sequence[Sequence[float]]) -> str:
    return "\n".join(f"{x / 1000:g} {y / 1000:g}" for x, y in outline_mm)
