"""Who changed what, and when: a job, its home and its visits as the database's triggers saw it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from itertools import groupby
from typing import Any

from django.apps import apps
from django.db.backends.postgresql.psycopg_any import Range
from django.utils import timezone

from jobs.models import Job, Nation, Stage, User, Visit

# How the name of a field ends -> its unit as it is written.
UNITS = {
    "w m2k": "W/m²K",
    "w mk": "W/mK",
    "mm": "mm",
    "m2": "m²",
    "m3": "m³",
    "deg": "degrees",
}
# Fields that change with every edit, or that name the row itself: no news.
UNTOLD = frozenset(
    [
        "id",
        "version",
        "created_at",
        "updated_at",
        "stage_since",
        "company",
        "company_id",
        "property",
        "property_id",
        "job_id",
        "scheme_id",
        "called_off_reason",
        "stop_reason",
        "booked_at",
        "booked_by_id",
        "arrived_at",
        "left_at",
    ]
)
# Personal data: that it changed is told, what it was is not.
PERSONAL = frozenset({"householder_name", "householder_phone", "householder_email"})
NOBODY = "Eavesbook"


@dataclass(frozen=True, slots=True)
class Happening:
    """One act: when, by whom, what in a few words, and what changed in detail."""

    at: datetime
    who: str
    what: str
    detail: str


@dataclass(frozen=True, slots=True)
class _Change:
    """One event of one row, in words."""

    at: datetime
    context_id: object
    user_id: int | None
    what: str
    detail: str = ""


def history_of(job: Job) -> list[Happening]:
    """Every act on a job, its home and its visits, the earliest first. Four queries."""
    sources: tuple[tuple[str, str, int, Callable[..., tuple[str, str]]], ...] = (
        ("PropertyEvent", "pgh_obj_id", job.property_id, _tell_home),
        ("VisitEvent", "job_id", job.pk, _tell_visit),
        ("JobEvent", "pgh_obj_id", job.pk, _tell_job),
    )
    changes = [
        change
        for model, key, value, tell in sources
        for change in _changes(apps.get_model("jobs", model).objects.filter(**{key: value}), tell)
    ]
    changes.sort(key=lambda change: change.at)
    people = User.objects.in_bulk({c.user_id for c in changes if c.user_id})
    acts = groupby(changes, key=lambda change: change.context_id or change.at)
    return [_as_one(list(act), people) for _, act in acts]


def _as_one(act: list[_Change], people: dict[int, User]) -> Happening:
    """What one request changed, told as one act."""
    first, *rest = act
    also = [" ".join(part for part in (f"{c.what}.", c.detail) if part) for c in rest]
    who = people.get(first.user_id or 0)
    return Happening(
        first.at, str(who or NOBODY), first.what, " ".join(p for p in (first.detail, *also) if p)
    )


def _changes(events: Any, tell: Callable[..., tuple[str, str]]) -> Iterator[_Change]:
    """The events of one table in words, each against the one before it of the same row."""
    latest: dict[int, Any] = {}
    for event in events.select_related("pgh_context").order_by("pgh_id"):
        was = latest.get(event.pgh_obj_id)
        latest[event.pgh_obj_id] = event
        if was is not None and not _changed_fields(was, event):
            continue
        what, detail = tell(was, event)
        metadata = event.pgh_context.metadata if event.pgh_context else {}
        yield _Change(
            event.pgh_created_at, event.pgh_context_id, metadata.get("user"), what, detail
        )


def _changed_fields(was: Any, now: Any) -> list[str]:
    return [
        field.attname
        for field in now._meta.concrete_fields
        if not field.name.startswith("pgh_")
        and field.attname not in UNTOLD - {"called_off_reason", "stop_reason"}
        and getattr(was, field.attname) != getattr(now, field.attname)
    ]


def _differences(was: Any, now: Any) -> str:
    """Each changed field with what it was and is, as sentences."""
    return " ".join(
        _difference(now._meta.get_field(name.removesuffix("_id")), was, now)
        for name in _changed_fields(was, now)
        if name not in UNTOLD
    )


def label_of(field: Any) -> str:
    """A field's name as a person reads it, such as "Volume, m³": its unit as it is written."""
    words = str(field.verbose_name)
    for ending, unit in UNITS.items():
        if words.endswith(f" {ending}"):
            return f"{words.removesuffix(f' {ending}').capitalize()}, {unit}"
    return words.capitalize()


def _difference(field: Any, was: Any, now: Any) -> str:
    label = label_of(field)
    if field.name in PERSONAL:
        return f"{label} changed."
    before, after = (_shown(field, getattr(event, field.attname)) for event in (was, now))
    return f"{label}: {before} → {after}."


def _shown(field: Any, value: Any) -> str:
    if value is None or value == "":
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if field.choices:
        return str(dict(field.flatchoices).get(value, value))
    if isinstance(value, Range):
        return _span(value)
    if isinstance(value, date):
        return f"{value:%-d %b %Y}"
    if field.is_relation:
        return str(field.related_model.objects.filter(pk=value).first() or value)
    return str(value)


def _span(during: Any) -> str:
    start, end = (timezone.localtime(at) for at in (during.lower, during.upper))
    return f"{start:%a %-d %b %Y %H:%M}–{end:%H:%M}"


# --- What is told of each table


def _tell_home(was: Any, now: Any) -> tuple[str, str]:
    if was is None:
        return "Home taken in", f"{now.address_line_1}, {now.town} {now.postcode}, {_nation(now)}."
    return "Home corrected", _differences(was, now)


def _nation(event: Any) -> str:
    return Nation(event.nation).label


def _tell_job(was: Any, now: Any) -> tuple[str, str]:
    if was is None:
        return "Job opened", f"Due on {now.due_on:%-d %b %Y}." if now.due_on else ""
    if was.stage == now.stage:
        return "Job changed", _differences(was, now)
    if now.stage == Stage.CALLED_OFF:
        return "Job called off", now.called_off_reason
    return f"Job went from “{Stage(was.stage).label}” to “{Stage(now.stage).label}”", ""


def _tell_visit(was: Any, now: Any) -> tuple[str, str]:
    kind = Visit.Kind(now.kind).label
    if was is None:
        return f"{kind} booked", f"{_span(now.during)}, {now.crew}."
    if was.status == now.status:
        return f"{kind} moved", _differences(was, now)
    what = {
        "on_site": "crew arrived",
        "done": "done",
        "stopped": "stopped",
        "cancelled": "cancelled",
    }.get(now.status, Visit.Status(now.status).label.lower())
    return f"{kind}: {what}", now.stop_reason
