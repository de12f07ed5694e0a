"""Drawings of what a verdict rests on."""

from __future__ import annotations

from calculations.depths import Reading
from calculations.drawing import draw_evidence
from calculations.loft import loft_from_dict
from compliance.models import Assessment


def draw_assessment(assessment: Assessment) -> str:
    """The plan with the very readings an assessment was made from, as SVG."""
    inputs = assessment.inputs
    readings = [
        Reading(r["area"], r["x_mm"], r["y_mm"], r["depth_mm"], r["allowance"])
        for r in inputs["readings"]
    ]
    return draw_evidence(
        loft_from_dict(inputs["loft"]), readings, min_depth_mm=assessment.rule.min_depth_mm
    )
