"""The heat picture: a joist bay seen along the joist, with its isotherms, as SVG.

Temperatures are those of calculations.conduction. Bands darken with warmth and every isotherm
carries its temperature, so that the picture reads in black and white too.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from calculations.conduction import Field, JoistBay, check_joist_bay, solve_settled
from calculations.drawing.sheet import (
    INK,
    MARGIN,
    SMALL,
    TEXT,
    TITLE,
    WIDTH,
    Sheet,
    fixed,
    line_path,
    wrap,
)

Floats = NDArray[np.float64]

COLD, WARM = (250, 247, 240), (171, 92, 62)
"""Ends of the scale of bands, pale to dark; lightness falls all the way."""
STEPS_K = (1.0, 2.0, 2.5, 5.0, 10.0)
LABEL_ROOM = 46.0
TIMBER_LINE = "#4a3a2c"


def draw_heat_picture(bay: JoistBay, inside_c: float = 20.0, outside_c: float = 0.0) -> str:
    """SVG of the temperatures in one joist bay, with the U-values found both ways.

    inside_c, outside_c: air of the room and of the loft [deg C], the room warmer. Returns a
    whole <svg> element with a title and a description. Raises InputError as JoistBay does.
    """
    field = solve_settled(bay.section(inside_c, outside_c))
    check = check_joist_bay(bay)
    half = bay.joist_spacing_mm / 2
    height = float(field.y_mm[-1])
    sheet = Sheet((-half, 0.0, half, height), inset=LABEL_ROOM)
    sheet.left = MARGIN
    sheet.top = 58.0
    sheet.text(MARGIN, 22, "Heat through one joist bay", size=TITLE, weight="bold")
    sheet.text(MARGIN, 38, _build_up(bay), size=TEXT)
    sheet.text(MARGIN, 52, f"Loft at {outside_c:g} °C", size=SMALL)
    levels = _levels(sheet, field, inside_c, outside_c)
    _bands(sheet, field, levels, inside_c, outside_c)
    _materials(sheet, bay, height)
    _isotherms(sheet, field, levels)
    _names(sheet, bay, height)
    sheet.bottom = sheet.top + sheet.plan_height
    sheet.text(MARGIN, sheet.bottom + 12, f"Room at {inside_c:g} °C", size=SMALL)
    sheet.bottom += 16
    surface_c = outside_c + check.coldest_ceiling_factor * (inside_c - outside_c)
    for line in (
        f"U-value by conduction in two dimensions {check.conduction_u_w_m2k:.3f} W/m²K",
        f"U-value by the combined method {check.combined_u_w_m2k:.3f} W/m²K "
        f"({check.difference_share:+.1%})",
        f"Coldest place on the ceiling: under the joist, {surface_c:.1f} °C",
    ):
        for part in wrap(line, TEXT, WIDTH - 2 * MARGIN):
            sheet.bottom += 14
            sheet.text(MARGIN, sheet.bottom, part, size=TEXT)
    description = (
        f"{_build_up(bay)}. From {inside_c:g} °C in the room to {outside_c:g} °C in the loft. "
        f"Isotherms at {', '.join(f'{t:g}' for t in levels)} °C lie level in the wool and bend "
        "where the joist lets more heat through."
    )
    return sheet.finish("Heat through one joist bay", description)


def _build_up(bay: JoistBay) -> str:
    over = f", {bay.across_mm:g} mm across" if bay.across_mm else ""
    return (
        f"Joist {bay.joist_width_mm:g} × {bay.joist_depth_mm:g} at {bay.joist_spacing_mm:g} mm, "
        f"{bay.between_mm:g} mm wool between{over}"
    )


def _levels(sheet: Sheet, field: Field, inside_c: float, outside_c: float) -> list[float]:
    """Temperatures of the isotherms: round steps, their labels clear of one another."""
    at_side = field.level_c[:, -1]
    for step in STEPS_K:
        first = np.ceil((outside_c + 1e-6) / step) * step
        levels = [float(t) for t in np.arange(first, inside_c, step) if t < at_side[0]]
        levels = [t for t in levels if t > at_side[-1]]
        heights = [_height_mm(field, -1, t) * sheet.scale for t in levels]
        if len(levels) > 1 and np.abs(np.diff(heights)).min() >= TEXT:
            return levels
    return [(inside_c + outside_c) / 2]


def _height_mm(field: Field, column: int, temperature_c: float) -> float:
    """Where the column of cells has that temperature [mm over the ceiling's underside]."""
    falling = np.minimum.accumulate(field.level_c[:, column])
    return float(np.interp(-temperature_c, -falling, field.y_mm))


def _curve(field: Field, temperature_c: float) -> list[tuple[float, float]]:
    """The isotherm across the whole bay: the half that was solved, and its mirror image."""
    middles = (field.x_mm[:-1] + field.x_mm[1:]) / 2
    heights = [_height_mm(field, i, temperature_c) for i in range(len(middles))]
    half = [(0.0, heights[0]), *zip(middles.tolist(), heights, strict=True)]
    half.append((float(field.x_mm[-1]), heights[-1]))
    return [(-x, y) for x, y in reversed(half[1:])] + half


def _bands(
    sheet: Sheet, field: Field, levels: list[float], inside_c: float, outside_c: float
) -> None:
    sheet.open_group("heat-bands")
    half, top = float(field.x_mm[-1]), float(field.y_mm[-1])
    _fill(sheet, [(-half, top), (half, top)], 0.0)
    for level in levels:
        _fill(sheet, _curve(field, level), (level - outside_c) / (inside_c - outside_c))
    sheet.close_group()


def _fill(sheet: Sheet, upper: list[tuple[float, float]], warmth: float) -> None:
    outline = [sheet.at(*point) for point in upper]
    outline += [sheet.at(upper[-1][0], 0.0), sheet.at(upper[0][0], 0.0)]
    red, green, blue = (
        round(cold + (warm - cold) * warmth) for cold, warm in zip(COLD, WARM, strict=True)
    )
    sheet.path(line_path(outline) + "Z", "heat-band", fill=f"rgb({red},{green},{blue})")


def _isotherms(sheet: Sheet, field: Field, levels: list[float]) -> None:
    sheet.open_group("isotherms")
    for level in levels:
        points = [sheet.at(*point) for point in _curve(field, level)]
        sheet.line(points, "isotherm", stroke=INK, stroke_width=0.7)
        x, y = points[-1]
        sheet.text(x + 5, y + 3.2, f"{level:g} °C", size=SMALL)
    sheet.close_group()


def _materials(sheet: Sheet, bay: JoistBay, height_mm: float) -> None:
    half, joist = bay.joist_spacing_mm / 2, bay.joist_width_mm / 2
    wool_mm = bay.board_mm + bay.between_mm
    grain = sheet.pattern(
        "timber", 5, f'<path d="M0 0V5" stroke="{TIMBER_LINE}" stroke-width="0.6"/>', turn=20
    )
    sheet.open_group("materials")
    _box(sheet, -half, 0, half, height_mm, fill="none")
    _box(sheet, -half, 0, half, bay.board_mm, fill="none")
    _box(sheet, -joist, bay.board_mm, joist, wool_mm, fill=grain)
    if bay.across_mm:
        _box(sheet, -half, wool_mm, half, height_mm, fill="none")
    sheet.close_group()


def _names(sheet: Sheet, bay: JoistBay, height_mm: float) -> None:
    left, wool_mm = -bay.joist_spacing_mm / 2, bay.board_mm + bay.between_mm
    if bay.across_mm:
        _name(sheet, left, (wool_mm + height_mm) / 2, "wool across the joists")
    _name(sheet, left, (bay.board_mm + wool_mm) / 2, "wool between the joists")


def _box(sheet: Sheet, left: float, low: float, right: float, high: float, fill: str) -> None:
    x, y = sheet.at(left, high)
    x_end, y_end = sheet.at(right, low)
    sheet.add(
        f'<rect class="eb-material" x="{fixed(x)}" y="{fixed(y)}" width="{fixed(x_end - x)}" '
        f'height="{fixed(y_end - y)}" fill="{fill}" stroke="{TIMBER_LINE}" stroke-width="1.1"/>'
    )


def _name(sheet: Sheet, x_mm: float, y_mm: float, words: str) -> None:
    x, y = sheet.at(x_mm, y_mm)
    sheet.text(x + 6, y + 3, words, size=SMALL, fill=INK, halo=True)
