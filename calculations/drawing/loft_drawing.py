"""The survey as typed: what a surveyor checks on the phone before leaving the loft."""

from __future__ import annotations

from calculations.drawing import symbols
from calculations.drawing.key import draw_hazards, draw_key, draw_list, loft_marks
from calculations.drawing.labels import place_inside, place_label
from calculations.drawing.plan import (
    draw_edge_lengths,
    draw_fixtures,
    draw_floor,
    draw_obstacles,
    draw_overall_dimensions,
    draw_scale_bar,
    draw_side_numbers,
    fixture_marks,
    start_sheet,
    take_marks,
)
from calculations.drawing.sheet import SMALL, TEXT, Sheet
from calculations.loft import Condition, Loft, LoftArea, loft_area_m2, net_polygon


def draw_loft(loft: Loft, *, number_sides: bool = False) -> str:
    """SVG of the loft as surveyed: areas with joists and sizes, obstacles, fixtures, hazards.

    `number_sides` writes the number of every side, for whoever is to name those at the eaves.
    Seen from above, in the survey's own coordinates; no north is assumed. Returns a whole
    <svg> element with a title and a description.
    """
    areas = len(loft.areas)
    size = f"{loft_area_m2(loft):.1f} m² in {areas} area{'s' if areas > 1 else ''}"
    sheet = start_sheet(loft, "Loft as surveyed", f"{size}, seen from above")
    draw_floor(sheet, loft)
    draw_obstacles(sheet, loft)
    draw_fixtures(sheet, loft)
    take_marks(sheet, loft)
    if number_sides:
        draw_side_numbers(sheet, loft)
    draw_edge_lengths(sheet, loft)
    sheet.open_group("labels", "Names")
    _name_things(sheet, loft)
    for area in loft.areas:
        _name_area(sheet, loft, area)
    sheet.close_group()
    draw_overall_dimensions(sheet, loft)
    draw_scale_bar(sheet)
    entries = [(lambda at: symbols.joist_sample(sheet, at), "Joists"), *loft_marks(sheet, loft)]
    draw_key(sheet, entries)
    draw_list(
        sheet,
        "Floor",
        [f"{a.name}, {a.floor().area / 1e6:.1f} m²: {area_words(a)}" for a in loft.areas],
    )
    draw_hazards(sheet, loft)
    return sheet.finish("Loft as surveyed", describe(loft))


def describe(loft: Loft) -> str:
    """The loft in words, for those who hear the drawing instead of seeing it."""
    parts = [f"{a.name}, {area_words(a)}" for a in loft.areas]
    parts += [f"{o.kind.value} {o.name}" for o in loft.obstacles]
    parts += [f"{f.kind.value} {f.name}" for f in loft.fixtures]
    return "Seen from above: " + "; ".join(parts) + "."


def area_words(area: LoftArea) -> str:
    joists = (
        f"joists {area.joist_width_mm:g} × {area.joist_depth_mm:g} at {area.joist_spacing_mm:g} mm"
    )
    if area.existing_depth_mm <= 0:
        return f"{joists}, no wool yet"
    kept = {
        Condition.KEEP: "kept",
        Condition.LEVEL: "to level",
        Condition.REMOVE: "to remove",
    }[area.existing_condition]
    return f"{joists}, {area.existing_depth_mm:g} mm wool {kept}"


def _name_area(sheet: Sheet, loft: Loft, area: LoftArea) -> None:
    floor = net_polygon(loft, area)
    name, size = area.name, f"{area.floor().area / 1e6:.1f} m²"
    joists = f"joists at {area.joist_spacing_mm:g} mm"
    place_inside(
        sheet,
        area.floor() if floor.is_empty else floor,
        [
            ((f"{name} {size}", joists), TEXT),
            ((f"{name} {size}", joists), SMALL),
            ((name, size), SMALL),
            ((f"{name} {size}",), SMALL),
            ((name,), SMALL),
        ],
    )


def _name_things(sheet: Sheet, loft: Loft) -> None:
    for item in loft.obstacles:
        xs, ys = zip(*(sheet.at(*p) for p in item.outline_mm), strict=True)
        middle = ((min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2)
        reach = min(max(xs) - min(xs), max(ys) - min(ys)) / 2 + 3
        place_label(sheet, middle, [item.name], size=SMALL, reach=reach)
    for fixture in loft.fixtures:
        marks = fixture_marks(sheet, fixture)
        at = marks[len(marks) // 3] if len(marks) > 1 else marks[0]
        place_label(sheet, at, [fixture.name], size=SMALL, reach=7)
