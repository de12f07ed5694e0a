"""One layer as it is laid: strips numbered as in the cut list, and which way to work."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from shapely import LineString, Point, Polygon
from shapely.ops import polylabel, unary_union

from calculations.cutting import Strip
from calculations.drawing import symbols
from calculations.drawing.key import Mark, draw_key, draw_list, loft_marks
from calculations.drawing.labels import on_sheet, place_plate
from calculations.drawing.plan import (
    draw_fixtures,
    draw_floor,
    draw_obstacles,
    draw_overall_dimensions,
    draw_scale_bar,
    start_sheet,
)
from calculations.drawing.sheet import (
    INK,
    PALE,
    PAPER,
    SMALL,
    SOFT,
    Box,
    Position,
    Sheet,
    line_path,
)
from calculations.layers import Layer
from calculations.loft import Loft, LoftError
from calculations.quantities import Quantities
from calculations.strip_notes import note_lines

LARGEST_NUMBER = 9.5
DIGIT_WIDTH = 0.66
"""Width of a bold figure to its size, for the widest fonts in common use."""
SMALLEST_NUMBER = 5.5
WAYS_TRIED = 16
KIND_WORDS = {"between_joists": "between joists", "across_joists": "across joists"}
COVER_WORDS = {"full": "", "eaves": " at the eaves", "middle": " away from the eaves"}


def draw_layer(loft: Loft, quantities: Quantities, layer_number: int) -> str:
    """SVG of layer `layer_number` of `quantities`: its strips with their cut-list numbers.

    Strips at the eaves are grey, those of the middle white; a second type of roll is dotted,
    a third has small crosses.
    A ring marks the strip to begin with, an arrow the way towards the hatch. Returns a whole
    <svg> element; raises LoftError for a layer that the quantities do not have.
    """
    layers = [layer for layer in quantities.layers if layer.number == layer_number]
    if not layers:
        told = ", ".join(sorted({str(layer.number) for layer in quantities.layers})) or "none"
        raise LoftError("layer_number", f"is {layer_number}.", f"Ask for one of: {told}.")
    strips = [strip for strip in quantities.strips if strip.layer == layer_number]
    names = {roll.roll: roll.name for roll in quantities.rolls}
    title = f"Layer {layer_number}"
    sheet = start_sheet(loft, title, f"{len(strips)} strips, numbered as in the cut list")
    between = all(layer.kind == "between_joists" for layer in layers)
    draw_floor(sheet, loft, joists=between)
    rolls = dict.fromkeys(layer.roll for layer in layers)
    textures = {roll: i for i, roll in enumerate(rolls)}
    _draw_strips(sheet, strips, textures)
    draw_obstacles(sheet, loft, see_through_decks=True)
    draw_fixtures(sheet, loft)
    numbers = _place_numbers(sheet, strips)
    _draw_ways(sheet, loft, strips)
    _draw_numbers(sheet, numbers)
    draw_overall_dimensions(sheet, loft)
    draw_scale_bar(sheet)
    marks = _layer_marks(sheet, strips, names, textures)
    draw_key(sheet, [*marks, *loft_marks(sheet, loft, see_through_decks=True)])
    laid = _laid_words(loft, layers, strips, names)
    draw_list(sheet, "What is laid", laid)
    minded = note_lines(strips)
    if minded:
        draw_list(sheet, "Mind", minded)
    return sheet.finish(title, _describe([*laid, *minded], strips))


def _fill(sheet: Sheet, at_eaves: bool, texture: int) -> str:
    """Ground by zone, texture by type of roll: 0 plain, 1 dots, beyond that crosses."""
    ground = PALE if at_eaves else PAPER
    if texture == 0:
        return ground
    rect = f'<rect width="{4 * texture}" height="{4 * texture}" fill="{ground}"/>'
    if texture == 1:
        key, mark = "dots", f'<circle cx="2" cy="2" r="0.6" fill="{SOFT}"/>'
    else:
        middle = 2 * texture
        d = f"M{middle - 1.5} {middle}h3M{middle} {middle - 1.5}v3"
        key, mark = f"crosses-{texture}", f'<path d="{d}" stroke="{SOFT}" stroke-width="0.6"/>'
    return sheet.pattern(f"eaves-{key}" if at_eaves else key, 4 * texture, rect + mark)


def _draw_strips(sheet: Sheet, strips: Sequence[Strip], textures: dict[str, int]) -> None:
    sheet.open_group("strips", "Strips of wool")
    for strip in strips:
        sheet.shape(
            Polygon(strip.outline_mm),
            f"strip eb-{strip.zone}",
            fill=_fill(sheet, strip.zone == "eaves", textures.get(strip.roll, 0)),
            stroke=INK,
            stroke_width=0.7,
            stroke_linejoin="round",
        )
    sheet.close_group()


@dataclass(frozen=True, slots=True)
class _Number:
    """A strip's number: its place on the sheet, its size and its turn (0 or -90 degrees)."""

    words: str
    at: Position
    size: float
    turn: float

    @property
    def half(self) -> tuple[float, float]:
        """Half its width and half its height."""
        long, short = len(self.words) * self.size * DIGIT_WIDTH / 2, self.size * 0.4
        return (short, long) if self.turn else (long, short)


