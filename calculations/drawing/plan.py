"""The plan that every drawing starts from: floor, joists, eaves, obstacles, fixtures."""

from __future__ import annotations

import math

from shapely import Point
from shapely.ops import unary_union

from calculations.drawing import symbols
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
    fixed,
    line_path,
    text_width,
    wrap,
)
from calculations.joists import joist_lines_mm
from calculations.loft import Fixture, FixtureKind, Loft, LoftArea, ObstacleKind

METRE_MM = 1000.0
SIDE_NUMBER_RADIUS = 7.0
ALONG_EDGE = (0.5, 0.35, 0.65, 0.2, 0.8)
"""Where along an edge its length may be written, the best first."""
HARDLY_COVERED = 20.0
"""Square units more than the least that a place may cover and still be taken for its order."""


def start_sheet(loft: Loft, title: str, subtitle: str = "") -> Sheet:
    """A sheet scaled to the loft with its title written and the plan's place fixed."""
    floor = unary_union([a.polygon() for a in loft.areas])
    others = [o.polygon() for o in loft.obstacles]
    bounds = unary_union([floor, *others]).bounds
    sheet = Sheet((bounds[0], bounds[1], bounds[2], bounds[3]))
    y = MARGIN + TITLE
    sheet.text(MARGIN, y, title, size=TITLE, weight="bold", name="title")
    for words in wrap(subtitle, TEXT, WIDTH - 2 * MARGIN):
        y += TEXT * LINE
        sheet.text(MARGIN, y, words, fill=SOFT, name="subtitle")
    sheet.top = y + 16
    sheet.bottom = sheet.top + sheet.plan_height + 8
    return sheet


def draw_floor(sheet: Sheet, loft: Loft, *, joists: bool = True) -> None:
    """Areas with their joists, outlines and eaves."""
    sheet.open_group("floor", "Floor areas, joists and eaves")
    for area in loft.areas:
        sheet.shape(area.floor(), "area", fill=PAPER, stroke="none")
        if joists:
            _draw_joists(sheet, area)
        sheet.shape(area.floor(), "area-edge", fill="none", stroke=INK, stroke_width=1.3)
        for hole in area.holes_mm:
            symbols.hole(sheet, [sheet.at(*p) for p in hole])
    for area in loft.areas:
        for index in area.eaves_edges:
            _draw_eaves(sheet, area, index)
    sheet.close_group()


def _draw_joists(sheet: Sheet, area: LoftArea) -> None:
    lines = [line_path([sheet.at(*start), sheet.at(*end)]) for start, end in joist_lines_mm(area)]
    width = max(0.6, min(area.joist_width_mm * sheet.scale, 3.0))
    sheet.path("".join(lines), "joist", fill="none", stroke=FAINT, stroke_width=width)


def _draw_eaves(sheet: Sheet, area: LoftArea, index: int) -> None:
    start_mm, end_mm = area.edge_mm(index)
    middle = ((start_mm[0] + end_mm[0]) / 2, (start_mm[1] + end_mm[1]) / 2)
    length = math.dist(start_mm, end_mm)
    normal = ((end_mm[1] - start_mm[1]) / length, (start_mm[0] - end_mm[0]) / length)
    inside = area.polygon().covers(Point(middle[0] + normal[0], middle[1] + normal[1]))
    sign = 1.0 if inside else -1.0
    symbols.eaves_edge(
        sheet, sheet.at(*start_mm), sheet.at(*end_mm), (normal[0] * sign, -normal[1] * sign)
    )


def draw_obstacles(sheet: Sheet, loft: Loft, *, see_through_decks: bool = False) -> None:
    """Obstacles; decks as an outline only where wool runs on beneath them."""
    sheet.open_group("obstacles", "Obstacles")
    for item in loft.obstacles:
        corners = [sheet.at(*p) for p in item.outline_mm]
        if see_through_decks and item.kind is ObstacleKind.DECK:
            symbols.deck_above(sheet, corners)
        else:
            symbols.obstacle(sheet, item.kind, corners)
    sheet.close_group()


def draw_fixtures(sheet: Sheet, loft: Loft) -> None:
    """Cables and pipes first, so that lights and fans stay visible over them."""
    sheet.open_group("fixtures", "Cables, pipes, lights and fans")
    for item in sorted(loft.fixtures, key=lambda f: f.to_x_mm is None):
        start = sheet.at(item.x_mm, item.y_mm)
        if item.to_x_mm is not None and item.to_y_mm is not None:
            end = sheet.at(item.to_x_mm, item.to_y_mm)
            symbols.run(sheet, item.kind, item.high_load, start, end)
        else:
            symbols.spot(sheet, item.kind, start)
    sheet.close_group()


