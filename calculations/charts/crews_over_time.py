"""Each crew's defect rate period by period, beside what chance alone would give."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from calculations.charts.panels import MOST_PANELS, Panels
from calculations.drawing import symbols
from calculations.drawing.key import draw_key, draw_note
from calculations.drawing.sheet import INK, Position, Sheet
from calculations.sampling.errors import SamplingError
from calculations.sampling.rates import RateCount, Weighing, funnel_limits, overall_rate

COVERAGE = 0.998
MOST_TICKS = 6


@dataclass(frozen=True, slots=True)
class CrewPeriod:
    """Jobs of one crew and one period that were inspected, and how many were defective.

    weighing: None where every job counts the same.
    """

    crew: str
    period: str
    inspected: int
    defects: int
    weighing: Weighing | None = None

    def __post_init__(self) -> None:
        self.count  # noqa: B018 - refuses what cannot be

    @property
    def count(self) -> RateCount:
        return RateCount(self.crew, self.inspected, self.defects, self.weighing)

    @property
    def rate(self) -> float:
        return self.count.rate

    def stands_out(self, target: float) -> str:
        """ "high" or "low" where chance would hardly give this, were the true rate `target`."""
        return self.count.stands_out(target, COVERAGE)


def draw_crews_over_time(cells: Sequence[CrewPeriod], periods: Sequence[str]) -> str:
    """A row for each crew: its defect rate in each of `periods`, with exact 99.8 % limits.

    The limits are binomial about the rate of all crews together (as in a funnel plot, see
    `calculations.sampling.rates.funnel_limits`), and so differ with the jobs inspected. At
    most twelve crews are drawn, those with the most jobs; returns a whole <svg> element.

    Raises:
        SamplingError: no cells, or one of a period that is not among `periods`.
    """
    if not cells:
        raise SamplingError("cells", "is empty.", "Give at least one crew and period.")
    places = {period: nth for nth, period in enumerate(periods, start=1)}
    for cell in cells:
        if cell.period not in places:
            raise SamplingError("cells", f"names {cell.period!r}.", "Name a period given.")
    target = overall_rate([cell.count for cell in cells])
    by_weight = ", by weight" if any(cell.weighing for cell in cells) else ""
    crews = _by_crew(cells)
    drawn = dict(sorted(_most_inspected(crews).items()))
    panels = Panels(
        "Defect rate by crew over time",
        f"{len(crews)} crews, {target:.1%} of all jobs inspected{by_weight}; dotted in each row",
        (0.5, len(periods) + 0.5),
    )
    top = _top([cell for found in drawn.values() for cell in found], target)
    for crew, found in drawn.items():
        _row(panels, crew, found, places, target, top)
    every = math.ceil(len(periods) / MOST_TICKS)
    panels.ticks([(places[p], p) for p in periods[::every]], "jobs certified in")
    sheet = panels.sheet
    draw_key(
        sheet,
        [
            (lambda at: symbols.reading(sheet, at, "enough"), "Within chance"),
            (lambda at: symbols.reading(sheet, at, "below"), "Stands out"),
            (lambda at: _limit_mark(sheet, at), "Limit: 99.8% by chance"),
        ],
    )
    if len(drawn) < len(crews):
        draw_note(sheet, f"The {len(drawn)} crews with the most jobs; all are in the table.")
    return sheet.finish("Defect rate by crew over time", _told(crews, target))


def _by_crew(cells: Sequence[CrewPeriod]) -> dict[str, list[CrewPeriod]]:
    crews: dict[str, list[CrewPeriod]] = {}
    for cell in cells:
        crews.setdefault(cell.crew, []).append(cell)
    return crews


def _most_inspected(crews: dict[str, list[CrewPeriod]]) -> dict[str, list[CrewPeriod]]:
    def order(crew: str) -> tuple[int, str]:
        return -sum(cell.inspected for cell in crews[crew]), crew

    return {crew: crews[crew] for crew in sorted(crews, key=order)[:MOST_PANELS]}


def _top(cells: Sequence[CrewPeriod], target: float) -> float:
    """Highest rate shown: of the points and of the limits that are any use, in steps of 10 %."""
    most = max([cell.rate for cell in cells] + [2 * target, 0.1])
    return min(1.0, math.ceil(most * 10) / 10)


def _row(
    panels: Panels,
    crew: str,
    cells: list[CrewPeriod],
    places: dict[str, int],
    target: float,
    top: float,
) -> None:
    inspected, defects = sum(c.inspected for c in cells), sum(c.defects for c in cells)
    told = f"{defects} of {inspected} defective"
    panel = panels.add(crew, told, (0.0, top), ("0%", f"{top:.0%}"))
    panel.line([(panels.across[0], target), (panels.across[1], target)], "level", "1 2")
    for cell in cells:
        at = places[cell.period]
        for limit in funnel_limits(target, cell.count.tells_as, COVERAGE):
            if 0 < limit <= top:
                panel.line([(at - 0.5, limit), (at + 0.5, limit)], "limit")
    in_order = sorted(cells, key=lambda cell: places[cell.period])
    panel.line([(float(places[c.period]), c.rate) for c in in_order], "rates", "4 3")
    for cell in in_order:
        state = "below" if cell.stands_out(target) else "enough"
        symbols.reading(panel.sheet, panel.at(places[cell.period], cell.rate), state)


def _limit_mark(sheet: Sheet, at: Position) -> None:
    sheet.line(((at[0] - 12, at[1]), (at[0] + 12, at[1])), "limit", stroke=INK, stroke_width=1.1)


def _told(crews: dict[str, list[CrewPeriod]], target: float) -> str:
    told = []
    for crew, cells in sorted(crews.items()):
        parts = [
            f"{c.period} {c.defects} of {c.inspected}"
            + (" (stands out)" if c.stands_out(target) else "")
            for c in cells
        ]
        told.append(f"{crew}: {', '.join(parts)}")
    return "; ".join(told) + "."