def _place_numbers(sheet: Sheet, strips: Sequence[Strip]) -> list[_Number]:
    """Numbers in the middle of their strips, as large as fits; that room is taken."""
    numbers = []
    for strip in strips:
        at, width, height = _clear_middle(on_sheet(sheet, Polygon(strip.outline_mm)))
        size, turn = fit_number(str(strip.number), width, height)
        number = _Number(str(strip.number), at, size, turn)
        numbers.append(number)
        if size >= SMALLEST_NUMBER:
            _take(sheet, number)
    return numbers


def _draw_numbers(sheet: Sheet, numbers: Sequence[_Number]) -> None:
    """Numbers in their strips, then those that do not fit, beside theirs with a line."""
    sheet.open_group("numbers", "Numbers of the cut list")
    for i, number in enumerate(numbers):
        if number.size >= SMALLEST_NUMBER:
            _write(sheet, number, begin=i == 0)
    for i, number in enumerate(numbers):
        if number.size < SMALLEST_NUMBER:
            beside = replace(number, size=SMALL, turn=0.0)
            wide, high = beside.half
            room = (8.0, 8.0) if i == 0 else (wide + 1.5, high + 1.5)
            at = place_plate(sheet, number.at, *room)
            _write(sheet, replace(beside, at=at), begin=i == 0)
    sheet.close_group()


def _take(sheet: Sheet, number: _Number) -> None:
    wide, high = number.half
    x, y = number.at
    sheet.take((x - wide, y - high, x + wide, y + high))


def _write(sheet: Sheet, number: _Number, *, begin: bool) -> None:
    if begin:
        symbols.circle(sheet, number.at, max(7.0, max(number.half) + 1.5), "begin")
    down = number.size * 0.36
    radians = math.radians(number.turn)
    sheet.text(
        number.at[0] - math.sin(radians) * down,
        number.at[1] + math.cos(radians) * down,
        number.words,
        size=number.size,
        anchor="middle",
        turn=number.turn,
        halo=True,
        weight="bold",
        name="number",
    )


def _clear_middle(shape: Polygon) -> tuple[Position, float, float]:
    """Where a number sits best in a strip, and the width and height free round it there.

    Its centroid where that has most of the strip's narrow side round it, else the middle of
    the largest circle that fits.
    """
    low_x, low_y, high_x, high_y = shape.bounds
    reach = (high_x - low_x, high_y - low_y)
    found: list[tuple[float, Position, float, float]] = []
    for at in (shape.centroid, polylabel(shape, tolerance=0.5)):
        if shape.covers(at):
            across, upright = _extent(shape, at, (reach[0], 0)), _extent(shape, at, (0, reach[1]))
            room = float(shape.exterior.distance(at))
            found.append((room, (at.x, at.y), across, upright))
    best = max(found)
    first = found[0] if found[0][0] >= 0.85 * best[0] else best
    return first[1], first[2], first[3]


def _extent(shape: Polygon, at: Point, reach: tuple[float, float]) -> float:
    """Length of the line through `at` within the shape, centred: twice the shorter side."""
    line = LineString([(at.x - reach[0], at.y - reach[1]), (at.x + reach[0], at.y + reach[1])])
    cut = line.intersection(shape)
    parts = [p for p in getattr(cut, "geoms", [cut]) if p.distance(at) < 1e-6]
    if not parts:
        return 0.0
    ends = parts[0].coords
    return 2 * min(math.dist(end, (at.x, at.y)) for end in (ends[0], ends[-1]))


def fit_number(words: str, width: float, height: float) -> tuple[float, float]:
    """Type size and turn (0 or -90 degrees) with which `words` fit a width and height best."""
    letters = len(words) * DIGIT_WIDTH
    level = min((width - 1.5) / letters, (height - 1.5) / 0.8, LARGEST_NUMBER)
    upright = min((height - 1.5) / letters, (width - 1.5) / 0.8, LARGEST_NUMBER)
    return (level, 0.0) if level >= min(upright, 7.0) else (upright, -90.0)


def _draw_ways(sheet: Sheet, loft: Loft, strips: Sequence[Strip]) -> None:
    """For each area an arrow from the bay where laying begins to the bay where it ends."""
    sheet.open_group("ways", "Which way to work")
    for area in loft.areas:
        mine = [s for s in strips if s.area == area.name]
        if not mine:
            continue
        first, last = _bay_box(sheet, mine, mine[0]), _bay_box(sheet, mine, mine[-1])
        floor = on_sheet(sheet, area.floor())
        start, end = _clearest_way(sheet, floor, first, last)
        if math.dist(start, end) > 25:
            _arrow(sheet, start, end)
    sheet.close_group()


