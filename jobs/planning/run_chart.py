"""How a search went on: the price of the best plan over time, as a line to be drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

WIDTH, HEIGHT = 480.0, 120.0
LEFT, RIGHT, TOP, BOTTOM = 52.0, 12.0, 10.0, 22.0


@dataclass(frozen=True, slots=True)
class Chart:
    """A stepped line from the first plan found to now. Points are minutes of travel."""

    path: str
    end_x: float
    end_y: float
    highest: float
    lowest: float
    seconds: float
    width: float = WIDTH
    height: float = HEIGHT
    left: float = LEFT
    right: float = WIDTH - RIGHT
    top: float = TOP
    bottom: float = HEIGHT - BOTTOM

    @property
    def words(self) -> str:
        saved = self.highest - self.lowest
        if saved < 1:
            return f"The first plan was the best that was found, at {self.lowest:,.0f} points."
        return (
            f"The first plan cost {self.highest:,.0f} points, the best one costs "
            f"{self.lowest:,.0f}: {saved:,.0f} fewer after {self.seconds:.0f} s."
        )


def chart_of(curve: Sequence[tuple[float, float]], elapsed_s: float) -> Chart | None:
    """`curve`: (seconds after the start, total points) of each better plan, in order of time."""
    if not curve:
        return None
    highest, lowest = max(total for _, total in curve), min(total for _, total in curve)
    span_s = max(elapsed_s, curve[-1][0], 1.0)
    reach = max(highest - lowest, 1.0)

    def x(at: float) -> float:
        return round(LEFT + (WIDTH - LEFT - RIGHT) * min(at, span_s) / span_s, 1)

    def y(total: float) -> float:
        return round(TOP + (HEIGHT - TOP - BOTTOM) * (highest - total) / reach, 1)

    steps = [f"M{x(curve[0][0])} {y(curve[0][1])}"]
    steps += [f"H{x(at)} V{y(total)}" for at, total in curve[1:]]
    steps.append(f"H{x(span_s)}")
    return Chart(" ".join(steps), x(span_s), y(curve[-1][1]), highest, lowest, span_s)
