"""What is held on one household: every record that tells of it, as tables with titles.

People who work for the company or the scheme are told by their capacity, not by name: what is
held on them is theirs.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Model, QuerySet
from django.utils import timezone

from compliance.models import (
    AnswerEvidence,
    Assessment,
    AuditFollowUp,
    AuditFollowUpAnswer,
    Certificate,
    CertificateWithdrawal,
    DrawnJob,
    Erasure,
    ErasureRequest,
    EvidenceAccess,
    Finding,
    FindingAnswer,
    FindingReply,
    LegalHold,
    Remeasurement,
    Shortfall,
    Waiver,
    WaiverAnswer,
)
from compliance.personal.words import history_of
from jobs.models import (
    AgreedWindow,
    Arrival,
    DepthReading,
    Fixture,
    Handover,
    Hazard,
    IntakeRow,
    Job,
    LayerPlan,
    Leave,
    LoftArea,
    Obstacle,
    Photo,
    PhotoInspection,
    PreStartCheck,
    Property,
    StopWork,
    Survey,
    User,
    Variation,
    Visit,
    VisitNeed,
    WorkStep,
)

OF_JOB, OF_VISIT, OF_SURVEY = "job__property", "visit__job__property", "survey__job__property"
OF_FINDING = "finding__drawn_job__job__property"

# Name of the file, title, table, and the way from a row to its home.
HELD: tuple[tuple[str, str, type[Model], str], ...] = (
    ("home", "The home", Property, "id"),
    ("intake", "Rows of spreadsheets it came with", IntakeRow, OF_JOB),
    ("jobs", "Jobs", Job, "property"),
    ("needs", "Visits that were needed", VisitNeed, OF_JOB),
    ("windows", "Times agreed with you", AgreedWindow, "need__job__property"),
    ("visits", "Visits", Visit, OF_JOB),
    ("surveys", "Surveys", Survey, OF_JOB),
    ("areas", "Areas of the loft", LoftArea, OF_SURVEY),
    ("obstacles", "Obstacles", Obstacle, OF_SURVEY),
    ("fixtures", "Fixtures", Fixture, OF_SURVEY),
    ("hazards", "Hazards", Hazard, OF_SURVEY),
    ("layer_plans", "How the layers were planned", LayerPlan, OF_JOB),
    ("arrivals", "Arrivals of the crew", Arrival, OF_VISIT),
    ("pre_start_checks", "Checks before the start", PreStartCheck, OF_VISIT),
    ("work_steps", "Steps of the work", WorkStep, OF_VISIT),
    ("variations", "Where the work differed from its plan", Variation, OF_VISIT),
    ("stop_works", "Work that was stopped", StopWork, OF_VISIT),
    ("depth_readings", "Depth readings", DepthReading, OF_VISIT),
    ("handovers", "Handovers", Handover, OF_VISIT),
    ("leaves", "When the crew left", Leave, OF_VISIT),
    ("photos", "Photos", Photo, OF_JOB),
    ("photo_inspections", "What was read from photos", PhotoInspection, "photo__job__property"),
    ("assessments", "Verdicts", Assessment, OF_JOB),
    ("shortfalls", "Shortfalls", Shortfall, OF_JOB),
    ("waivers", "Waivers", Waiver, OF_JOB),
    ("waiver_answers", "Answers to waivers", WaiverAnswer, OF_JOB),
    ("certificates", "Certificates", Certificate, OF_JOB),
    (
        "withdrawals",
        "Certificates withdrawn",
        CertificateWithdrawal,
        "certificate__job__property",
    ),
    ("draws", "Audits that drew a job", DrawnJob, OF_JOB),
    ("findings", "What an audit found", Finding, "drawn_job__job__property"),
    ("finding_answers", "Answers to findings", FindingAnswer, OF_FINDING),
    ("finding_replies", "Replies to answers", FindingReply, OF_FINDING),
    ("answer_evidence", "What answers rest on", AnswerEvidence, OF_FINDING),
    ("follow_ups", "What an audit asked for", AuditFollowUp, OF_JOB),
    ("follow_up_answers", "What came of it", AuditFollowUpAnswer, OF_JOB),
    ("remeasurements", "Depths measured again", Remeasurement, "drawn_job__job__property"),
    ("legal_holds", "Legal holds", LegalHold, OF_JOB),
    ("erasure_requests", "Erasures asked for", ErasureRequest, OF_JOB),
    ("erasures", "What was erased", Erasure, OF_JOB),
    ("openings", "Who opened the evidence", EvidenceAccess, OF_JOB),
)
TITLES = {model._meta.db_table: title for _, title, model, _ in HELD}
"""Table -> what a person calls it."""
WITH_HISTORY = (Property, Job, VisitNeed, AgreedWindow, Visit, Survey, LegalHold)
"""Tables whose earlier values are told too; from an event to its home it is as from its row."""

# Tables that lead to a job all the same, and why nothing of them is told.
NOT_EXPORTED: dict[str, str] = {
    "jobs_visitoperative": "who of the crew was sent: of those people",
    "jobs_proposedvisit": "plans that were tried: of the crews' days",
    "jobs_photohash": "figures by which near pictures are found, worked out from photos",
    "jobs_upload": "photos under way, gone once they are here or given up",
    "compliance_populationjob": "which jobs an audit chose from",
    "compliance_issuerunjob": "progress of issuing many certificates",
    "compliance_rulerunjob": "progress of judging many jobs",
}

# Bookkeeping of our own, or large drawings of the same figures.
LEFT_OUT = frozenset(
    {
        "company",
        "version",
        "client_key",
        "salt",
        "words_hashed",
        "phone_ahead",
        "inputs",
        "contents",
        "perceptual_hash",
        "pgh_id",
        "pgh_obj",
        "pgh_context",
    }
)


@dataclass(frozen=True, slots=True)
class Table:
    """One kind of record. name: of its file; columns and rows as a person reads them."""

    name: str
    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Any, ...], ...]

    def records(self) -> list[dict[str, Any]]:
        return [dict(zip(self.columns, row, strict=True)) for row in self.rows]


def tables_of(home: Property) -> list[Table]:
    """Everything held on a household, the home first; kinds without a record are left out."""
    return [table for table in _tables(home) if table.rows]


def photos_of(home: Property) -> QuerySet[Photo]:
    return Photo.objects.filter(job__property=home).order_by("pk")


def _tables(home: Property) -> Iterator[Table]:
    for name, title, model, path in HELD:
        yield _table(name, title, _released(model).filter(**{path: home.pk}).order_by("pk"))
    for name, title, model, path in HELD:
        if model in WITH_HISTORY:
            rows = history_of(model).objects.filter(**{path: home.pk}).order_by("pgh_id")
            yield _table(f"{name}_history", f"{title}, as recorded over time", rows)


def _released(model: type[Model]) -> QuerySet[Any]:
    """What an auditor has not released yet is the auditor's alone."""
    rows = model._default_manager.all()
    return rows.filter(released_at__isnull=False) if model is Finding else rows


def _table(name: str, title: str, rows: QuerySet[Any]) -> Table:
    fields = [field for field in rows.model._meta.concrete_fields if field.name not in LEFT_OUT]
    people = [f.name for f in fields if f.is_relation and f.related_model is User]
    found = rows.select_related(*people) if people else rows
    return Table(
        name,
        title,
        tuple(field.name for field in fields),
        tuple(tuple(_value(row, field) for field in fields) for row in found),
    )


def _value(row: Any, field: Any) -> Any:
    """A value as JSON and a person take it; a person of the company as the role alone."""
    if field.is_relation and field.related_model is User:
        person = getattr(row, field.name, None)
        return person.get_role_display().lower() if person else None
    value = getattr(row, field.attname)
    if isinstance(value, datetime):
        return timezone.localtime(value).isoformat(timespec="seconds")
    if value is None or isinstance(value, str | int | float | bool | list | dict):
        return value
    return str(value)