def take_marks(sheet: Sheet, loft: Loft) -> None:
    """Keep labels off outlines, obstacles and fixtures."""
    for area in loft.areas:
        for outline in (area.outline_mm, *area.holes_mm):
            sheet.take_line([sheet.at(*p) for p in (*outline, outline[0])])
    for item in loft.obstacles:
        corners = [sheet.at(*p) for p in item.outline_mm]
        if item.kind is ObstacleKind.DECK:  # large enough to write on, but not over its edge
            sheet.take_line([*corners, corners[0]])
        else:
            xs, ys = zip(*corners, strict=True)
            sheet.take((min(xs), min(ys), max(xs), max(ys)))
    for fixture in loft.fixtures:
        for at in fixture_marks(sheet, fixture):
            sheet.take((at[0] - 5, at[1] - 5, at[0] + 5, at[1] + 5))


def fixture_marks(sheet: Sheet, fixture: Fixture) -> list[Position]:
    """Sheet positions that a fixture's mark covers; a run about every 8 units."""
    start = sheet.at(fixture.x_mm, fixture.y_mm)
    if fixture.to_x_mm is None or fixture.to_y_mm is None:
        return [start]
    end = sheet.at(fixture.to_x_mm, fixture.to_y_mm)
    count = max(2, math.ceil(math.dist(start, end) / 8))
    return [
        (
            start[0] + (end[0] - start[0]) * i / count,
            start[1] + (end[1] - start[1]) * i / count,
        )
        for i in range(count + 1)
    ]


def draw_overall_dimensions(sheet: Sheet, loft: Loft) -> None:
    """Width below the plan and depth at its left, in metres, over all areas."""
    low_x, low_y, high_x, high_y = unary_union([a.polygon() for a in loft.areas]).bounds
    left, bottom = sheet.at(low_x, low_y)
    right, top = sheet.at(high_x, high_y)
    sheet.open_group("dimensions", "Overall dimensions")
    y = bottom + 21
    _dimension(sheet, (left, y), (right, y))
    sheet.text(
        (left + right) / 2,
        y - 3,
        metres(high_x - low_x),
        size=TEXT,
        anchor="middle",
        halo=True,
        name="dimension",
    )
    x = left - 18
    _dimension(sheet, (x, bottom), (x, top))
    sheet.text(
        x - 3,
        (top + bottom) / 2,
        metres(high_y - low_y),
        size=TEXT,
        anchor="middle",
        halo=True,
        turn=-90,
        name="dimension",
    )
    sheet.close_group()
    sheet.bottom = y + 6


def _dimension(sheet: Sheet, start: Position, end: Position) -> None:
    sheet.line((start, end), "dimension-line", stroke=SOFT, stroke_width=0.8)
    for x, y in (start, end):
        sheet.line(((x - 3, y + 3), (x + 3, y - 3)), "dimension-tick", stroke=INK, stroke_width=1.2)


def draw_edge_lengths(sheet: Sheet, loft: Loft) -> None:
    """Lengths of edges, inside along each, where the overall dimensions do not say them.

    Of parallel edges of one length in an area only the first is written.
    """
    low_x, low_y, high_x, high_y = unary_union([a.polygon() for a in loft.areas]).bounds
    sheet.open_group("edges", "Edge lengths")
    for area in loft.areas:
        outline = area.outline_mm
        told: set[tuple[int, int]] = set()
        for i, start in enumerate(outline):
            end = outline[(i + 1) % len(outline)]
            length = math.dist(start, end)
            slope = round(math.degrees(math.atan2(end[1] - start[1], end[0] - start[0]))) % 180
            key = (slope, round(length))
            whole = (start[1] == end[1] and length == high_x - low_x) or (
                start[0] == end[0] and length == high_y - low_y
            )
            if whole or key in told or length * sheet.scale < 30:
                continue
            told.add(key)
            _edge_length(sheet, area, start, end, length)
    sheet.close_group()


def draw_side_numbers(sheet: Sheet, loft: Loft) -> None:
    """The number of each side in its area, from 1, inside the outline a quarter along.

    Side n of the drawing is `eaves_edges` n - 1 of the survey.
    """
    sheet.open_group("sides", "Numbers of the sides")
    for area in loft.areas:
        outline = area.outline_mm
        turns_left = area.polygon().exterior.is_ccw
        for i, start in enumerate(outline):
            end = outline[(i + 1) % len(outline)]
            _side_number(sheet, start, end, i + 1, inward_left=turns_left)
    sheet.close_group()


