"""Starting, keeping and finishing a survey.

A draft takes whatever was measured so far, even where it does not fit together yet, so that
nothing typed in a loft is lost. Finishing asks the engine whether such a loft can be.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import Any

from django.db import transaction
from django.utils import timezone

from calculations.loft import LoftError
from jobs.announce import evidence_changed
from jobs.errors import Conflict, Refused, Stale, refusals_explained, refuse_invalid
from jobs.lofts import loft_of
from jobs.models import Fixture, Hazard, Job, LoftArea, Obstacle, Stage, Survey, User
from jobs.stages import lock_job, move_job
from jobs.surveying.visits import close_survey_visits

SURVEYABLE = (Stage.TO_SURVEY, Stage.TO_QUANTIFY, Stage.TO_PLAN)


@dataclass(frozen=True, slots=True)
class Measurements:
    """What was measured: rows not yet saved, and the survey's own fields by name."""

    survey_fields: dict[str, Any] = field(default_factory=dict)
    areas: tuple[LoftArea, ...] = ()
    obstacles: tuple[Obstacle, ...] = ()
    fixtures: tuple[Fixture, ...] = ()
    hazards: tuple[Hazard, ...] = ()

    def parts(self) -> tuple[tuple[str, tuple[Any, ...]], ...]:
        return (
            ("areas", self.areas),
            ("obstacles", self.obstacles),
            ("fixtures", self.fixtures),
            ("hazards", self.hazards),
        )


@dataclass(frozen=True, slots=True)
class Problem:
    """Something that keeps a survey from being finished."""

    path: str
    message: str
    remedy: str


def start_survey(job: Job, by: User, on: date) -> Survey:
    """The job's draft: the one begun before, or a new one that starts from the last survey.

    Raises:
        Conflict: the job is past surveying.
    """
    with transaction.atomic():
        locked = lock_job(job.pk)
        draft, source = draft_or_blank(locked, by, on)
        if draft.pk is not None:
            return draft
        draft.save()
        if source is not None:
            _copy_parts(source, draft)
    return draft


def draft_or_blank(job: Job, by: User, on: date) -> tuple[Survey, Survey | None]:
    """The draft begun before, or one not yet stored; and the survey whose measures it shows.

    A second look begins from what is known, since it mostly confirms the first. Looking at
    the form stores nothing: `start_survey` does, with the first save.

    Raises:
        Conflict: the job is past surveying.
    """
    surveys = Survey.objects.filter(job=job).with_measurements()
    draft = surveys.filter(completed_at__isnull=True).first()
    if draft is not None:
        return draft, draft
    if job.stage not in SURVEYABLE:
        raise Conflict(
            f"{job.reference} is at “{job.get_stage_display()}”.",
            field="job",
            remedy="A survey can be made until a fitting visit is booked.",
        )
    last = surveys.complete().first()
    blank = Survey(job=job, surveyed_by=by, surveyed_on=on)
    if last is not None:
        kept = ("id", "job", "surveyed_by", "surveyed_on", "completed_at", "version")
        for column in Survey._meta.concrete_fields:
            if column.name not in kept:
                setattr(blank, column.attname, getattr(last, column.attname))
    return blank, last


def _copy_parts(source: Survey, draft: Survey) -> None:
    for name, _ in Measurements().parts():
        for row in getattr(source, name).all():
            row.pk = None
            row.survey = draft
            row.save(force_insert=True)


def save_draft(survey: Survey, measured: Measurements, *, version: int | None = None) -> Survey:
    """Keep what was measured in place of what the draft held.

    Raises:
        Conflict: the survey is finished. Stale: someone else saved it since `version`.
        Refused: a value is out of range; names the field.
    """
    with refusals_explained():
        kept = Survey.objects.select_for_update().get(pk=survey.pk)
        if kept.completed_at is not None:
            raise Conflict(
                "This survey is finished and kept as it is.",
                remedy="Start a new survey of the job to measure again.",
            )
        if version is not None and version != kept.version:
            raise Stale("This survey")
        for name, value in measured.survey_fields.items():
            setattr(kept, name, value)
        kept.version += 1
        refuse_invalid(kept)
        kept.save()
        for name, rows in measured.parts():
            _replace(kept, name, rows)
    return Survey.objects.with_measurements().get(pk=survey.pk)


def _replace(survey: Survey, name: str, rows: tuple[Any, ...]) -> None:
    getattr(survey, name).all().delete()
    for number, row in enumerate(rows):
        row.pk = None
        row.survey = survey
        try:
            refuse_invalid(row)
        except Refused as error:
            raise Refused(
                error.message, field=f"{name}[{number}].{error.field}", remedy=error.remedy
            ) from error
        row.save(force_insert=True)


def problems_of(survey: Survey) -> tuple[Problem, ...]:
    """What still keeps the survey from being finished, in the order a surveyor would fix it."""
    if not survey.areas.all():
        return (Problem("areas", "No area is measured yet.", "Add the first area of the loft."),)
    found = []
    try:
        loft_of(survey)
    except LoftError as error:
        found.append(Problem(error.path, error.message, error.remedy))
    kinds = {obstacle.kind for obstacle in survey.obstacles.all()}
    if "hatch" not in kinds:
        found.append(
            Problem(
                "obstacles",
                "The hatch is not on the drawing.",
                "Add it: the laying order starts from the bay farthest from the hatch.",
            )
        )
    if not any(area.eaves_edges for area in survey.areas.all()):
        found.append(
            Problem(
                "areas",
                "No side of the loft is said to lie on a wall plate.",
                "Name the sides at the eaves, so that the air gap and the trays are planned.",
            )
        )
    return tuple(found)


def complete_survey(survey: Survey, by: User) -> Survey:
    """Finish a survey: its visits are over, the job goes on to be quantified.

    Raises:
        Refused: something is missing; the first problem is named.
    """
    with transaction.atomic():
        job = lock_job(survey.job_id)
        kept = Survey.objects.select_for_update().with_measurements().get(pk=survey.pk)
        if kept.completed_at is not None:
            return kept
        problems = problems_of(kept)
        if problems:
            first = problems[0]
            raise Refused(first.message, field=first.path, remedy=first.remedy)
        kept.completed_at = timezone.now()
        kept.surveyed_by = by
        kept.version += 1
        kept.save()
        move_job(job, Stage.TO_QUANTIFY)
        close_survey_visits(job, by, kept.completed_at)
        evidence_changed.send(Job, job=job)
        transaction.on_commit(lambda: _quantify_soon(job.pk))
    return kept


def _quantify_soon(job_id: int) -> None:
    from jobs.tasks import quantify_job

    quantify_job.delay(job_id)
