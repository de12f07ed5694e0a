"""The drawing beside the survey form, with what is wrong and what is missing in words."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from calculations.drawing import draw_loft
from calculations.loft import LoftError, loft_area_m2, loft_from_dict
from jobs.lofts import loft_dict, loft_dict_of
from jobs.models import Survey
from jobs.surveying.records import problems_of

PLACE = re.compile(r"^(areas|obstacles|fixtures|hazards)\[(\d+)\]\.?(.*)$")
NOUNS = {"areas": "Area", "obstacles": "Obstacle", "fixtures": "Fixture", "hazards": "Hazard"}


@dataclass(frozen=True, slots=True)
class Sketch:
    """An SVG of the loft (empty while it cannot be drawn), its floor area, and complaints."""

    svg: str = ""
    area_m2: float | None = None
    complaints: tuple[str, ...] = ()


def place_in_words(path: str) -> str:
    """`areas[1].outline_mm` -> "Area 2, outline", as the form numbers them."""
    found = PLACE.match(path)
    if not found:
        return path.replace("_mm", "").replace("_", " ").replace(".", ", ").capitalize()
    part, number, rest = found.groups()
    rest = re.sub(r"_(mm|deg|m2|m)\b", "", rest).replace("_", " ").replace(".", ", ")
    return f"{NOUNS[part]} {int(number) + 1}" + (f", {rest}" if rest else "")


def _sketch(
    data: dict[str, Any], complaints: tuple[str, ...], *, number_sides: bool = False
) -> Sketch:
    if not data["areas"]:
        return Sketch(complaints=complaints or ("Add the first area of the loft.",))
    try:
        loft = loft_from_dict(data)
    except LoftError as error:
        words = f"{place_in_words(error.path)}: {error.message} {error.remedy}"
        return Sketch(complaints=(*complaints, words))
    return Sketch(draw_loft(loft, number_sides=number_sides), loft_area_m2(loft), complaints)


def missing_of(survey: Survey) -> tuple[str, ...]:
    """What keeps a stored survey from being finished, in words; nothing is drawn for it."""
    return tuple(
        f"{place_in_words(problem.path)}: {problem.message} {problem.remedy}"
        for problem in problems_of(survey)
    )


def sketch_of_stored(survey: Survey) -> Sketch:
    drawn = _sketch(loft_dict_of(survey), (), number_sides=survey.completed_at is None)
    return Sketch(drawn.svg, drawn.area_m2, missing_of(survey))


def sketch_of_source(sheet: Any) -> Sketch:
    """The sketch of what a survey form begins with."""
    if sheet.source is None:
        return Sketch(complaints=("Add the first area of the loft.",))
    drawn = _sketch(loft_dict_of(sheet.source), (), number_sides=True)
    return Sketch(drawn.svg, drawn.area_m2, missing_of(sheet.source))


def sketch_of(sheet: Any) -> Sketch:
    """The sketch of a survey form as typed, saved or not."""
    if not sheet.is_valid():
        return Sketch(complaints=tuple(sheet.errors()))
    measured = sheet.measured()
    data = loft_dict(
        sheet.form.instance,
        measured.areas,
        measured.obstacles,
        measured.fixtures,
        measured.hazards,
    )
    missing = []
    if not any(obstacle.kind == "hatch" for obstacle in measured.obstacles):
        missing.append("The hatch is not on the drawing yet.")
    if measured.areas and not any(area.eaves_edges for area in measured.areas):
        missing.append("No side is at the eaves yet: give the side numbers.")
    return _sketch(data, tuple(missing), number_sides=True)
