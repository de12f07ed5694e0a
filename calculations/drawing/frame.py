"""A frame with axes for charts, on the same sheet as the plans."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from calculations.drawing.labels import BOLD_WIDENS
from calculations.drawing.sheet import (
    FAINT,
    INK,
    LINE,
    MARGIN,
    SMALL,
    SOFT,
    TEXT,
    TITLE,
    WIDTH,
    Position,
    Sheet,
    text_width,
    wrap,
)

Range = tuple[float, float]
LEFT_ROOM = 34.0
PLOT_HEIGHT = 190.0


class Frame:
    """A sheet with a title and two axes; `at` gives the sheet position of a value pair."""

    def __init__(self, title: str, subtitle: str, across: Range, up: Range) -> None:
        self.sheet = Sheet((0.0, 0.0, 100.0, 60.0))
        self.across, self.up = across, up
        y = MARGIN + TITLE
        self.sheet.text(MARGIN, y, title, size=TITLE, weight="bold", name="title")
        for words in wrap(subtitle, TEXT, WIDTH - 2 * MARGIN):
            y += TEXT * LINE
            self.sheet.text(MARGIN, y, words, fill=SOFT, name="subtitle")
        self.left, self.right = MARGIN + LEFT_ROOM, WIDTH - MARGIN
        self.top, self.bottom = y + 26, y + 26 + PLOT_HEIGHT
        self.sheet.top, self.sheet.plan_height = self.top, PLOT_HEIGHT
        self.sheet.left, self.sheet.plan_width = self.left, self.right - self.left
        self.sheet.bottom = self.bottom + 30

    def at(self, across: float, up: float) -> Position:
        x = (across - self.across[0]) / (self.across[1] - self.across[0])
        y = (up - self.up[0]) / (self.up[1] - self.up[0])
        return (
            self.left + x * (self.right - self.left),
            self.bottom - y * (self.bottom - self.top),
        )

    def axes(
        self,
        across_words: str,
        up_words: str,
        *,
        across_text: Callable[[float], str] | None = None,
        up_text: Callable[[float], str] | None = None,
        across_ticks: Sequence[float] | None = None,
    ) -> None:
        """Both axes with round ticks and what they measure."""
        sheet = self.sheet
        sheet.open_group("axes", f"{up_words} by {across_words}")
        for value in nice_ticks(*self.up):
            (x1, y), (x2, _) = self.at(self.across[0], value), self.at(self.across[1], value)
            sheet.line(((x1, y), (x2, y)), "grid", stroke=FAINT, stroke_width=0.6)
            words = up_text(value) if up_text else f"{value:g}"
            sheet.text(x1 - 4, y + 3, words, size=SMALL, anchor="end", name="tick")
        ticks = nice_ticks(*self.across) if across_ticks is None else across_ticks
        for value in ticks:
            x, y = self.at(value, self.up[0])
            sheet.line(((x, y), (x, y + 3)), "tick", stroke=INK, stroke_width=0.8)
            words = across_text(value) if across_text else f"{value:g}"
            sheet.text(x, y + 12, words, size=SMALL, anchor="middle", name="tick")
        sheet.line(
            [(self.left, self.top), (self.left, self.bottom), (self.right, self.bottom)],
            "axis",
            stroke=INK,
            stroke_width=1,
        )
        sheet.text(self.left - LEFT_ROOM + 4, self.top - 9, up_words, size=SMALL + 0.5, fill=SOFT)
        sheet.text(
            self.right, self.bottom + 25, across_words, size=SMALL + 0.5, anchor="end", fill=SOFT
        )
        sheet.close_group()

    def line(self, points: Sequence[tuple[float, float]], name: str, dash: str = "") -> None:
        """A curve through value pairs."""
        drawn = [self.at(x, y) for x, y in points]
        if dash:
            self.sheet.line(drawn, name, stroke=INK, stroke_width=1.1, stroke_dasharray=dash)
        else:
            self.sheet.line(drawn, name, stroke=INK, stroke_width=1.1)

    def level(self, value: float, words: str, dash: str = "") -> None:
        """A level line across the frame with words at its right end."""
        self.level_line(value, dash)
        self._words_on(value, words, self.at(self.across[1], value)[0], above=True)

    def level_line(self, value: float, dash: str = "") -> None:
        self.line([(self.across[0], value), (self.across[1], value)], "level", dash)

    def take_level(self, value: float) -> None:
        """Keep words off a level line."""
        y = self.at(self.across[0], value)[1]
        self.sheet.take((self.left, y - 0.9, self.right, y + 0.9))

    def level_words(self, value: float, words: str) -> None:
        """Words on a level line where they cover least of what is taken: at its right end if that
        is free. Called after the marks are drawn."""
        width, steps = text_width(words, SMALL) * BOLD_WIDENS, 8
        ends = [self.right - i * (self.right - self.left - width) / steps for i in range(steps + 1)]
        places = [(end, above) for end in ends for above in (True, False)]
        y = self.at(self.across[0], value)[1]
        boxes = [
            (end - width, y - 3 - SMALL, end, y - 1)
            if above
            else (end - width, y + 1, end, y + 3 + SMALL)
            for end, above in places
        ]
        end, above = places[int(self.sheet.clashes(boxes).argmin())]
        self._words_on(value, words, end, above=above)

    def _words_on(self, value: float, words: str, end_x: float, *, above: bool) -> None:
        y = self.at(self.across[0], value)[1]
        self.sheet.text(
            end_x,
            y - 3 if above else y + 1 + SMALL,
            words,
            size=SMALL,
            anchor="end",
            halo=True,
            weight="bold",
            name="level-words",
        )


def nice_ticks(low: float, high: float, about: int = 5) -> list[float]:
    """Round values from low to high, about so many: steps of 1, 2 or 5 times a power of ten."""
    rough = (high - low) / about
    power = 10 ** math.floor(math.log10(rough))
    step = next(power * s for s in (1, 2, 5, 10) if power * s >= rough * 0.999)
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [round(i * step, 10) for i in range(first, last + 1)]


def widened(values: Sequence[float], share: float = 0.08, least: float = 1e-6) -> Range:
    """A range holding all values with some room at both ends."""
    low, high = min(values), max(values)
    room = max((high - low) * share, least)
    return low - room, high + room
