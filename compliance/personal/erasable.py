"""What an erasure of each kind takes away: which columns of which rows, and how."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.apps import apps
from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils import timezone

from compliance.personal.kinds import CONTACT, PHOTOS, SIGNATURES
from jobs.evidence.erased_photos import mark_erased, still_kept
from jobs.models import Arrival, Handover, IntakeBatch, IntakeRow, Job, Leave, Photo, Property
from jobs.models.idempotency import IdempotentCreate
from jobs.models.phone_records import ERASED, NO_SALT
from jobs.models.properties import OF_THE_HOUSEHOLD

Items = dict[str, dict[str, list[str]]]

PLACE = {"latitude_deg": None, "longitude_deg": None}
SIGNED: tuple[tuple[Any, dict[str, Any]], ...] = (
    (Handover, {"signed_name": ERASED, "signature_svg": ""}),
    (Arrival, {"let_in_by": ERASED, **PLACE}),
    (Leave, PLACE),
)


def held_of(kind: str) -> Q:
    """Jobs of which something of a kind is held."""
    return HELD[kind]()


def items_of(job: Job, kind: str) -> Items:
    """What an erasure would name: table -> id -> columns. Empty when nothing is held."""
    return ITEMS[kind](job)


def erase_kind(job: Job, kind: str, items: Items) -> list[str]:
    """Put marks in place of what `items` names, whose erasure is recorded already.

    Returns the names of stored files that nothing needs any more.
    """
    return ERASERS[kind](job, items)


# --- The household's contact


def _contact_held() -> Q:
    blank = Q(**{f"property__{column}": "" for column in OF_THE_HOUSEHOLD})
    return ~blank


def _contact_items(job: Job) -> Items:
    home = job.property
    columns = [name for name in OF_THE_HOUSEHOLD if getattr(home, name)]
    rows = IntakeRow.objects.filter(job__property=home)
    unread = [str(row.pk) for row in rows if set(row.values.values()) - {ERASED}]
    found: Items = {}
    if columns:
        found["jobs_property"] = {str(home.pk): columns}
    if unread:
        found["jobs_intakerow"] = {pk: ["values"] for pk in unread}
    return found


def _erase_contact(job: Job, items: Items) -> list[str]:
    blank: dict[str, Any] = dict.fromkeys(OF_THE_HOUSEHOLD, "")
    if "jobs_property" in items:
        Property.objects.filter(pk=job.property_id).update(**blank, updated_at=timezone.now())
        history = apps.get_model("jobs", "PropertyEvent").objects
        history.filter(pgh_obj_id=job.property_id).exclude(**blank).update(**blank)
    rows = list(IntakeRow.objects.filter(pk__in=items.get("jobs_intakerow", ())))
    for row in rows:
        row.values = dict.fromkeys(row.values, ERASED)
    IntakeRow.objects.bulk_update(rows, ["values"])
    _forget_answers(job)
    return _spreadsheets({row.batch_id for row in rows})


def _forget_answers(job: Job) -> None:
    """Answers of the API kept for repeats, where they tell of this home or its handovers."""
    visits = list(job.visits.values_list("pk", flat=True))
    IdempotentCreate.objects.filter(
        Q(path__contains="/properties/", body__id=job.property_id)
        | Q(path__contains="/handovers/", body__visit__in=visits)
        | Q(path__contains="/arrivals/", body__visit__in=visits)
    ).delete()


def _spreadsheets(batches: set[int]) -> list[str]:
    """Files that are taken in and done with; one that another batch still reads is kept."""
    imported = IntakeBatch.State.IMPORTED
    done = IntakeBatch.objects.filter(pk__in=batches, state=imported)
    still_read = IntakeBatch.objects.filter(stored_name=OuterRef("stored_name")).exclude(
        state=imported
    )
    return list(done.exclude(Exists(still_read)).values_list("stored_name", flat=True))


# --- Signatures, and who was there


def _signed_rows(model: Any, job: Job) -> QuerySet[Any]:
    return model.objects.filter(visit__job=job).exclude(salt=NO_SALT)


def _signed_held() -> Q:
    held = Q()
    for model, _ in SIGNED:
        held |= Q(Exists(model.objects.filter(visit__job=OuterRef("pk")).exclude(salt=NO_SALT)))
    return held


def _signed_items(job: Job) -> Items:
    found: Items = {}
    for model, marks in SIGNED:
        ids = _signed_rows(model, job).values_list("pk", flat=True)
        rows = {str(pk): sorted(marks) for pk in ids}
        if rows:
            found[model._meta.db_table] = rows
    return found


def _erase_signed(job: Job, items: Items) -> list[str]:
    for model, marks in SIGNED:
        named = items.get(model._meta.db_table, {})
        model.objects.filter(pk__in=list(named)).update(**marks, salt=NO_SALT)
    _forget_answers(job)
    return []


# --- Photos


def _photos_held() -> Q:
    return Q(Exists(still_kept(Photo.objects.filter(job=OuterRef("pk")))))


def _photo_items(job: Job) -> Items:
    ids = still_kept(Photo.objects.filter(job=job)).values_list("pk", flat=True)
    rows = {str(pk): ["bytes"] for pk in ids}
    return {"jobs_photo": rows} if rows else {}


def _erase_photos(job: Job, items: Items) -> list[str]:
    return mark_erased(Photo.objects.filter(pk__in=list(items.get("jobs_photo", ()))))


HELD: dict[str, Callable[[], Q]] = {
    CONTACT: _contact_held,
    SIGNATURES: _signed_held,
    PHOTOS: _photos_held,
}
ITEMS: dict[str, Callable[[Job], Items]] = {
    CONTACT: _contact_items,
    SIGNATURES: _signed_items,
    PHOTOS: _photo_items,
}
ERASERS: dict[str, Callable[[Job, Items], list[str]]] = {
    CONTACT: _erase_contact,
    SIGNATURES: _erase_signed,
    PHOTOS: _erase_photos,
}
