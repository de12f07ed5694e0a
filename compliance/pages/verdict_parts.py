"""A verdict as a page shows it: its arithmetic area by area, its evidence, what is missing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from compliance.drawings import draw_assessment
from compliance.judged_words import missing_told
from compliance.models import Assessment, Certificate, Shortfall
from jobs.models import Job, LayerPlan


@dataclass(frozen=True, slots=True)
class AreaShown:
    """One area's verdict and the lines that lead to it."""

    name: str
    verdict: str
    lines: list[dict[str, Any]]


@dataclass(frozen=True, slots=True)
class VerdictShown:
    """Everything a page tells of one assessment. missing: in sentences."""

    assessment: Assessment
    missing: list[str]
    areas: list[AreaShown]
    checks: list[dict[str, Any]]
    suspicions: list[str]
    figures: list[dict[str, Any]]
    layers_mm: list[float]
    existing_mm: float

    def drawing(self) -> str:
        """The readings on the plan as SVG, drawn when a page asks for it; empty without a loft."""
        return draw_assessment(self.assessment) if self.assessment.inputs["loft"] else ""

    @property
    def measured_mm(self) -> float | None:
        """The least reading for the ruler; left out where the rule's tolerance let it pass."""
        least = self.assessment.least_depth_mm
        passed = self.assessment.verdict == Assessment.Verdict.MEETS
        if least is None or (passed and least < self.assessment.rule.min_depth_mm):
            return None
        return least


def show_verdict(assessment: Assessment) -> VerdictShown:
    arithmetic = assessment.arithmetic
    depths = arithmetic["depths"] or {"areas": [], "steps": []}
    plan = LayerPlan.objects.filter(
        job=assessment.job_id, survey=assessment.inputs["survey_id"]
    ).first()
    loft = assessment.inputs["loft"]
    return VerdictShown(
        assessment=assessment,
        missing=missing_told(assessment),
        areas=[
            AreaShown(
                area["area"],
                area["verdict"],
                [line(step) for step in depths["steps"] if step["area"] == area["area"]],
            )
            for area in depths["areas"]
        ],
        checks=[line(step) for step in arithmetic["checks"]],
        suspicions=arithmetic["suspicions"],
        figures=_figures(assessment),
        layers_mm=_layers_mm(plan),
        existing_mm=min((a["existing_depth_mm"] for a in loft["areas"]), default=0) if loft else 0,
    )


def line(step: Mapping[str, Any]) -> dict[str, Any]:
    """One step of the arithmetic for the table of `partials/arithmetic.html`."""
    value = step["value"]
    if step["kind"] in ("pre_start_check", "handover", "work_step"):
        value = "yes" if value else "no"
    elif isinstance(value, float):
        value = round(value, 1)
    return {
        "label": step["label"],
        "expression": step["expression"],
        "value": value,
        "unit": step["unit"],
        "passed": step["passed"],
    }


def _figures(assessment: Assessment) -> list[dict[str, Any]]:
    return [
        {"label": "Asked", "value": assessment.rule.min_depth_mm, "unit": "mm"},
        {"label": "Mean", "value": assessment.mean_depth_mm, "unit": "mm", "places": 0},
        {"label": "Least reading", "value": assessment.least_depth_mm, "unit": "mm"},
        {"label": "Readings counted", "value": assessment.reading_count},
    ]


def _layers_mm(plan: LayerPlan | None) -> list[float]:
    """Thicknesses of the first area's layers over its open floor, from the ceiling up."""
    if plan is None or not plan.quantities["layers"]:
        return []
    layers = plan.quantities["layers"]
    return [
        layer["thickness_mm"]
        for layer in layers
        if layer["area"] == layers[0]["area"] and layer["covers"] != "eaves"
    ]


def open_shortfall(job: Job) -> Shortfall | None:
    return Shortfall.objects.open().with_place().filter(job=job).first()


def current_certificate(job: Job) -> Certificate | None:
    return Certificate.objects.current().with_place().filter(job=job).first()