def _side_number(
    sheet: Sheet, start: Position, end: Position, number: int, *, inward_left: bool
) -> None:
    (x1, y1), (x2, y2) = sheet.at(*start), sheet.at(*end)
    on_sheet = math.dist((x1, y1), (x2, y2))
    if on_sheet < 2 * SIDE_NUMBER_RADIUS:
        return
    # y grows downwards on the sheet, so the left of the walk is turned over.
    side = 1 if inward_left else -1
    nx, ny = side * (y2 - y1) / on_sheet, side * (x1 - x2) / on_sheet
    reach = SIDE_NUMBER_RADIUS + 3
    x = x1 + (x2 - x1) * 0.25 + nx * reach
    y = y1 + (y2 - y1) * 0.25 + ny * reach
    r = SIDE_NUMBER_RADIUS
    sheet.add(
        f'<circle class="eb-side" cx="{fixed(x)}" cy="{fixed(y)}" r="{r}" '
        f'fill="{PAPER}" stroke="{INK}" stroke-width="0.8"/>'
    )
    sheet.text(x, y + SMALL * 0.35, str(number), size=SMALL, anchor="middle", weight="bold")
    sheet.take((x - r, y - r, x + r, y + r))


def _edge_length(
    sheet: Sheet,
    area: LoftArea,
    start: Position,
    end: Position,
    length: float,
) -> None:
    (x1, y1), (x2, y2) = sheet.at(*start), sheet.at(*end)
    on_sheet = math.dist((x1, y1), (x2, y2))
    nx, ny = (y2 - y1) / on_sheet, (x1 - x2) / on_sheet
    centre = area.polygon().representative_point()
    cx, cy = sheet.at(centre.x, centre.y)
    mx, my = (x1 + x2) / 2, (y1 + y2) / 2
    if (cx - mx) * nx + (cy - my) * ny < 0:
        nx, ny = -nx, -ny
    turn = math.degrees(math.atan2(y2 - y1, x2 - x1))
    if turn >= 90 or turn < -90:
        turn += -180 if turn >= 90 else 180
    away = 8.0
    drop = SMALL * 0.35
    radians = math.radians(turn)
    words = metres(length)
    half = text_width(words, SMALL) / 2
    wide = abs(math.cos(radians)) * half + 4
    high = abs(math.sin(radians)) * half + 4
    places = [
        (x1 + (x2 - x1) * share + nx * away, y1 + (y2 - y1) * share + ny * away)
        for share in ALONG_EDGE
    ]
    boxes = [(x - wide, y - high, x + wide, y + high) for x, y in places]
    covered = sheet.clashes(boxes)
    clear = int((covered <= covered.min() + HARDLY_COVERED).argmax())
    x, y = places[clear]
    sheet.text(
        x - math.sin(radians) * drop,
        y + math.cos(radians) * drop,
        words,
        size=SMALL,
        anchor="middle",
        halo=True,
        turn=turn,
        fill=SOFT,
        name="dimension",
    )
    sheet.take(boxes[clear])


def draw_scale_bar(sheet: Sheet) -> None:
    """One metre, at the right under the plan."""
    length = METRE_MM * sheet.scale
    y = sheet.bottom + 12
    right = WIDTH - MARGIN
    left = right - length
    sheet.path(
        f"M{left:.2f} {y - 3:.2f}V{y:.2f}H{right:.2f}V{y - 3:.2f}",
        "scale",
        fill="none",
        stroke=INK,
        stroke_width=1.1,
    )
    sheet.text(left - 4, y, "1 m", size=SMALL, anchor="end", name="scale-words")
    sheet.bottom = y + 4


def metres(length_mm: float) -> str:
    return f"{length_mm / METRE_MM:.2f} m"


def fixture_words(loft: Loft) -> list[tuple[FixtureKind, bool, str]]:
    """Kinds of fixture in the loft with the words of their line in the key."""
    seen: dict[tuple[FixtureKind, bool], str] = {}
    for item in loft.fixtures:
        loaded = item.kind is FixtureKind.CABLE and item.high_load
        words = symbols.WORDS_OF_FIXTURE[item.kind]
        if loaded:
            words = "Cable under high load: stays on top"
        seen.setdefault((item.kind, loaded), words)
    return [(kind, loaded, words) for (kind, loaded), words in seen.items()]
