"""Numbered places on the plan, to be measured again by somebody who must not see the depths."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from calculations.drawing import symbols
from calculations.drawing.key import Mark, draw_key, loft_marks
from calculations.drawing.labels import place_label
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


@dataclass(frozen=True, slots=True)
class NumberedPlace:
    """A place in the loft [mm] with its number, and whether it is done."""

    number: int
    x_mm: float
    y_mm: float
    done: bool = False


def draw_places(loft: Loft, places: Sequence[NumberedPlace], *, title: str) -> str:
    """SVG of the plan with each place as a ring, or a full disc once done, beside its number.

    Returns a whole <svg> element. Depths are not told.
    """
    done = sum(place.done for place in places)
    words = f"{done} of {len(places)} places done"
    sheet = start_sheet(loft, title, words)
    draw_floor(sheet, loft)
    draw_obstacles(sheet, loft)
    draw_fixtures(sheet, loft)
    take_marks(sheet, loft)
    _draw(sheet, places)
    draw_overall_dimensions(sheet, loft)
    draw_scale_bar(sheet)
    draw_key(sheet, [*_marks(sheet, places), *loft_marks(sheet, loft)])
    return sheet.finish(title, f"{words}, numbered as in the list.")


def _draw(sheet: Sheet, places: Sequence[NumberedPlace]) -> None:
    sheet.open_group("places", "Numbered places")
    for place in places:
        at = sheet.at(place.x_mm, place.y_mm)
        symbols.reading(sheet, at, _state(place))
        sheet.take((at[0] - 5, at[1] - 5, at[0] + 5, at[1] + 5))
    for place in places:
        at = sheet.at(place.x_mm, place.y_mm)
        place_label(sheet, at, [str(place.number)], size=SMALL, reach=5)
    sheet.close_group()


def _state(place: NumberedPlace) -> str:
    return "enough" if place.done else "apart"


def _marks(sheet: Sheet, places: Sequence[NumberedPlace]) -> list[tuple[Mark, str]]:
    words = {"apart": "Measure here", "enough": "Measured"}
    states = {_state(place) for place in places}
    return [
        (lambda at, s=state: symbols.reading(sheet, at, s), words[state])  # type: ignore[misc]
        for state in ("apart", "enough")
        if state in states
    ]