def _bay_box(sheet: Sheet, strips: Sequence[Strip], like: Strip) -> Box:
    """Bounds on the sheet of all strips of one bay."""
    shapes = [on_sheet(sheet, Polygon(s.outline_mm)) for s in strips if s.bay == like.bay]
    low_x, low_y, high_x, high_y = unary_union(shapes).bounds
    return low_x, low_y, high_x, high_y


def _clearest_way(sheet: Sheet, floor: Polygon, first: Box, last: Box) -> tuple[Position, Position]:
    """Square across the bays from first to last, where that stays on the floor and crosses
    the fewest numbers."""
    upright = first[3] - first[1] > first[2] - first[0]
    low, high = (1, 3) if upright else (0, 2)
    ways = []
    for step in range(1, WAYS_TRIED):
        along = min(first[low], last[low])
        along += (max(first[high], last[high]) - along) * step / WAYS_TRIED
        start, end = (_across(box, along, upright) for box in (first, last))
        count = max(2, int(math.dist(start, end) / 4))
        line = [
            (start[0] + (end[0] - start[0]) * i / count, start[1] + (end[1] - start[1]) * i / count)
            for i in range(count + 1)
        ]
        boxes = [(x - 2.5, y - 2.5, x + 2.5, y + 2.5) for x, y in line]
        off_floor = LineString(line).difference(floor).length
        cost = float(sheet.clashes(boxes).sum()) + 10 * off_floor + abs(step - WAYS_TRIED / 2)
        ways.append((cost, start, end))
    return min(ways)[1:]


def _across(box: Box, along: float, upright: bool) -> Position:
    """A place in the middle of a bay's width, at `along` on its length."""
    middle = ((box[0] + box[2]) / 2, (box[1] + box[3]) / 2)
    return (middle[0], along) if upright else (along, middle[1])


def _arrow(sheet: Sheet, start: Position, end: Position) -> None:
    length = math.dist(start, end)
    ux, uy = (end[0] - start[0]) / length, (end[1] - start[1]) / length
    back = (end[0] - ux * 9, end[1] - uy * 9)
    head = [end, (back[0] - uy * 4.5, back[1] + ux * 4.5), (back[0] + uy * 4.5, back[1] - ux * 4.5)]
    sheet.line((start, back), "way", stroke=PAPER, stroke_width=5)
    sheet.line((start, back), "way", stroke=SOFT, stroke_width=1.8, stroke_dasharray="6 3")
    sheet.path(line_path(head) + "Z", "way-head", fill=SOFT, stroke=PAPER, stroke_width=0.8)


def _layer_marks(
    sheet: Sheet, strips: Sequence[Strip], names: Mapping[str, str], textures: dict[str, int]
) -> list[tuple[Mark, str]]:
    entries: list[tuple[Mark, str]] = []

    def swatch(at_eaves: bool, texture: int) -> Mark:
        def mark(at: Position) -> None:
            x, y = at
            sheet.path(
                line_path([(x - 8, y - 5), (x + 8, y - 5), (x + 8, y + 5), (x - 8, y + 5)]) + "Z",
                "strip",
                fill=_fill(sheet, at_eaves, texture),
                stroke=INK,
                stroke_width=0.7,
            )

        return mark

    zones = {strip.zone for strip in strips}
    if "eaves" in zones:
        entries.append((swatch(True, 0), "Eaves lengths: first"))
    if "middle" in zones:
        entries.append((swatch(False, 0), "Middle: after the eaves"))
    if len(textures) > 1:
        for roll, texture in textures.items():
            entries.append((swatch(False, texture), names.get(roll, roll)))
    if strips:
        entries.append((lambda at: symbols.circle(sheet, at, 6, "begin"), "Begin here"))
        entries.append(
            (lambda at: _arrow(sheet, (at[0] - 12, at[1]), (at[0] + 12, at[1])), "Work this way")
        )
    return entries


def _laid_words(
    loft: Loft, layers: Sequence[Layer], strips: Sequence[Strip], names: Mapping[str, str]
) -> list[str]:
    told = []
    for area in loft.areas:
        mine = [layer for layer in layers if layer.area == area.name]
        for layer in mine:
            count = sum(s.area == area.name and s.roll == layer.roll for s in strips)
            told.append(
                f"{area.name}: {names.get(layer.roll, layer.roll)}, {layer.thickness_mm:g} mm, "
                f"{KIND_WORDS[layer.kind]}{COVER_WORDS[layer.covers]}, {count} strips"
            )
        if not mine:
            told.append(f"{area.name}: nothing in this layer")
    return told


def _describe(told: Sequence[str], strips: Sequence[Strip]) -> str:
    order = []
    if strips:
        order = [f"strips {strips[0].number} to {strips[-1].number} in laying order"]
    return "; ".join([*told, *order]) + "."
