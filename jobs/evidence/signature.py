"""A signature as the path of its strokes, in a box of 1000 by 400 units."""

from __future__ import annotations

import re

from jobs.errors import Refused

WIDTH, HEIGHT = 1000, 400
LONGEST_PATH = 20_000
LEAST_EXTENT = 8.0

_TOKEN = re.compile(r"[ ,]*([MLQC]|-?[0-9]+(?:\.[0-9]+)?)[ ,]*")
_POINTS_OF = {"M": 1, "L": 1, "Q": 2, "C": 3}


def checked_signature(path: str) -> str:
    """The path, once it holds nothing but strokes inside the box.

    Takes the commands M, L, Q and C with absolute numbers (SVG 2, section 9.3).

    Raises:
        Refused: too long, other characters, a number missing, outside the box, or only a dot.
    """
    path = path.strip()
    if len(path) > LONGEST_PATH:
        raise _refused(f"It has {len(path)} characters; {LONGEST_PATH} are the most.")
    points = _points(_tokens(path))
    for x, y in points:
        if not (0 <= x <= WIDTH and 0 <= y <= HEIGHT):
            raise _refused(f"It leaves the box at {x:g}, {y:g}.")
    xs, ys = [x for x, _ in points], [y for _, y in points]
    if max(xs) - min(xs) < LEAST_EXTENT and max(ys) - min(ys) < LEAST_EXTENT:
        raise _refused("It is only a dot.")
    return path


def _tokens(path: str) -> list[str]:
    """Commands and numbers in order; anything else is refused. Linear in the path's length."""
    found: list[str] = []
    at = 0
    while at < len(path):
        token = _TOKEN.match(path, at)
        if token is None:
            raise _refused("It holds something else than strokes.")
        found.append(token.group(1))
        at = token.end()
    return found


def _points(tokens: list[str]) -> list[tuple[float, float]]:
    if not tokens or tokens[0] != "M":
        raise _refused("A stroke begins with a move.")
    points: list[tuple[float, float]] = []
    at = 0
    while at < len(tokens):
        command = tokens[at]
        if command not in _POINTS_OF:
            raise _refused("A number stands where a stroke should begin.")
        numbers = tokens[at + 1 : at + 1 + 2 * _POINTS_OF[command]]
        if len(numbers) < 2 * _POINTS_OF[command] or any(n in _POINTS_OF for n in numbers):
            raise _refused("A stroke lacks a number.")
        values = [float(number) for number in numbers]
        points += zip(values[::2], values[1::2], strict=True)
        at += 1 + len(numbers)
    return points


def _refused(message: str) -> Refused:
    return Refused(
        f"The signature can't be kept. {message}",
        field="signature_svg",
        remedy="Clear the box and sign again, or confirm with the typed name.",
    )
