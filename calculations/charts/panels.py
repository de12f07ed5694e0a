"""Rows of small charts under one another on one sheet, all to the same scale across."""

from __future__ import annotations

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
    wrap,
)

Range = tuple[float, float]
LEFT_ROOM = 34.0
MOST_PANELS = 12
"""More crews than this are in the table only: a picture of all would tell nothing."""


class Panels:
    """A sheet with a title; `add` gives the next panel, one under the other."""

    def __init__(self, title: str, subtitle: str, across: Range, *, height: float = 46.0) -> None:
        self.sheet = Sheet((0.0, 0.0, 100.0, 60.0))
        self.across, self.height = across, height
        self.left, self.right = MARGIN + LEFT_ROOM, WIDTH - MARGIN
        y = MARGIN + TITLE
        self.sheet.text(MARGIN, y, title, size=TITLE, weight="bold", name="title")
        for words in wrap(subtitle, TEXT, WIDTH - 2 * MARGIN):
            y += TEXT * LINE
            self.sheet.text(MARGIN, y, words, fill=SOFT, name="subtitle")
        self.sheet.bottom = y + 6

    def add(self, name: str, told: str, up: Range, up_words: tuple[str, str]) -> Panel:
        """A panel called `name` with a few words at its right; `up_words` name its two ends."""
        top = self.sheet.bottom + 22
        panel = Panel(self, top, top + self.height, up)
        sheet = self.sheet
        sheet.open_group("panel", f"{name}: {told}")
        sheet.text(self.left, top - 6, name, size=TEXT, weight="bold", name="panel-name")
        sheet.text(self.right, top - 6, told, size=SMALL, anchor="end", fill=SOFT)
        for value, words in zip(up, up_words, strict=True):
            _, y = panel.at(self.across[0], value)
            sheet.line(((self.left, y), (self.right, y)), "grid", stroke=FAINT, stroke_width=0.6)
            sheet.text(self.left - 4, y + 3, words, size=SMALL, anchor="end", name="tick")
        sheet.line(
            [(self.left, panel.bottom), (self.right, panel.bottom)],
            "axis",
            stroke=INK,
            stroke_width=1,
        )
        sheet.close_group()
        sheet.bottom = panel.bottom
        return panel

    def ticks(self, ticks: list[tuple[float, str]], words: str) -> None:
        """Ticks under the last panel, for all of them, and what they measure."""
        y = self.sheet.bottom
        for value, said in ticks:
            x = self._x(value)
            self.sheet.line(((x, y), (x, y + 3)), "tick", stroke=INK, stroke_width=0.8)
            self.sheet.text(x, y + 12, said, size=SMALL, anchor="middle", name="tick")
        self.sheet.text(
            self.right, y + 25, words, size=SMALL + 0.5, anchor="end", fill=SOFT, name="axis-words"
        )
        self.sheet.bottom = y + 30

    def _x(self, value: float) -> float:
        share = (value - self.across[0]) / (self.across[1] - self.across[0])
        return self.left + share * (self.right - self.left)


class Panel:
    """One row of a sheet of panels; `at` gives the sheet position of a value pair."""

    def __init__(self, panels: Panels, top: float, bottom: float, up: Range) -> None:
        self.sheet, self._panels = panels.sheet, panels
        self.top, self.bottom, self.up = top, bottom, up

    def at(self, across: float, up: float) -> Position:
        share = (min(up, self.up[1]) - self.up[0]) / (self.up[1] - self.up[0])
        return self._panels._x(across), self.bottom - share * (self.bottom - self.top)

    def line(self, points: list[tuple[float, float]], name: str, dash: str = "") -> None:
        drawn = [self.at(x, y) for x, y in points]
        more: dict[str, str | float] = {"stroke_dasharray": dash} if dash else {}
        self.sheet.line(drawn, name, stroke=INK, stroke_width=1.1, **more)
