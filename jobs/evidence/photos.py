"""Storing a photo as it came. A row exists only once its bytes are stored for good."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from typing import BinaryIO
from uuid import UUID, uuid4

from django.db import transaction

from jobs.announce import evidence_changed, photo_stored
from jobs.errors import Conflict, Refused, refusals_explained
from jobs.evidence.clock import clock_columns
from jobs.evidence.content_store import ByteSource, Kept, keep
from jobs.evidence.decoding.probing import require_decodable
from jobs.evidence.media_types import HEAD_BYTES, require_whole, sniff
from jobs.evidence.receiving import lock_visit, received_before
from jobs.models import Job, Photo, User, Visit

PHOTO_LIMIT_BYTES = 60_000_000
FOLDER = "photos"
LONGEST_POINT, LONGEST_NOTE = 20, 200


@dataclass(frozen=True, slots=True)
class PhotoNote:
    """What the phone says of a photo.

    phone_taken_at, phone_sent_at: by the phone's clock. told_at: our clock when we were told
    `phone_sent_at`, None for now. more: whatever else came with it, as text, for who wants it.
    """

    moment: str
    point_label: str = ""
    note: str = ""
    client_key: UUID = field(default_factory=uuid4)
    phone_taken_at: datetime | None = None
    phone_sent_at: datetime | None = None
    told_at: datetime | None = None
    more: Mapping[str, str] = field(default_factory=dict)

    def check(self) -> None:
        """Raises Refused for a moment that there is not, or words that are too long."""
        if self.moment not in Photo.Moment.values:
            raise Refused(
                f"There is no moment {self.moment!r}.",
                field="moment",
                remedy=f"Choose from: {', '.join(Photo.Moment.values)}.",
            )
        for name, words, most in (
            ("point_label", self.point_label, LONGEST_POINT),
            ("note", self.note, LONGEST_NOTE),
        ):
            if len(words.strip()) > most:
                raise Refused(
                    f"It has {len(words.strip())} characters.",
                    field=name,
                    remedy=f"Use {most} at most.",
                )


@dataclass(frozen=True, slots=True)
class KeptPhoto:
    """Bytes that are stored for good and are a photo of this type."""

    kept: Kept
    media_type: str


def store_photo(
    visit: Visit,
    moment: str,
    point_label: str,
    stream: ByteSource,
    by: User,
    client_key: UUID | None = None,
    phone_taken_at: datetime | None = None,
    note: str = "",
    phone_sent_at: datetime | None = None,
) -> tuple[Photo, bool]:
    """Keep a photo for good and say whether it is new.

    The same bytes for the same job, or the same `client_key`, give the photo that is already
    there. A photo is taken in at any time of a visit that is not cancelled: what a phone
    kept without signal may come after the handover.

    Raises:
        Refused: no photo, too large, broken off, or a point label that is too long.
        Conflict: the key came with another photo, or the visit is cancelled.
    """
    about = PhotoNote(
        moment, point_label, note, client_key or uuid4(), phone_taken_at, phone_sent_at
    )
    about.check()
    return record_photo(visit, keep_photo(stream), about, by)


def keep_photo(stream: ByteSource) -> KeptPhoto:
    """Keep the bytes for good. No row says so yet.

    Raises:
        Refused: no photo, too large, broken off, or one that can't be opened safely.
    """
    media_types: list[str] = []
    kept = keep(stream, FOLDER, limit_bytes=PHOTO_LIMIT_BYTES, check=partial(_look_at, media_types))
    return KeptPhoto(kept, media_types[0])


def record_photo(visit: Visit, photo: KeptPhoto, about: PhotoNote, by: User) -> tuple[Photo, bool]:
    """The row of a photo whose bytes are kept, and whether it is new. See `store_photo`."""
    kept = photo.kept
    with refusals_explained():
        visit = lock_visit(visit)
        known = _known(visit, kept, about.client_key)
        if known is not None:
            return known, False
        if visit.status == Visit.Status.CANCELLED:
            raise Conflict("This visit is cancelled.", field="visit", remedy="Ask the office.")
        row = Photo.objects.create(
            job=visit.job,
            visit=visit,
            moment=about.moment,
            point_label=about.point_label.strip(),
            note=about.note.strip(),
            sha256=kept.sha256,
            size_bytes=kept.size_bytes,
            media_type=photo.media_type,
            original_name=kept.name,
            phone_taken_at=about.phone_taken_at,
            sent_by=by,
            client_key=about.client_key,
            **clock_columns(about.phone_sent_at, about.told_at, about.phone_taken_at),
        )
        photo_stored.send(Photo, photo=row, about=about)
        evidence_changed.send(Job, job=visit.job)
        transaction.on_commit(lambda: _enqueue_inspection(row.pk), robust=True)
    return row, True


def _look_at(media_types: list[str], file: BinaryIO, size_bytes: int) -> None:
    media_type = sniff(file.read(HEAD_BYTES))
    require_whole(file, media_type, size_bytes)
    require_decodable(file, media_type)
    media_types.append(media_type)


def _known(visit: Visit, kept: Kept, client_key: UUID) -> Photo | None:
    by_key = received_before(Photo, visit, client_key)
    if by_key is not None and by_key.sha256 != kept.sha256:
        raise Conflict(
            "This key came with another photo.",
            field="client_key",
            remedy="Make a new key for each photo.",
        )
    return by_key or Photo.objects.filter(job_id=visit.job_id, sha256=kept.sha256).first()


def _enqueue_inspection(photo_id: int) -> None:
    from jobs.tasks import inspect_photo

    inspect_photo.delay(photo_id)
