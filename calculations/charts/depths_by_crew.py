"""How deep each crew's readings lie, against the depth that the rule asks."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calculations.charts.panels import MOST_PANELS, Panel, Panels
from calculations.drawing.frame import nice_ticks
from calculations.drawing.key import draw_key, draw_note
from calculations.drawing.sheet import INK, PALE, PAPER, Position, Sheet, line_path
from calculations.sampling.errors import SamplingError

STEP_MM = 10.0


@dataclass(frozen=True, slots=True)
class CrewDepths:
    """Readings of one crew [mm], and beside each the depth that the rule of its job asks [mm]."""

    crew: str
    depths_mm: tuple[float, ...]
    asked_mm: tuple[float, ...]

    def __post_init__(self) -> None:
        if not self.depths_mm:
            raise SamplingError("depths_mm", "is empty.", "Give at least one reading.")
        if len(self.depths_mm) != len(self.asked_mm):
            raise SamplingError(
                "asked_mm",
                f"has {len(self.asked_mm)} depths.",
                f"Give one for each of the {len(self.depths_mm)} readings.",
            )
        for value in (*self.depths_mm, *self.asked_mm):
            if not math.isfinite(value):
                raise SamplingError("depths_mm", f"holds {value!r}.", "Give depths in mm.")

    @property
    def below(self) -> int:
        """Readings under what was asked there; a rule may allow for some of them."""
        return sum(d < a for d, a in zip(self.depths_mm, self.asked_mm, strict=True))

    @property
    def mean_mm(self) -> float:
        return math.fsum(self.depths_mm) / len(self.depths_mm)

    @property
    def spread_mm(self) -> float:
        """Standard deviation of the sample (n - 1); 0 for a single reading."""
        n = len(self.depths_mm)
        mean = self.mean_mm
        return math.sqrt(math.fsum((d - mean) ** 2 for d in self.depths_mm) / max(1, n - 1))


def draw_depths_by_crew(crews: Sequence[CrewDepths]) -> str:
    """A histogram for each crew in steps of 10 mm, as shares of the crew's own readings.

    Readings below the depth asked of their job are hatched. Dashed lines stand at the depths
    asked. At most twelve crews are drawn, those with the most readings; returns a whole <svg>
    element. Raises SamplingError without crews.
    """
    if not crews:
        raise SamplingError("crews", "is empty.", "Give at least one crew.")
    chosen = sorted(crews, key=lambda c: (-len(c.depths_mm), c.crew))[:MOST_PANELS]
    drawn = sorted(chosen, key=lambda c: c.crew)
    edges = _edges(drawn)
    asked = sorted({a for c in drawn for a in c.asked_mm})
    readings, below = sum(len(c.depths_mm) for c in crews), sum(c.below for c in crews)
    subtitle = (
        f"{readings} readings of {len(crews)} crews, {below} below the depth asked "
        f"({', '.join(f'{a:g}' for a in asked)} mm)"
    )
    panels = Panels("Depths measured by crew", subtitle, (float(edges[0]), float(edges[-1])))
    top = max(float(_counts(c, edges).sum(axis=0).max()) / len(c.depths_mm) for c in drawn)
    for crew in drawn:
        _row(panels, crew, edges, math.ceil(top * 20) / 20)
    ticks = nice_ticks(float(edges[0]), float(edges[-1]))
    panels.ticks([(value, f"{value:g}") for value in ticks], "depth, mm")
    sheet = panels.sheet
    draw_key(
        sheet,
        [
            (lambda at: _bar_mark(sheet, at, PALE), "As deep as asked, or deeper"),
            (lambda at: _bar_mark(sheet, at, _hatching(sheet)), "Below"),
            (lambda at: _asked_mark(sheet, at), "Depth asked"),
        ],
    )
    if len(drawn) < len(crews):
        draw_note(sheet, f"The {len(drawn)} crews with the most readings; all are in the table.")
    told = "; ".join(
        f"{c.crew}: {len(c.depths_mm)} readings, mean {c.mean_mm:.0f} mm, {c.below} below"
        for c in sorted(crews, key=lambda c: c.crew)
    )
    return sheet.finish("Depths measured by crew", f"{told}.")


def _edges(crews: Sequence[CrewDepths]) -> np.ndarray:
    values = [v for c in crews for v in (*c.depths_mm, *c.asked_mm)]
    low = math.floor(min(values) / STEP_MM - 1) * STEP_MM
    high = math.ceil(max(values) / STEP_MM + 1) * STEP_MM
    return np.arange(low, high + STEP_MM / 2, STEP_MM)


def _counts(crew: CrewDepths, edges: np.ndarray) -> np.ndarray:
    """Readings below and not below what was asked, a row each, by step."""
    depths, asked = np.asarray(crew.depths_mm), np.asarray(crew.asked_mm)
    parts = (depths[depths < asked], depths[depths >= asked])
    return np.stack([np.histogram(part, edges)[0] for part in parts])


def _row(panels: Panels, crew: CrewDepths, edges: np.ndarray, top: float) -> None:
    n = len(crew.depths_mm)
    told = f"{n} readings, mean {crew.mean_mm:.0f} mm, {crew.below / n:.0%} below"
    panel = panels.add(crew.crew, told, (0.0, top), ("0%", f"{top:.0%}"))
    below, enough = _counts(crew, edges) / n
    for start, low, high in zip(edges, below, enough, strict=False):
        _bar(panel, float(start), 0.0, float(low), _hatching(panel.sheet))
        _bar(panel, float(start), float(low), float(low + high), PALE)
    for asked in sorted(set(crew.asked_mm)):
        panel.line([(asked, 0.0), (asked, top)], "asked", "4 3")


def _bar(panel: Panel, start: float, low: float, high: float, fill: str) -> None:
    if high <= low:
        return
    corners = [(start, low), (start, high), (start + STEP_MM, high), (start + STEP_MM, low)]
    path = line_path([panel.at(x, y) for x, y in corners]) + "Z"
    panel.sheet.path(path, "bar", fill=fill, stroke=INK, stroke_width=0.9)


def _hatching(sheet: Sheet) -> str:
    inner = f'<rect width="4" height="4" fill="{PAPER}"/>'
    lines = f'<path d="M0 0V4" stroke="{INK}" stroke-width="1.6"/>'
    return sheet.pattern("below", 4, inner + lines, 45)


def _bar_mark(sheet: Sheet, at: Position, fill: str) -> None:
    x, y = at
    corners = [(x - 8, y + 5), (x - 8, y - 5), (x + 8, y - 5), (x + 8, y + 5)]
    sheet.path(line_path(corners) + "Z", "bar", fill=fill, stroke=INK, stroke_width=0.9)


def _asked_mark(sheet: Sheet, at: Position) -> None:
    line = ((at[0], at[1] - 7), (at[0], at[1] + 7))
    sheet.line(line, "asked", stroke=INK, stroke_width=1.1, stroke_dasharray="4 3")
