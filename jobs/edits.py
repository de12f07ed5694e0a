"""Every edit of what can be edited: who, when, from where, and each value as it was and as it is.

The database's triggers write it down, whatever made the change. `history_of` tells the acts on a
job in a few words; here each field is told.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any

from django.apps import apps
from django.db.backends.postgresql.psycopg_any import Range
from django.db.models import QuerySet
from django.utils import timezone

from jobs.history import label_of
from jobs.models import Company, Crew, Job, Operative, Property, Role, Scheme, User, Visit
from jobs.planning.spelling import spell_length

BOOKKEEPING = frozenset({"id", "version", "updated_at", "created_at", "times_closed"})
OF_A_PERSON = frozenset(
    {"householder_name", "householder_phone", "householder_email", "access_notes", "operative"}
)
TOO_LONG = 200
DECIMALS = 5  # a place to a metre; more than that nobody measured
WHO_NOT_TOLD = (Role.AUDITOR, Role.INSTALLER)
BY_ITSELF = "Eavesbook"
SHELL = "the service itself"


@dataclass(frozen=True, slots=True)
class Source:
    """Events of one table. event: its history model; where: the filter; noun: what a row is."""

    event: str
    where: dict[str, Any]
    noun: str


@dataclass(frozen=True, slots=True)
class Changed:
    label: str
    was: str
    now: str


@dataclass(frozen=True, slots=True)
class Edit:
    """One row changed once. what: such as "Visit, fitting: changed"; place: from where it came.

    first: nothing is known of the row before, so the changes tell all its values.
    """

    at: datetime
    who: str
    place: str
    what: str
    changes: tuple[Changed, ...]
    first: bool


def edits_of(sources: Iterable[Source], reader: User) -> list[Edit]:
    """The edits of some tables, the newest first. `reader` decides what is told of a household."""
    told = [step for source in sources for step in _steps(source)]
    names = _Names(told, reader)
    hidden = OF_A_PERSON if reader.role in WHO_NOT_TOLD else frozenset()
    edits = [edit for step in told if (edit := _edit(step, names, hidden))]
    return sorted(edits, key=lambda edit: edit.at)[::-1]


_further: dict[str, list[Callable[[Any], list[Source]]]] = {}


def register_edits(of: str, sources: Callable[[Any], list[Source]]) -> None:
    """Have the edits of further tables told: of "job", "property", "crew" or "scheme"."""
    _further.setdefault(of, []).append(sources)


def _with_further(of: str, record: Any, sources: list[Source]) -> list[Source]:
    return [*sources, *(s for more in _further.get(of, ()) for s in more(record))]


def sources_of_job(job: Job) -> list[Source]:
    surveys = list(job.surveys.values_list("pk", flat=True))
    needs = list(job.visit_needs.values_list("pk", flat=True))
    visits = list(Visit.objects.filter(job=job).values_list("pk", flat=True))
    parts = [
        Source(event, {"survey_id__in": surveys}, noun)
        for event, noun in (
            ("jobs.LoftAreaEvent", "Area of the loft"),
            ("jobs.ObstacleEvent", "Obstacle"),
            ("jobs.FixtureEvent", "Fixture"),
            ("jobs.HazardEvent", "Hazard"),
        )
    ]
    return _with_further(
        "job",
        job,
        [
            Source("jobs.JobEvent", {"pgh_obj_id": job.pk}, "Job"),
            Source("jobs.PropertyEvent", {"pgh_obj_id": job.property_id}, "Home"),
            Source("jobs.VisitEvent", {"job_id": job.pk}, "Visit"),
            Source("jobs.VisitOperativeEvent", {"visit_id__in": visits}, "Who goes on a visit"),
            Source("jobs.VisitNeedEvent", {"job_id": job.pk}, "Needed visit"),
            Source("jobs.BarredCrewEvent", {"visitneed_id__in": needs}, "Crew not to be sent"),
            Source("jobs.AgreedWindowEvent", {"need_id__in": needs}, "Agreed time"),
            Source("jobs.SurveyEvent", {"job_id": job.pk}, "Survey"),
            *parts,
        ],
    )


def sources_of_property(home: Property) -> list[Source]:
    return _with_further(
        "property", home, [Source("jobs.PropertyEvent", {"pgh_obj_id": home.pk}, "Home")]
    )


def sources_of_crew(crew: Crew) -> list[Source]:
    """The crew, whoever was in it, its van, and who was away."""
    people = list(Operative.objects.filter(crew=crew).values_list("pk", flat=True))
    return _with_further(
        "crew",
        crew,
        [
            Source("jobs.CrewEvent", {"pgh_obj_id": crew.pk}, "Crew"),
            Source("jobs.OperativeEvent", {"crew_id": crew.pk}, "Operative"),
            Source("jobs.VanEvent", {"pgh_obj_id": crew.van_id}, "Van"),
            Source("jobs.AbsenceEvent", {"operative_id__in": people}, "Absence"),
            Source("jobs.AbsenceEvent", {"crew_id": crew.pk}, "Absence"),
        ],
    )


def sources_of_yard(company: Company) -> list[Source]:
    """All crews, operatives, vans and absences of a company, those without a crew too."""
    mine = {"company_id": company.pk}
    return [
        Source("jobs.CrewEvent", mine, "Crew"),
        Source("jobs.OperativeEvent", mine, "Operative"),
        Source("jobs.VanEvent", mine, "Van"),
        Source("jobs.AbsenceEvent", mine, "Absence"),
    ]


def sources_of_depots(company: Company) -> list[Source]:
    """Depots of a company, when they are open, what they keep and what was ordered."""
    mine = {"company_id": company.pk}
    depots = list(company.depots.values_list("pk", flat=True))
    return [
        Source("jobs.DepotEvent", mine, "Depot"),
        Source("jobs.DepotHoursEvent", {"depot_id__in": depots}, "Opening hours"),
        Source("jobs.StockItemEvent", mine, "Stock item"),
        Source("jobs.StockOrderEvent", mine, "Order"),
    ]


def sources_of_company(company: Company) -> list[Source]:
    return [
        Source("jobs.CompanyEvent", {"pgh_obj_id": company.pk}, "Company"),
        Source("jobs.SchemeCompanyEvent", {"company_id": company.pk}, "Working under a scheme"),
    ]


def sources_of_scheme(scheme: Scheme) -> list[Source]:
    return _with_further(
        "scheme",
        scheme,
        [
            Source("jobs.SchemeEvent", {"pgh_obj_id": scheme.pk}, "Scheme"),
            Source("jobs.SchemeCompanyEvent", {"scheme_id": scheme.pk}, "Company under it"),
        ],
    )


def sources_of_person(person: User) -> list[Source]:
    return [Source("jobs.UserEvent", {"pgh_obj_id": person.pk}, "Account")]


# --- How events become words


@dataclass(frozen=True, slots=True)
class _Step:
    """An event with the one before it of the same row."""

    noun: str
    was: Any
    now: Any


def _steps(source: Source) -> Iterator[_Step]:
    events = apps.get_model(source.event).objects.filter(**source.where)
    latest: dict[int, Any] = {}
    for event in events.select_related("pgh_context").order_by("pgh_id"):
        yield _Step(source.noun, latest.get(event.id), event)
        latest[event.id] = event


class _Names:
    """What keys of other rows stand for, looked up once a table."""

    def __init__(self, steps: list[_Step], reader: User) -> None:
        wanted: dict[type, set[Any]] = {User: set()}
        for step in steps:
            context = step.now.pgh_context
            wanted[User].add(context.metadata.get("user") if context else None)
            for field in _told_fields(step.now):
                if field.is_relation:
                    wanted.setdefault(field.related_model, set()).update(
                        getattr(row, field.attname) for row in (step.was, step.now) if row
                    )
        self._names = {
            model: {row.pk: _name(row, reader) for row in _rows(model, keys - {None})}
            for model, keys in wanted.items()
        }

    def of(self, model: type, key: Any) -> str:
        return self._names.get(model, {}).get(key, f"number {key}")


def _name(row: Any, reader: User) -> str:
    """A person of another company by its capacity alone."""
    both = isinstance(row, User) and reader.company_id and row.company_id
    if both and row.company_id != reader.company_id:
        return f"{row.get_role_display().lower()} of another company"
    return str(row)


def _rows(model: Any, keys: set[Any]) -> QuerySet[Any]:
    rows = model._base_manager.filter(pk__in=keys)
    return rows.select_related("property") if model is Job else rows


def _told_fields(event: Any) -> list[Any]:
    return [
        field
        for field in event._meta.concrete_fields
        if not field.name.startswith("pgh_") and field.name not in BOOKKEEPING
    ]


def _edit(step: _Step, names: _Names, hidden: frozenset[str]) -> Edit | None:
    was, now = step.was, step.now
    deleted = now.pgh_label == "delete"
    changes = list(_changes(step, names, hidden, gone=deleted))
    if was is not None and not changes and not deleted:
        return None
    first = now.pgh_label == "insert"
    act = "taken back" if deleted else "recorded" if first else "changed"
    metadata = now.pgh_context.metadata if now.pgh_context else {}
    person = metadata.get("user")
    return Edit(
        at=now.pgh_created_at,
        who=names.of(User, person) if person else BY_ITSELF,
        place=_place(metadata),
        what=f"{step.noun}{_which(now)} {act}",
        changes=tuple(changes),
        first=was is None and not deleted,
    )


def _which(event: Any) -> str:
    """Which row of its kind, in words: its name or reference, else what kind of thing it is."""
    if isinstance(event, apps.get_model("jobs.JobEvent")):
        return f" {Job(pk=event.id).reference}"
    for field in event._meta.concrete_fields:
        value = getattr(event, field.attname)
        if field.name in ("name", "reference", "email") and value:
            return f" “{value}”"
        if field.name in ("kind", "weekday") and field.choices and value not in (None, ""):
            return f", {str(dict(field.flatchoices).get(value, value)).lower()},"
    return ""


def _place(metadata: dict[str, Any]) -> str:
    """Such as "/jobs/12/book/ from 192.0.2.7"; a task by its name."""
    if metadata.get("task"):
        return f"the task {metadata['task'].rpartition('.')[2].replace('_', ' ')}"
    url, address = metadata.get("url", ""), metadata.get("from", "")
    return f"{url} from {address}" if url and address else url or SHELL


def _changes(
    step: _Step, names: _Names, hidden: frozenset[str], *, gone: bool
) -> Iterator[Changed]:
    """What each field was and is; of a row that is gone, what it had at the end."""
    for field in _told_fields(step.now):
        value = None if gone else getattr(step.now, field.attname)
        before = getattr(step.was, field.attname) if step.was is not None else None
        if gone:
            before = getattr(step.now, field.attname)
        empty = (None, "", [], {})
        if before == value or (before in empty and value in empty):
            continue
        label = label_of(field)
        if field.name in hidden:
            yield Changed(label, "not told", "not told")
        else:
            yield Changed(label, _shown(field, before, names), _shown(field, value, names))


def _shown(field: Any, value: Any, names: _Names) -> str:
    if value is None or value == "" or value == []:
        return "none"
    if field.is_relation:
        return names.of(field.related_model, value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if field.choices:
        return str(dict(field.flatchoices).get(value, value))
    if isinstance(value, float) and field.name.endswith("hours"):
        return f"{spell_length(value)} h"
    if isinstance(value, list | dict):
        return _listed(field, value)
    return _plain(value)


def _listed(field: Any, value: Any) -> str:
    """A list by the words of its choices; a drawing, or anything long, by how much it is."""
    inner = getattr(getattr(field, "base_field", None), "flatchoices", None)
    words = {str(key): str(word) for key, word in inner or ()}
    spell = spell_length if field.name.endswith("hours") else _plain
    told = [words[str(one)] if str(one) in words else spell(one) for one in value]
    text = ", ".join(told)
    return text if len(text) <= TOO_LONG else f"{len(told)} values"


def _plain(value: Any) -> str:
    if isinstance(value, Range):
        return f"{_plain(value.lower)} to {_plain(value.upper)}"
    if isinstance(value, datetime):
        return f"{timezone.localtime(value):%-d %b %Y, %H:%M}"
    if isinstance(value, date):
        return f"{value:%-d %b %Y}"
    if isinstance(value, time):
        return f"{value:%H:%M}"
    if isinstance(value, float):
        return f"{value:.{DECIMALS}f}".rstrip("0").rstrip(".")
    text = str(value)
    return text if len(text) <= TOO_LONG else f"{text[:TOO_LONG]}…"
