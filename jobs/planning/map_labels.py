"""Where the names on a map of rounds stand: clear of stops, bases, depots and one another.

Names are placed one after another, the weightiest first. Each tries the places it may have and
takes the one that covers nothing and is crossed by the fewest ways. Lengths are in units of the
picture; the width of a name is reckoned from its letters, as a browser's own is not known here.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

Point = tuple[float, float]
AIR = 2.0


@dataclass(frozen=True, slots=True)
class Box:
    """A part of the picture that something covers."""

    left: float
    top: float
    right: float
    bottom: float

    @classmethod
    def about(cls, x: float, y: float, across: float, up: float) -> Box:
        """Around a point, that far to each side."""
        return cls(x - across, y - up, x + across, y + up)

    def covers(self, other: Box) -> bool:
        """Whether the two come nearer to each other than `AIR`."""
        return (
            self.left < other.right + AIR
            and other.left < self.right + AIR
            and self.top < other.bottom + AIR
            and other.top < self.bottom + AIR
        )

    def is_crossed(self, begin: Point, end: Point) -> bool:
        """Whether a straight line goes through it (Liang and Barsky 1984, parametric clipping)."""
        enters, leaves = 0.0, 1.0
        for start, step, low, high in (
            (begin[0], end[0] - begin[0], self.left, self.right),
            (begin[1], end[1] - begin[1], self.top, self.bottom),
        ):
            if step == 0:
                if not low <= start <= high:
                    return False
                continue
            first, last = sorted(((low - start) / step, (high - start) / step))
            enters, leaves = max(enters, first), min(leaves, last)
        return enters <= leaves


@dataclass(frozen=True, slots=True)
class Lettering:
    """How large a kind of name is: half a letter's width, and how far it rises and hangs."""

    half_letter: float
    rises: float
    hangs: float = 3.5

    def half(self, text: str) -> float:
        """Half the width of a name."""
        return len(text) * self.half_letter

    def box(self, text: str, x: float, y: float) -> Box:
        """What a name covers that stands on the line at `y`, its middle at `x`."""
        half = self.half(text)
        return Box(x - half, y - self.rises, x + half, y + self.hangs)


CREW = Lettering(half_letter=4.1, rises=11.5)
DEPOT = Lettering(half_letter=3.5, rises=10.0)
DISTRICT = Lettering(half_letter=3.2, rises=10.0)


@dataclass(slots=True)
class Sheet:
    """A picture on which names are placed; what is taken, and the lines of the ways."""

    width: float
    height: float
    taken: list[Box]
    lines: Sequence[tuple[Point, Point]] = field(default_factory=tuple)

    def place(
        self,
        text: str,
        places: Iterable[Point],
        letters: Lettering,
        own: Sequence[tuple[Point, Point]] = (),
    ) -> Point | None:
        """The best of those places, kept as taken; None if each of them covers something.

        `own`: lines that the name belongs to, and may lie on.
        """
        best: tuple[int, int, Point] | None = None
        for nth, (x, y) in enumerate(places):
            x = min(max(x, letters.half(text) + 4), self.width - letters.half(text) - 4)
            box = letters.box(text, x, y)
            inside = box.top > 2 and box.bottom < self.height - 2
            if not inside or any(box.covers(other) for other in self.taken):
                continue
            crossings = sum(box.is_crossed(*line) for line in self.lines if line not in own)
            if best is None or (crossings, nth) < best[:2]:
                best = crossings, nth, (round(x, 1), round(y, 1))
        if best is None:
            return None
        self.taken.append(letters.box(text, *best[2]))
        return best[2]


def along(legs: Sequence[tuple[Point, Point]]) -> Iterator[Point]:
    """Places for the name of a way: over or under its legs, the first leg and its middle first."""
    for begin, end in legs:
        for share in (0.45, 0.3, 0.6, 0.75, 0.2):
            x, y = begin[0] + (end[0] - begin[0]) * share, begin[1] + (end[1] - begin[1]) * share
            yield from ((x, y + 4), (x, y - 8), (x, y + 16))
            yield from ((x + 46, y + 4), (x - 46, y + 4))


def around(x: float, y: float, across: float, up: float, half: float) -> Iterator[Point]:
    """Places for the name of a thing of that size: under, over, beside, then farther off."""
    for far in (0.0, 14.0, 28.0, 44.0):
        yield x, y + up + 12 + far
        yield x, y - up - 5 - far
        yield x + across + half + 5 + far, y + 4
        yield x - across - half - 5 - far, y + 4
        for side in (1, -1):
            yield x + side * (across + half) * 0.8, y + up + 12 + far
            yield x + side * (across + half) * 0.8, y - up - 5 - far
