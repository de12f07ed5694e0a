"""Where findings lie: a map to scale without any tiles, told by shapes."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum

from calculations.drawing import symbols
from calculations.drawing.key import draw_key
from calculations.drawing.labels import place_label
from calculations.drawing.sheet import (
    FAINT,
    INK,
    LINE,
    MARGIN,
    PAPER,
    SMALL,
    SOFT,
    TEXT,
    TITLE,
    WIDTH,
    Position,
    Sheet,
    line_path,
    wrap,
)
from calculations.sampling.errors import SamplingError

TALLEST, LOWEST = 380.0, 170.0
TALLEST_OF_SEVERAL = 230.0
SMALLEST_SPAN_KM = 4.0
APART_KM = 40.0
"""Homes with a gap of about this or more between them are drawn on maps of their own."""
SCALE_STEPS_KM = (0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500)
MOST_DISTRICTS = 14
INSET = 24.0


class SpotKind(StrEnum):
    """What was found at a home: the worst of it. In order, the mildest first."""

    SOUND = "sound"
    OBSERVATION = "observation"
    MINOR = "minor"
    MAJOR = "major"
    CRITICAL = "critical"


WORDS = {
    SpotKind.SOUND: "Sound",
    SpotKind.OBSERVATION: "Observation",
    SpotKind.MINOR: "Minor",
    SpotKind.MAJOR: "Major",
    SpotKind.CRITICAL: "Critical",
}
ORDER = tuple(SpotKind)


@dataclass(frozen=True, slots=True)
class MapSpot:
    """A job that was read: place on a flat map [km east and north of any point], and district.

    Jobs of the same place are drawn as one mark, the worst of them, with their number.
    """

    east_km: float
    north_km: float
    kind: SpotKind
    district: str = ""

    def __post_init__(self) -> None:
        if not (math.isfinite(self.east_km) and math.isfinite(self.north_km)):
            raise SamplingError("east_km", f"is {self.east_km!r}.", "Give both in kilometres.")


def draw_findings_map(spots: Sequence[MapSpot]) -> str:
    """The map: marks by the worst found, districts named, a bar of scale, north upwards.

    Regions far apart have maps of their own, one under the other. Returns a whole <svg>
    element. Raises SamplingError without spots.
    """
    if not spots:
        raise SamplingError("spots", "is empty.", "Give at least one job with a known place.")
    sheet = Sheet((0.0, 0.0, 100.0, 60.0))
    bad = sum(spot.kind in ORDER[2:] for spot in spots)
    y = MARGIN + TITLE
    sheet.text(MARGIN, y, "Where findings lie", size=TITLE, weight="bold", name="title")
    for words in wrap(f"{len(spots)} jobs read, {bad} defective", TEXT, WIDTH - 2 * MARGIN):
        y += TEXT * LINE
        sheet.text(MARGIN, y, words, fill=SOFT, name="subtitle")
    sheet.bottom = y
    groups = _groups(spots)
    for group in groups:
        _map(sheet, group, TALLEST if len(groups) == 1 else TALLEST_OF_SEVERAL)
    sheet.bottom += 4
    kinds = [kind for kind in ORDER if any(spot.kind is kind for spot in spots)]
    draw_key(sheet, [(_mark_of(sheet, kind), WORDS[kind]) for kind in kinds])
    return sheet.finish("Where findings lie", _told(spots))


def _groups(spots: Sequence[MapSpot]) -> list[list[MapSpot]]:
    """Homes that hang together, by squares of APART_KM that touch; the largest group first."""
    squares: dict[tuple[int, int], list[MapSpot]] = defaultdict(list)
    for spot in spots:
        squares[math.floor(spot.east_km / APART_KM), math.floor(spot.north_km / APART_KM)].append(
            spot
        )
    groups = []
    left = set(squares)
    while left:
        found, todo = [], [min(left)]
        left.discard(todo[0])
        while todo:
            x, y = todo.pop()
            found += squares[x, y]
            touching = {(x + i, y + j) for i in (-1, 0, 1) for j in (-1, 0, 1)} & left
            left -= touching
            todo += sorted(touching)
        groups.append(found)
    return sorted(groups, key=len, reverse=True)


def _map(sheet: Sheet, spots: Sequence[MapSpot], tallest: float) -> None:
    """One map below what is there, with its own scale."""
    view = _View(spots, sheet.bottom + 10, tallest)
    sheet.add(
        f'<rect class="eb-map" x="{MARGIN:g}" y="{view.top:.2f}" width="{WIDTH - 2 * MARGIN:g}" '
        f'height="{view.height:.2f}" fill="{PAPER}" stroke="{FAINT}"/>'
    )
    sheet.left, sheet.plan_width = MARGIN, WIDTH - 2 * MARGIN  # words stay on their own map
    sheet.top, sheet.plan_height = view.top, view.height
    _scale(sheet, view)
    _marks(sheet, view, spots)
    _districts(sheet, view, spots)
    sheet.bottom = view.top + view.height


class _View:
    """From kilometres to the sheet, north upwards, the same scale both ways."""

    def __init__(self, spots: Sequence[MapSpot], top: float, tallest: float) -> None:
        east, north = [s.east_km for s in spots], [s.north_km for s in spots]
        across = max(max(east) - min(east), SMALLEST_SPAN_KM)
        up = max(max(north) - min(north), SMALLEST_SPAN_KM)
        room = WIDTH - 2 * (MARGIN + INSET)
        self.unit = min(room / across, (tallest - 2 * INSET - 16) / up)
        self.height = min(max(up * self.unit + 2 * INSET + 16, LOWEST), tallest)
        self.top = top
        self._middle = ((max(east) + min(east)) / 2, (max(north) + min(north)) / 2)

    def at(self, east_km: float, north_km: float) -> Position:
        return (
            WIDTH / 2 + (east_km - self._middle[0]) * self.unit,
            self.top + (self.height - 16) / 2 - (north_km - self._middle[1]) * self.unit,
        )


def _marks(sheet: Sheet, view: _View, spots: Sequence[MapSpot]) -> None:
    """The mildest first, so that the worst lie on top; numbers where several jobs are one mark."""
    places: dict[tuple[float, float], list[SpotKind]] = defaultdict(list)
    for spot in spots:
        places[spot.east_km, spot.north_km].append(spot.kind)
    worst = {place: max(kinds, key=ORDER.index) for place, kinds in places.items()}
    in_order = sorted(places, key=lambda place: (ORDER.index(worst[place]), place))
    for place in in_order:
        at = view.at(*place)
        _mark_of(sheet, worst[place])(at)
        sheet.take((at[0] - 5, at[1] - 5, at[0] + 5, at[1] + 5))
    for place in in_order:
        if len(places[place]) > 1:
            words = f"{len(places[place])} jobs" if len(places) <= 20 else str(len(places[place]))
            place_label(sheet, view.at(*place), [words], size=SMALL - 0.5, reach=5)


def _districts(sheet: Sheet, view: _View, spots: Sequence[MapSpot]) -> None:
    """Names of the districts with the most jobs, each near the middle of its own."""
    found: dict[str, list[MapSpot]] = defaultdict(list)
    for spot in spots:
        if spot.district:
            found[spot.district].append(spot)
    chosen = sorted(found, key=lambda name: (-len(found[name]), name))[:MOST_DISTRICTS]
    for name in chosen:
        here = found[name]
        middle = view.at(
            math.fsum(s.east_km for s in here) / len(here),
            math.fsum(s.north_km for s in here) / len(here),
        )
        place_label(sheet, middle, [name], size=SMALL + 1, reach=9)


def _scale(sheet: Sheet, view: _View) -> None:
    km = max(
        (step for step in SCALE_STEPS_KM if step * view.unit < WIDTH / 4),
        default=SCALE_STEPS_KM[0],
    )
    x, y = MARGIN + 8, view.top + view.height - 8
    end = x + km * view.unit
    sheet.line([(x, y - 4), (x, y), (end, y), (end, y - 4)], "scale", stroke=INK, stroke_width=1.1)
    sheet.text(end + 5, y, f"{km:g} km", size=SMALL)
    sheet.take((x, y - SMALL, end + 40, y + 4))
    top = WIDTH - MARGIN - 12, view.top + 10
    sheet.path(
        line_path([(top[0], top[1]), (top[0] + 4, top[1] + 10), (top[0] - 4, top[1] + 10)]) + "Z",
        "north",
        fill=INK,
    )
    sheet.text(top[0], top[1] + 20, "N", size=SMALL, anchor="middle", weight="bold")
    sheet.take((top[0] - 8, top[1] - 2, top[0] + 8, top[1] + 22))


def _mark_of(sheet: Sheet, kind: SpotKind) -> Callable[[Position], None]:
    def mark(at: Position) -> None:
        x, y = at
        if kind is SpotKind.SOUND:
            symbols.circle(sheet, at, 2.6, "spot eb-sound")
        elif kind is SpotKind.OBSERVATION:
            symbols.circle(sheet, at, 4, "spot eb-observation")
            symbols.circle(sheet, at, 1, "spot eb-observation", fill=INK)
        elif kind is SpotKind.MINOR:
            symbols.reading(sheet, at, "below")
        elif kind is SpotKind.MAJOR:
            corners = [(x - 4.5, y - 4.5), (x + 4.5, y - 4.5), (x + 4.5, y + 4.5)]
            _filled(sheet, [*corners, (x - 4.5, y + 4.5)], "major")
        else:
            _filled(sheet, [(x, y - 7), (x + 7, y), (x, y + 7), (x - 7, y)], "critical")
            for dx in (-1, 1):
                sheet.line(
                    ((x - 2.4 * dx, y - 2.4), (x + 2.4 * dx, y + 2.4)),
                    "critical-cross",
                    stroke=PAPER,
                    stroke_width=1.5,
                )

    return mark


def _filled(sheet: Sheet, corners: Sequence[Position], name: str) -> None:
    path = line_path(corners) + "Z"
    sheet.path(path, f"spot eb-{name}", fill=INK, stroke=PAPER, stroke_width=0.8)


def _told(spots: Sequence[MapSpot]) -> str:
    counted = {kind: sum(spot.kind is kind for spot in spots) for kind in ORDER}
    told = [f"{WORDS[kind].lower()} {number}" for kind, number in counted.items() if number]
    bad = sorted({s.district for s in spots if s.kind in ORDER[2:] and s.district})
    where = f" Defective in {', '.join(bad)}." if bad else ""
    return f"{len(spots)} jobs read: {', '.join(told)}.{where}"
