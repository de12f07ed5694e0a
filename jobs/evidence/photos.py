"""Storing a photo as it came. A row exists only once its bytes are stored for good."""

from __future__ import annotations

from datetime import datetime
from functools import partial
from typing import BinaryIO
from uuid import UUID, uuid4

from django.db import transaction

from jobs.announce import evidence_changed
from jobs.errors import Conflict, Refused, refusals_explained
from jobs.evidence.content_store import ByteSource, Kept, keep
from jobs.evidence.media_types import HEAD_BYTES, require_whole, sniff
from jobs.evidence.pictures import require_decodable_size
from jobs.evidence.receiving import lock_visit, received_before
from jobs.models import Job, Photo, User, Visit

PHOTO_LIMIT_BYTES = 60_000_000
FOLDER = "photos"


def store_photo(
    visit: Visit,
    moment: str,
    point_label: str,
    stream: ByteSource,
    by: User,
    client_key: UUID | None = None,
    phone_taken_at: datetime | None = None,
    note: str = "",
) -> tuple[Photo, bool]:
    """Keep a photo for good and say whether it is new.

    The same bytes for the same job, or the same `client_key`, give the photo that is already
    there. A photo is taken in at any time of a visit that is not cancelled: what a phone
    kept without signal may come after the handover.

    Raises:
        Refused: no photo, too large, broken off, or a point label that is too long.
        Conflict: the key came with another photo, or the visit is cancelled.
    """
    _check_words(moment, point_label, note)
    media_types: list[str] = []
    kept = keep(stream, FOLDER, limit_bytes=PHOTO_LIMIT_BYTES, check=partial(_look_at, media_types))
    with refusals_explained():
        visit = lock_visit(visit)
        known = _known(visit, kept, client_key)
        if known is not None:
            return known, False
        if visit.status == Visit.Status.CANCELLED:
            raise Conflict("This visit is cancelled.", field="visit", remedy="Ask the office.")
        photo = Photo.objects.create(
            job=visit.job,
            visit=visit,
            moment=moment,
            point_label=point_label.strip(),
            note=note.strip(),
            sha256=kept.sha256,
            size_bytes=kept.size_bytes,
            media_type=media_types[0],
            original_name=kept.name,
            phone_taken_at=phone_taken_at,
            sent_by=by,
            client_key=client_key or uuid4(),
        )
        evidence_changed.send(Job, job=visit.job)
        transaction.on_commit(lambda: _enqueue_inspection(photo.pk), robust=True)
    return photo, True


def _look_at(media_types: list[str], file: BinaryIO, size_bytes: int) -> None:
    media_type = sniff(file.read(HEAD_BYTES))
    require_whole(file, media_type, size_bytes)
    require_decodable_size(file, media_type)
    media_types.append(media_type)


def _known(visit: Visit, kept: Kept, client_key: UUID | None) -> Photo | None:
    by_key = received_before(Photo, visit, client_key)
    if by_key is not None and by_key.sha256 != kept.sha256:
        raise Conflict(
            "This key came with another photo.",
            field="client_key",
            remedy="Make a new key for each photo.",
        )
    return by_key or Photo.objects.filter(job_id=visit.job_id, sha256=kept.sha256).first()


def _check_words(moment: str, point_label: str, note: str) -> None:
    if moment not in Photo.Moment.values:
        raise Refused(
            f"There is no moment {moment!r}.",
            field="moment",
            remedy=f"Choose from: {', '.join(Photo.Moment.values)}.",
        )
    for field, words, most in (("point_label", point_label, 20), ("note", note, 200)):
        if len(words.strip()) > most:
            raise Refused(
                f"It has {len(words.strip())} characters.",
                field=field,
                remedy=f"Use {most} at most.",
            )


def _enqueue_inspection(photo_id: int) -> None:
    from jobs.tasks import inspect_photo

    inspect_photo.delay(photo_id)
