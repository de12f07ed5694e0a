"""Depth readings and photo points on the plan: the evidence at a glance."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from calculations.drawing import symbols
from calculations.drawing.key import Mark, draw_key, draw_list, loft_marks
from calculations.drawing.labels import place_label, place_plate
from calculations.drawing.photo_points import PhotoPoint
from calculations.drawing.plan import (
    draw_fixtures,
    draw_floor,
    draw_obstacles,
    draw_overall_dimensions,
    draw_scale_bar,
    start_sheet,
    take_marks,
)
from calculations.drawing.sheet import SMALL, Sheet
from calculations.loft import Loft

WORDS_OF_MOMENT = {"before": "before", "after": "after", "both": "before and after"}


class DepthReading(Protocol):
    """What a reading must have to be drawn; `calculations.depths.Reading` has it."""

    @property
    def x_mm(self) -> float: ...
    @property
    def y_mm(self) -> float: ...
    @property
    def depth_mm(self) -> float: ...
    @property
    def allowance(self) -> str: ...


class Place(Protocol):
    """A position in the loft [mm]."""

    @property
    def x_mm(self) -> float: ...
    @property
    def y_mm(self) -> float: ...


def draw_evidence(
    loft: Loft,
    readings: Sequence[DepthReading] = (),
    photo_points: Sequence[PhotoPoint] = (),
    min_depth_mm: float | None = None,
    *,
    wanted: Sequence[Place] = (),
    highlight: str = "",
) -> str:
    """SVG of the plan with readings [mm] and photo points, each photo listed beneath.

    With `min_depth_mm` a reading at full depth is marked as deep enough or below it; one
    with an allowance, or when nothing is asked, gets a ring. wanted: places still to be
    measured (`calculations.depths.where_to_measure`), marked by a cross hair. highlight: the
    label of the photo point that is looked at, in a double frame. Returns a whole <svg> element.
    """
    asked = f", {min_depth_mm:g} mm asked" if min_depth_mm is not None else ""
    subtitle = ", ".join(
        words
        for words in (
            _count(len(readings), "depth reading") if readings else "",
            _count(len(photo_points), "photo point") if photo_points else "",
            f"{_count(len(wanted), 'place')} still to measure" if wanted else "",
        )
        if words
    )
    title = "Readings and photos" if photo_points else "Depth readings"
    if photo_points and not readings:
        title = "Photo points"
    sheet = start_sheet(loft, title, (subtitle or "nothing recorded yet") + asked)
    draw_floor(sheet, loft)
    draw_obstacles(sheet, loft)
    draw_fixtures(sheet, loft)
    take_marks(sheet, loft)
    _draw_wanted(sheet, wanted)
    _draw_readings(sheet, readings, min_depth_mm)
    _draw_photo_points(sheet, photo_points, highlight)
    draw_overall_dimensions(sheet, loft)
    draw_scale_bar(sheet)
    draw_key(
        sheet,
        [
            *_evidence_marks(sheet, readings, photo_points, min_depth_mm, wanted),
            *loft_marks(sheet, loft),
        ],
    )
    if photo_points:
        draw_list(sheet, "Photos", [_photo_words(p) for p in photo_points])
    return sheet.finish(title, _describe(readings, photo_points, min_depth_mm))


def reading_state(reading: DepthReading, min_depth_mm: float | None) -> str:
    """How a reading is marked: "enough", "below" or "apart"."""
    if min_depth_mm is None or reading.allowance:
        return "apart"
    return "enough" if reading.depth_mm >= min_depth_mm else "below"


def _draw_readings(
    sheet: Sheet, readings: Sequence[DepthReading], min_depth_mm: float | None
) -> None:
    sheet.open_group("readings", "Depth readings in millimetres")
    for item in readings:
        at = sheet.at(item.x_mm, item.y_mm)
        symbols.reading(sheet, at, reading_state(item, min_depth_mm))
        sheet.take((at[0] - 5, at[1] - 5, at[0] + 5, at[1] + 5))
    for item in readings:
        at = sheet.at(item.x_mm, item.y_mm)
        place_label(sheet, at, [f"{item.depth_mm:.0f}"], size=SMALL, reach=5)
    sheet.close_group()


def _draw_wanted(sheet: Sheet, wanted: Sequence[Place]) -> None:
    sheet.open_group("wanted", "Places still to measure")
    for place in wanted:
        at = sheet.at(place.x_mm, place.y_mm)
        symbols.wanted(sheet, at)
        sheet.take((at[0] - 8, at[1] - 8, at[0] + 8, at[1] + 8))
    sheet.close_group()


def _draw_photo_points(sheet: Sheet, photo_points: Sequence[PhotoPoint], highlight: str) -> None:
    sheet.open_group("photos", "Photo points")
    for point in photo_points:
        half_width, half_height = symbols.plate_size(point.label)
        at = sheet.at(point.x_mm, point.y_mm)
        middle = place_plate(sheet, at, half_width, half_height)
        if point.label == highlight:
            symbols.photo_highlight(sheet, middle, point.label)
        symbols.photo_place(sheet, middle, point.label, point.moment)
    sheet.close_group()


def _evidence_marks(
    sheet: Sheet,
    readings: Sequence[DepthReading],
    photo_points: Sequence[PhotoPoint],
    min_depth_mm: float | None,
    wanted: Sequence[Place],
) -> list[tuple[Mark, str]]:
    entries: list[tuple[Mark, str]] = []
    if wanted:
        entries.append((lambda at: symbols.wanted(sheet, at), "Measure here"))
    words = {
        "enough": f"{min_depth_mm or 0:g} mm or more",
        "below": f"Below {min_depth_mm or 0:g} mm",
        "apart": "Eaves, tank or deck" if min_depth_mm is not None else "Depth in mm",
    }
    states = {reading_state(r, min_depth_mm) for r in readings}
    for state in ("enough", "below", "apart"):
        if state in states:
            entries.append(
                (lambda at, s=state: symbols.reading(sheet, at, s), words[state])  # type: ignore[misc]
            )
    moments = {p.moment for p in photo_points}
    for moment in ("before", "both", "after"):
        if moment in moments:
            entries.append(
                (
                    lambda at, m=moment: symbols.photo_place(sheet, at, "P", m),  # type: ignore[misc]
                    f"Photo {WORDS_OF_MOMENT[moment]}",
                )
            )
    return entries


def _photo_words(point: PhotoPoint) -> str:
    return f"{point.label} {WORDS_OF_MOMENT[point.moment]}: {point.why}"


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'s' if number != 1 else ''}"


def _describe(
    readings: Sequence[DepthReading],
    photo_points: Sequence[PhotoPoint],
    min_depth_mm: float | None,
) -> str:
    told = [_count(len(readings), "depth reading")]
    if readings:
        depths = [r.depth_mm for r in readings]
        told.append(f"from {min(depths):.0f} to {max(depths):.0f} mm")
    if min_depth_mm is not None:
        below = sum(reading_state(r, min_depth_mm) == "below" for r in readings)
        told.append(f"{below} below {min_depth_mm:g} mm")
    told += [_photo_words(p) for p in photo_points]
    return "; ".join(told) + "."
