"""Lists (CSV) of a round's evidence and findings, written row by row."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from typing import Any

from django.db.models import F, OuterRef, Subquery

from calculations.charts.tables import csv_pieces, plain_cell
from compliance.audits.strata import strata_now
from compliance.models import (
    Assessment,
    AuditFollowUp,
    AuditRound,
    Certificate,
    DrawnJob,
    Finding,
    FindingAnswer,
    FindingReply,
    PopulationJob,
    Remeasurement,
)
from jobs.models import DepthReading, Photo, PreStartCheck, User
from jobs.models.jobs import reference_of

CHUNK = 1000

Rows = Iterable[Sequence[Any]]


def lists_of(record: AuditRound, user: User | Any) -> Iterator[tuple[str, Iterator[bytes]]]:
    """Name of each list and its bytes, read from the database while they are taken."""
    drawn = DrawnJob.objects.filter(round=record)
    jobs = drawn.values("job_id")
    found = Finding.objects.visible_to(user).filter(drawn_job__round=record)
    yield from (
        (name, _csv(columns, rows))
        for name, columns, rows in (
            _drawn(record, drawn),
            _findings(found),
            _answers(found),
            _replies(found),
            _follow_ups(record, user),
            _remeasurements(record, user),
            _verdicts(jobs),
            _certificates(jobs),
            _photos(jobs),
            _readings(jobs),
            _checks(jobs),
        )
    )


Listed = tuple[str, tuple[str, ...], Rows]


def _drawn(record: AuditRound, drawn: Any) -> Listed:
    weights = {s.name: s.weight for s in strata_now(record)}
    in_population = PopulationJob.objects.filter(round=record, job=OuterRef("job"))
    crewed = drawn.annotate(crew_name=Subquery(in_population.values("crew__name")[:1]))
    rows = crewed.order_by("draw_order").values_list(
        "draw_order", "job_id", "job__company__name", "crew_name", "stratum", "widening__number"
    )
    columns = ("draw_order", "job", "company", "crew", "stratum", "widening", "weight")
    return (
        "drawn",
        columns,
        (
            (order, reference_of(job), company, crew, stratum, widening or 0, weights[stratum])
            for order, job, company, crew, stratum, widening in rows.iterator(CHUNK)
        ),
    )


def _findings(found: Any) -> Listed:
    names = ("pk", "drawn_job__job_id", "severity", "concerns", "text", "found_at", "answer_due_on")
    columns = ("finding", "job", "class", "concerns", "text", "found_at", "answer_due_on")
    return "findings", columns, _with_job(found.order_by("drawn_job__draw_order", "pk"), names, 1)


def _answers(found: Any) -> Listed:
    rows = FindingAnswer.objects.filter(finding__in=found).order_by("finding_id", "pk")
    names = ("pk", "finding__drawn_job__job_id", "finding_id", "answered_at", "text")
    return "answers", ("answer", "job", "finding", "answered_at", "text"), _with_job(rows, names, 1)


def _replies(found: Any) -> Listed:
    rows = FindingReply.objects.filter(finding__in=found).order_by("finding_id", "pk")
    names = ("answer_id", "finding__drawn_job__job_id", "finding_id", "replied_at", "accepted")
    columns = ("answer", "job", "finding", "replied_at", "accepted", "text")
    return "replies", columns, _with_job(rows, (*names, "text"), 1)


def _follow_ups(record: AuditRound, user: User | Any) -> Listed:
    rows = AuditFollowUp.objects.visible_to(user).filter(round=record).order_by("pk")
    names = ("kind", "job_id", "finding_id", "asked_at", "due_on", "reason")
    answer = ("answer__done", "answer__answered_at", "answer__note")
    columns = ("kind", "job", "finding", "asked_at", "due_on", "reason")
    return (
        "follow-ups",
        (*columns, "done", "answered_at", "note"),
        _with_job(rows, (*names, *answer), 1),
    )


def _remeasurements(record: AuditRound, user: User | Any) -> Listed:
    rows = Remeasurement.objects.visible_to(user).filter(drawn_job__round=record)
    names = ("pk", "drawn_job__job_id", "reading_id", "x_mm", "y_mm", "depth_mm")
    more = ("reading__depth_mm", "replaces_id", "correction_reason")
    columns = ("remeasurement", "job", "reading", "x_mm", "y_mm", "depth_mm")
    return (
        "measured-again",
        (*columns, "installer_mm", "replaces", "correction_reason"),
        _with_job(rows.order_by("pk"), (*names, *more), 1),
    )


def _verdicts(jobs: Any) -> Listed:
    rows = Assessment.objects.filter(job__in=jobs).order_by("job_id", "number")
    names = ("pk", "job_id", "number", "verdict", "made_at", "rule__min_depth_mm", "inputs_sha256")
    columns = ("assessment", "job", "number", "verdict", "made_at", "asked_mm", "inputs_sha256")
    return "verdicts", columns, _with_job(rows, names, 1)


def _certificates(jobs: Any) -> Listed:
    rows = Certificate.objects.filter(job__in=jobs).order_by("job_id", "pk")
    names = ("code", "job_id", "issued_at", "withdrawal__withdrawn_at", "withdrawal__reason")
    columns = ("code", "job", "issued_at", "withdrawn_at", "reason", "pdf_sha256")
    return "certificates", columns, _with_job(rows, (*names, "pdf_sha256"), 1)


def _photos(jobs: Any) -> Listed:
    rows = Photo.objects.filter(job__in=jobs).order_by("job_id", "pk")
    names = ("pk", "job_id", "moment", "point_label", "phone_taken_at", "received_at")
    more = ("media_type", "size_bytes", "replaced_by__pk", "sha256")
    columns = ("photo", "job", "moment", "point", "phone_taken_at", "received_at")
    return (
        "photos",
        (*columns, "media_type", "size_bytes", "replaced_by", "sha256"),
        _with_job(rows, (*names, *more), 1),
    )


def _readings(jobs: Any) -> Listed:
    rows = DepthReading.objects.filter(visit__job__in=jobs).order_by("visit__job_id", "pk")
    names = ("pk", "visit__job_id", "visit__crew__name", "area__name", "x_mm", "y_mm", "depth_mm")
    more = ("allowance", "measured_at", "replaced_by__pk")
    columns = ("reading", "job", "crew", "area", "x_mm", "y_mm", "depth_mm")
    return (
        "readings",
        (*columns, "allowance", "measured_at", "replaced_by"),
        _with_job(rows, (*names, *more), 1),
    )


def _checks(jobs: Any) -> Listed:
    rows = PreStartCheck.objects.filter(visit__job__in=jobs).order_by("visit__job_id", "pk")
    columns = ("check", "job", "crew", "checked_at", "safe_to_start", "replaced_by")
    crew = rows.annotate(crew=F("visit__crew__name"))
    names = ("pk", "visit__job_id", "crew", "checked_at", "safe_to_start", "replaced_by__pk")
    return "checks", columns, _with_job(crew, names, 1)


def _with_job(rows: Any, names: Sequence[str], at: int) -> Rows:
    """Rows with the job's number in words at place `at`."""
    for row in rows.values_list(*names).iterator(CHUNK):
        job = row[at]
        yield (*row[:at], "" if job is None else reference_of(job), *row[at + 1 :])


def _csv(columns: Sequence[str], rows: Rows) -> Iterator[bytes]:
    pieces = csv_pieces(columns, ([_cell(cell) for cell in row] for row in rows))
    return (piece.encode() for piece in pieces)


def _cell(value: Any) -> str | int | float:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return value.isoformat(timespec="seconds")
    if isinstance(value, int | float | str) or value is None:
        return plain_cell(value)
    return str(value)
