"""What is held on one household: every record that tells of it, as tables with titles.

People who work for the company or the scheme are told by their capacity, not by name: what is
held on them is theirs.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.apps import apps
from django.db.models import Model, QuerySet
from django.utils import timezone

from compliance.models import (
    Assessment,
    Certificate,
    CertificateWithdrawal,
    Erasure,
    EvidenceAccess,
    Shortfall,
    Waiver,
)
from jobs.models import (
    AgreedWindow,
    Arrival,
    DepthReading,
    Fixture,
    Handover,
    Hazard,
    IntakeRow,
    Job,
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

# Bookkeeping of our own, or large drawings of the same figures.
LEFT_OUT = frozenset(
    {
        "company",
        "version",
        "client_key",
        "salt",
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
    of_job, of_visit = {"job__property": home}, {"visit__job__property": home}
    of_survey = {"survey__job__property": home}
    history = apps.get_model("jobs", "PropertyEvent").objects.filter(pgh_obj_id=home.pk)
    yield _table("home", "The home", Property.objects.filter(pk=home.pk))
    yield _table("home_history", "The home as it was recorded over time", history)
    yield _table("intake", "Rows of spreadsheets it came with", _of(IntakeRow, of_job))
    yield _table("jobs", "Jobs", Job.objects.filter(property=home))
    yield _table("needs", "Visits that were needed", _of(VisitNeed, of_job))
    windows = AgreedWindow.objects.filter(need__job__property=home)
    yield _table("windows", "Times agreed with you", windows)
    yield _table("visits", "Visits", _of(Visit, of_job))
    yield _table("surveys", "Surveys", _of(Survey, of_job))
    for name, title, part in (
        ("areas", "Areas of the loft", LoftArea),
        ("obstacles", "Obstacles", Obstacle),
        ("fixtures", "Fixtures", Fixture),
        ("hazards", "Hazards", Hazard),
    ):
        yield _table(name, title, _of(part, of_survey))
    for name, title, fact in (
        ("arrivals", "Arrivals of the crew", Arrival),
        ("pre_start_checks", "Checks before the start", PreStartCheck),
        ("work_steps", "Steps of the work", WorkStep),
        ("variations", "Where the work differed from its plan", Variation),
        ("stop_works", "Work that was stopped", StopWork),
        ("depth_readings", "Depth readings", DepthReading),
        ("handovers", "Handovers", Handover),
        ("leaves", "When the crew left", Leave),
    ):
        yield _table(name, title, _of(fact, of_visit))
    yield _table("photos", "Photos", _of(Photo, of_job))
    looked = PhotoInspection.objects.filter(photo__job__property=home)
    yield _table("photo_inspections", "What was read from photos", looked)
    yield _table("assessments", "Verdicts", _of(Assessment, of_job))
    yield _table("shortfalls", "Shortfalls", _of(Shortfall, of_job))
    yield _table("waivers", "Waivers", _of(Waiver, of_job))
    yield _table("certificates", "Certificates", _of(Certificate, of_job))
    withdrawn = CertificateWithdrawal.objects.filter(certificate__job__property=home)
    yield _table("withdrawals", "Certificates withdrawn", withdrawn)
    yield _table("erasures", "What was erased", _of(Erasure, of_job))
    yield _table("openings", "Who opened the evidence", _of(EvidenceAccess, of_job))


def _of(model: type[Model], where: dict[str, Any]) -> QuerySet[Any]:
    return model._default_manager.filter(**where).order_by("pk")


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
