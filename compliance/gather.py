"""What evidence a job has, read from the database in a handful of queries."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict
from datetime import date
from typing import Any

from django.utils import timezone

from calculations.loft import Condition
from compliance.judging import Evidence
from compliance.models import DepthRule
from compliance.rules import requirement_of, rule_in_force
from jobs.evidence.order_of_work import is_planned
from jobs.loading.needs import materials_of
from jobs.lofts import loft_dict_of
from jobs.models import (
    Arrival,
    DepthReading,
    Handover,
    Job,
    LoftArea,
    Photo,
    PreStartCheck,
    Survey,
    Variation,
    Visit,
    WorkStep,
)
from jobs.surveying.quantities import current_layer_plan

WORST_CREDITED = 0.08
"""Wool worse than this [W/mK] is none that a U-value is worked out with."""
WORK_VISITS = (Visit.Kind.FITTING, Visit.Kind.CALL_BACK)


def gather_evidence(job: Job) -> Evidence:
    """Everything a verdict on `job` rests on. Take the job's lock first.

    The rule is the one in force on the day the work was handed over, or today while it was
    not: a later rule never judges a loft that was finished before it.

    Raises:
        jobs.errors.Refused: no rule is in force for the nation on that day.
    """
    handover = (
        Handover.objects.current()
        .filter(visit__job=job, visit__kind__in=WORK_VISITS)
        .order_by("-corrected_at", "-id")
        .first()
    )
    work_day = timezone.localdate(handover.corrected_at) if handover else timezone.localdate()
    rule = rule_in_force(job.property.nation, work_day)
    survey = Survey.objects.complete().with_measurements().filter(job=job).first()
    readings, strays = _readings(job, survey)
    photos, unreadable = _photos(job, with_points=rule.photos_at_points)
    return Evidence(
        rule_id=rule.pk,
        nation=rule.nation,
        work_day=_day(work_day if handover else None),
        requirement=asdict(requirement_of(rule)),
        least_before_photos=rule.least_before_photos,
        least_after_photos=rule.least_after_photos,
        survey_id=survey.pk if survey else None,
        loft=loft_dict_of(survey) if survey else None,
        readings=readings,
        stray_readings=strays,
        photos=photos,
        unreadable_photos=unreadable,
        pre_start_check=_pre_start(job),
        handover=_handover(handover),
        photos_at_points=rule.photos_at_points,
        work_steps=_work_steps(job),
        u_value_route=u_value_route(rule, job),
    )


def _day(day: date | None) -> str:
    """Empty before the handover, so that the same evidence stays the same the day after."""
    return day.isoformat() if day else ""


def _readings(job: Job, survey: Survey | None) -> tuple[list[dict[str, Any]], int]:
    rows = list(
        DepthReading.objects.current()
        .filter(visit__job=job, visit__kind__in=WORK_VISITS)
        .select_related("visit", "area")
        .order_by("id")
    )
    mine = [row for row in rows if survey and row.area.survey_id == survey.pk]
    kept = after_last_call_back(mine)
    return [_reading(row) for row in kept], len(rows) - len(mine)


def after_last_call_back(readings: Iterable[DepthReading]) -> list[DepthReading]:
    """The readings that still say how deep it lies.

    A call-back adds wool, so the readings it took in an area stand in for all earlier ones of
    that area. Readings of several fitting visits to one area count together.
    """
    by_area: dict[int, list[DepthReading]] = {}
    for reading in readings:
        by_area.setdefault(reading.area_id, []).append(reading)
    kept: list[DepthReading] = []
    for of_area in by_area.values():
        call_backs = [r.visit for r in of_area if r.visit.kind == Visit.Kind.CALL_BACK]
        last = max(call_backs, key=lambda v: (v.during.lower, v.pk), default=None)
        kept += [r for r in of_area if last is None or r.visit_id == last.pk]
    return sorted(kept, key=lambda reading: reading.pk)


def _reading(row: DepthReading) -> dict[str, Any]:
    return {
        "id": row.pk,
        "area": row.area.name,
        "x_mm": row.x_mm,
        "y_mm": row.y_mm,
        "depth_mm": row.depth_mm,
        "allowance": row.allowance,
    }


def _photos(job: Job, *, with_points: bool) -> tuple[list[dict[str, Any]], int]:
    """Photos that can be looked at, and how many cannot."""
    photos = Photo.objects.current().filter(job=job).prefetch_related("inspections")
    rows, unreadable = [], 0
    for photo in photos.order_by("id"):
        inspections = list(photo.inspections.all())
        if inspections and not inspections[-1].readable:
            unreadable += 1
        else:
            row = {"id": photo.pk, "moment": photo.moment, "sha256": photo.sha256}
            rows.append({**row, "point": photo.point_label} if with_points else row)
    return rows, unreadable


def _pre_start(job: Job) -> dict[str, Any] | None:
    """The check of the latest visit that laid wool: an old one says nothing about it."""
    check = (
        PreStartCheck.objects.current()
        .filter(visit__job=job, visit__kind__in=WORK_VISITS)
        .order_by("-corrected_at", "-id")
        .first()
    )
    return {"id": check.pk, "safe_to_start": check.safe_to_start} if check else None


def u_value_route(rule: DepthRule, job: Job) -> dict[str, float] | None:
    """The rule's U-value and the worst wool of the newest plan, the kept one included.

    None where the rule has no such route, or the crew said that it laid another roll, or the plan
    does not say what a roll is: there the rule's depth holds.
    """
    if rule.greatest_u_value_w_m2k is None:
        return None
    conductivity = laid_conductivities([job.pk]).get(job.pk)
    if conductivity is None:
        return None
    return {
        "greatest_u_value_w_m2k": rule.greatest_u_value_w_m2k,
        "conductivity_w_mk": conductivity,
    }


def laid_conductivities(job_ids: Iterable[int]) -> dict[int, float]:
    """Of the worst wool by job id [W/mK]; jobs whose wool is not known are left out.

    As the newest plan kept it: what a company changes of its roll types since changes no verdict.
    """
    ids = set(job_ids)
    other = set(
        Variation.objects.current()
        .filter(visit__job__in=ids, kind=Variation.Kind.OTHER_ROLL)
        .values_list("visit__job_id", flat=True)
    )
    known: dict[int, float] = {}
    for job_id, material in materials_of(ids - other).items():
        types = material.roll_types
        if types and len(types) == len(material.rolls):
            known[job_id] = max(roll.conductivity_w_mk for roll in types.values())
    kept = LoftArea.objects.filter(survey__job__in=known, existing_depth_mm__gt=0).exclude(
        existing_condition=Condition.REMOVE
    )
    for job_id, value in kept.values_list("survey__job_id", "existing_conductivity_w_mk"):
        known[job_id] = max(known[job_id], value)
    return {job_id: value for job_id, value in known.items() if value <= WORST_CREDITED}


def _work_steps(job: Job) -> dict[str, dict[str, Any] | None] | None:
    """How each step of laying went at last, on visits that are over and kept a record of steps.

    Not the crew's words: a verdict that repeated them would keep them from being erased.

    A layer that the plan does not have is no step: the phone does not ask for it either.
    """
    over: dict[str, Any] = {"visit__kind__in": WORK_VISITS, "visit__status": Visit.Status.DONE}
    rows = list(WorkStep.objects.current().filter(visit__job=job, **over))
    if not rows and not Arrival.objects.filter(visit__job=job, **over).exists():
        return None
    latest = {row.step: row for row in sorted(rows, key=lambda row: (row.corrected_at, row.pk))}
    plan = current_layer_plan(job)
    kinds = {layer["kind"] for layer in plan.quantities.get("layers", ())} if plan else set()
    return {
        step: {"id": row.pk, "outcome": row.outcome} if (row := latest.get(step)) else None
        for step in WorkStep.Kind.values
        if step in latest or is_planned(step, kinds)
    }


def _handover(handover: Handover | None) -> dict[str, Any] | None:
    if handover is None:
        return None
    return {"id": handover.pk, "all_done": handover.all_done}
