"""What an erasure of each kind takes away: which columns of which rows, and how."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.apps import apps
from django.db.models import Exists, OuterRef, Q
from django.utils import timezone

from compliance.personal.kinds import CONTACT, NOTES, PHOTOS, REASONS, SIGNATURES
from compliance.personal.words import (
    HASHED,
    NOTES_WORDS,
    REASONS_WORDS,
    Items,
    Words,
    words_items,
    words_left,
)
from jobs.evidence.erased_photos import mark_erased, still_kept
from jobs.models import (
    Arrival,
    Handover,
    IntakeBatch,
    IntakeRow,
    Job,
    Leave,
    Photo,
    PhotoInspection,
    Property,
)
from jobs.models.idempotency import IdempotentCreate
from jobs.models.phone_records import ERASED, NO_SALT, marks_of
from jobs.models.properties import OF_THE_HOUSEHOLD

PLACE = {"latitude_deg": None, "longitude_deg": None}
UNDONE = marks_of("not_done_reason")
COME_AND_GONE = {**marks_of("note"), "words_hashed": True}
SIGNED: tuple[tuple[Any, dict[str, Any]], ...] = (
    (
        Handover,
        {"signed_name": ERASED, "signature_svg": "", **UNDONE, "words_hashed": True},
    ),
    (Arrival, {"let_in_by": ERASED, **PLACE, **COME_AND_GONE}),
    (Leave, {**PLACE, **COME_AND_GONE}),
)
TAKEN_AT = ("exif_latitude_deg", "exif_longitude_deg")


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
    _forget_answers(job)
    return ERASERS[kind](job, items)


def _forget_answers(job: Job) -> None:
    """Answers of the API kept for repeats, where they tell of this job, its home or its visits."""
    visits = list(job.visits.values_list("pk", flat=True))
    IdempotentCreate.objects.filter(
        Q(path__contains="/properties/", body__id=job.property_id)
        | Q(path__contains="/jobs/", body__id=job.pk)
        | Q(path__contains="/visits/", body__id__in=visits)
        | Q(body__job=job.pk)
        | Q(body__visit__in=visits)
        | Q(body__readings__0__visit__in=visits)
    ).delete()


# --- The household's contact


def _contact_held() -> Q:
    known = ~Q(**dict.fromkeys(OF_THE_HOUSEHOLD, ""))
    homes = Property.objects.filter(known, pk=OuterRef("property"))
    formerly = apps.get_model("jobs", "PropertyEvent").objects.filter(
        known, pgh_obj_id=OuterRef("property")
    )
    return Q(Exists(homes)) | Q(Exists(formerly))


def _contact_items(job: Job) -> Items:
    found = words_items(Property, {"id": job.property_id}, OF_THE_HOUSEHOLD)
    rows = IntakeRow.objects.filter(job__property=job.property_id)
    unread = [str(row.pk) for row in rows if set(row.values.values()) - {ERASED}]
    if unread:
        found["jobs_intakerow"] = {pk: ["values", "problems"] for pk in unread}
    return found


def _erase_contact(job: Job, items: Items) -> list[str]:
    blank: dict[str, Any] = dict.fromkeys(OF_THE_HOUSEHOLD, "")
    if "jobs_property" in items:
        Property.objects.filter(pk=job.property_id).update(**blank, updated_at=timezone.now())
        history = apps.get_model("jobs", "PropertyEvent").objects
        history.filter(pgh_obj_id=job.property_id).exclude(**blank).update(**blank)
    rows = list(IntakeRow.objects.filter(pk__in=items.get("jobs_intakerow", ())))
    for row in rows:
        row.values, row.problems = dict.fromkeys(row.values, ERASED), []
    IntakeRow.objects.bulk_update(rows, ["values", "problems"])
    return _spreadsheets({row.batch_id for row in rows})


def _spreadsheets(batches: set[int]) -> list[str]:
    """Files that are taken in and done with; one that another batch still reads is kept."""
    imported = IntakeBatch.State.IMPORTED
    done = IntakeBatch.objects.filter(pk__in=batches, state=imported)
    still_read = IntakeBatch.objects.filter(stored_name=OuterRef("stored_name")).exclude(
        state=imported
    )
    return list(done.exclude(Exists(still_read)).values_list("stored_name", flat=True))


# --- Signatures, and who was there


def _signed_held() -> Q:
    held = Q()
    for model, _ in SIGNED:
        held |= Q(Exists(_still_signed(model).filter(visit__job=OuterRef("pk"))))
    return held


def _still_signed(model: Any) -> Any:
    """Rows not erased yet; a handover erased in days when its reason was none of it, for that."""
    left = model.objects.exclude(salt=NO_SALT)
    if model is Handover:
        left |= words_left(Handover, "not_done_reason")
    return left


def _signed_items(job: Job) -> Items:
    found: Items = {}
    for model, marks in SIGNED:
        left = _still_signed(model).filter(visit__job=job)
        columns = sorted(marks.keys() - {"words_hashed"})
        rows = {str(pk): columns for pk in left.values_list("pk", flat=True)}
        if rows:
            found[model._meta.db_table] = rows
    return found


def _erase_signed(job: Job, items: Items) -> list[str]:
    for model, marks in SIGNED:
        named = items.get(model._meta.db_table, {})
        model.objects.filter(pk__in=list(named)).update(**marks, salt=NO_SALT)
    return []


# --- Photos


def _photos_held() -> Q:
    kept = still_kept(Photo.objects.filter(job=OuterRef("pk")))
    placed = PhotoInspection.objects.filter(_taken_somewhere(), photo__job=OuterRef("pk"))
    noted = words_left(Photo, "note").filter(job=OuterRef("pk"))
    return Q(Exists(kept)) | Q(Exists(placed)) | Q(Exists(noted))


def _taken_somewhere() -> Q:
    return Q(exif_latitude_deg__isnull=False) | Q(exif_longitude_deg__isnull=False)


def _photo_items(job: Job) -> Items:
    mine = Photo.objects.filter(job=job)
    rows: dict[str, list[str]] = {str(pk): ["bytes"] for pk in _ids(still_kept(mine))}
    for pk in _ids(words_left(Photo, "note").filter(job=job)):
        rows.setdefault(str(pk), []).append("note")
    placed = _ids(PhotoInspection.objects.filter(_taken_somewhere(), photo__job=job))
    found: Items = {"jobs_photo": rows} if rows else {}
    if placed:
        found["jobs_photoinspection"] = {str(pk): list(TAKEN_AT) for pk in placed}
    return found


def _erase_photos(job: Job, items: Items) -> list[str]:
    named = items.get("jobs_photo", {})
    noted = [pk for pk, columns in named.items() if "note" in columns]
    Photo.objects.filter(pk__in=noted).update(**marks_of("note"), **HASHED)
    PhotoInspection.objects.filter(pk__in=list(items.get("jobs_photoinspection", ()))).update(
        **dict.fromkeys(TAKEN_AT), **HASHED
    )
    with_bytes = [pk for pk, columns in named.items() if "bytes" in columns]
    return mark_erased(Photo.objects.filter(pk__in=with_bytes))


def _ids(rows: Any) -> list[int]:
    return list(rows.order_by("pk").values_list("pk", flat=True))


# --- Notes and reasons in free words


def _erasing(words: Words) -> Callable[[Job, Items], list[str]]:
    """They stand in no stored file."""

    def erase(job: Job, items: Items) -> list[str]:
        words.erase(items)
        return []

    return erase


HELD: dict[str, Callable[[], Q]] = {
    CONTACT: _contact_held,
    SIGNATURES: _signed_held,
    PHOTOS: _photos_held,
    NOTES: NOTES_WORDS.held,
    REASONS: REASONS_WORDS.held,
}
ITEMS: dict[str, Callable[[Job], Items]] = {
    CONTACT: _contact_items,
    SIGNATURES: _signed_items,
    PHOTOS: _photo_items,
    NOTES: NOTES_WORDS.items,
    REASONS: REASONS_WORDS.items,
}
ERASERS: dict[str, Callable[[Job, Items], list[str]]] = {
    CONTACT: _erase_contact,
    SIGNATURES: _erase_signed,
    PHOTOS: _erase_photos,
    NOTES: _erasing(NOTES_WORDS),
    REASONS: _erasing(REASONS_WORDS),
}
