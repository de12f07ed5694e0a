"""The engine's view of a survey."""

from __future__ import annotations

from typing import Any

from calculations.loft import Loft, loft_from_dict
from jobs.models.surveys import Survey

AREA_FIELDS = (
    "name",
    "outline_mm",
    "holes_mm",
    "eaves_edges",
    "joist_spacing_mm",
    "joist_depth_mm",
    "joist_width_mm",
    "joist_direction_deg",
    "existing_depth_mm",
    "existing_condition",
    "existing_conductivity_w_mk",
)
OBSTACLE_FIELDS = ("name", "kind", "outline_mm", "underside_mm")
FIXTURE_FIELDS = (
    "name",
    "kind",
    "x_mm",
    "y_mm",
    "to_x_mm",
    "to_y_mm",
    "load_w",
    "conductor_mm2",
    "high_load",
)
HAZARD_FIELDS = ("kind", "note")


def _rows(rows: Any, fields: tuple[str, ...]) -> list[dict[str, Any]]:
    return [{field: getattr(row, field) for field in fields} for row in rows]


def loft_dict(
    survey: Survey, areas: Any, obstacles: Any, fixtures: Any, hazards: Any
) -> dict[str, Any]:
    """The engine's dictionary of a loft; `calculations.loft` names its keys and units."""
    return {
        "areas": _rows(areas, AREA_FIELDS),
        "obstacles": _rows(obstacles, OBSTACLE_FIELDS),
        "fixtures": _rows(fixtures, FIXTURE_FIELDS),
        "hazards": _rows(hazards, HAZARD_FIELDS),
        "roof": {
            "form": survey.roof_form,
            "pitch_deg": survey.roof_pitch_deg,
            "rafter_depth_mm": survey.rafter_depth_mm,
            "span_m": survey.roof_span_m,
            "underlay": survey.underlay,
            "eaves_opening_mm": survey.eaves_opening_mm,
            "ridge_opening_mm": survey.ridge_opening_mm,
        },
    }


def loft_dict_of(survey: Survey) -> dict[str, Any]:
    """A stored survey as the engine's dictionary."""
    return loft_dict(
        survey,
        survey.areas.all(),
        survey.obstacles.all(),
        survey.fixtures.all(),
        survey.hazards.all(),
    )


def loft_of(survey: Survey) -> Loft:
    """The survey as an immutable, validated loft.

    Raises:
        calculations.loft.LoftError: a measurement cannot be; names the place and the remedy.
    """
    return loft_from_dict(loft_dict_of(survey))
