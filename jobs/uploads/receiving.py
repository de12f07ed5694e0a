"""What happens to an upload: it begins, grows, becomes a photo, or is dropped."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from uuid import UUID

from django.db import transaction
from django.http import Http404
from django.utils import timezone

from jobs.errors import Refused
from jobs.evidence.media_types import HEAD_BYTES, sniff
from jobs.evidence.photos import PhotoNote, keep_photo, record_photo
from jobs.evidence.receiving import received_before
from jobs.models import Photo, Upload, User, Visit
from jobs.uploads.about import announced_sha256, photo_note, visit_number
from jobs.uploads.body import Body
from jobs.uploads.exclusive import alone_with
from jobs.uploads.pieces import Joined, Piece, arriving_piece, remove_pieces
from jobs.uploads.protocol import (
    BrokeOff,
    ChecksumMismatch,
    TooMany,
    UploadRefused,
    WrongOffset,
    read_metadata,
    require_unexpired,
)

LIFE = timedelta(days=7)
"""An upload nobody goes on with is kept so long; each request that brings bytes begins it anew."""
MOST_UNFINISHED = 500
"""Uploads of one person under way at once: a phone's queue of some days, but no flood."""


def begin_upload(by: User, length_bytes: int, metadata: str) -> Upload:
    """A new upload, or one that is finished at once where the photo is known already.

    Known is what this person sent under the same `client_key`, and bytes with the SHA-256 that
    the metadata tell, stored for the same job.

    Raises:
        Http404: the visit is not this person's. UploadRefused, BadHeader: the metadata say
        something that can't be. TooMany: too much is under way.
    """
    now = timezone.now()
    told = read_metadata(metadata)
    visit = Visit.objects.visible_to(by).filter(pk=visit_number(told)).first()
    if visit is None:
        raise Http404
    with refused_for_good():
        about = photo_note(told, now)
        known = _known_photo(visit, about, announced_sha256(told), length_bytes)
    if known is None and Upload.objects.filter(sent_by=by).unfinished(now).count() >= (
        MOST_UNFINISHED
    ):
        raise TooMany(
            "Too many photos are under way at once.",
            remedy="Let some of them finish, or discard them.",
        )
    return Upload.objects.create(
        visit=visit,
        sent_by=by,
        length_bytes=length_bytes,
        offset_bytes=length_bytes if known else 0,
        metadata=metadata,
        expires_at=now + LIFE,
        photo=known,
        repeats_photo=known is not None,
    )


def go_on(upload: Upload, offset: int, body: Body) -> Upload:
    """Take in a body from `offset` on; the upload as it stands afterwards.

    What came is stored piece by piece, and counts as soon as it is; the last piece counts only
    together with the photo's row. A body with a checksum counts as a whole or not at all.

    Raises:
        WrongOffset, TooLong, Busy, Gone, ChecksumMismatch: nothing was changed.
        BrokeOff: the line broke; what came before is kept. UploadRefused: it is no photo.
    """
    with alone_with(upload.pk):
        upload = _as_it_stands(upload.pk)
        if offset != upload.offset_bytes:
            raise _wrong_offset(upload)
        body.require_room(upload.length_bytes - upload.offset_bytes)
        while not (upload.is_finished or body.ended):
            upload = _take_piece(upload, body)
    if upload.is_finished:
        remove_pieces(upload.pk)
    return upload


def _as_it_stands(pk: UUID) -> Upload:
    upload = Upload.objects.select_related("visit", "sent_by", "photo").filter(pk=pk).first()
    if upload is None:
        raise Http404
    require_unexpired(upload.expires_at)
    return upload


def _take_piece(upload: Upload, body: Body) -> Upload:
    room = upload.length_bytes - upload.offset_bytes
    with arriving_piece(upload.pk, upload.offset_bytes) as piece:
        try:
            body.fill(piece, room)
        except BrokeOff:
            if body.checksum is None and 0 < piece.size < room:
                _count(upload, piece)
            raise
        if body.checksum is not None and not body.checksum.is_that_of(body.hasher):
            raise ChecksumMismatch(
                "The bytes that came are not those that were sent.",
                field="Upload-Checksum",
                remedy="Send them again.",
            )
        if piece.size == 0:
            return upload
        return _finish(upload, piece) if piece.size == room else _count(upload, piece)


def _count(upload: Upload, piece: Piece) -> Upload:
    """Store a piece that is not the last."""
    if upload.offset_bytes == 0 and piece.size >= HEAD_BYTES:
        with refused_for_good():  # before the phone sends megabytes of something else
            sniff(piece.head(HEAD_BYTES))
    name = piece.seal()
    with transaction.atomic():
        _move_offset(upload, upload.offset_bytes + piece.size)
        upload.pieces.create(  # type: ignore[attr-defined]
            starts_at_byte=upload.offset_bytes - piece.size, size_bytes=piece.size, name=name
        )
    return upload


def _finish(upload: Upload, last: Piece) -> Upload:
    """Store the whole photo; its row and the end of the upload are one transaction."""
    names = list(upload.pieces.values_list("name", flat=True))  # type: ignore[attr-defined]
    told = read_metadata(upload.metadata)
    whole = Joined(names, last.from_the_start())
    try:
        with refused_for_good():
            about = photo_note(told, upload.began_at)
            kept = keep_photo(whole)
            _require_announced(announced_sha256(told), kept.kept.sha256)
            with transaction.atomic():
                photo, created = record_photo(upload.visit, kept, about, upload.sent_by)
                _move_offset(
                    upload, upload.length_bytes, photo_id=photo.pk, repeats_photo=not created
                )
                upload.pieces.all().delete()  # type: ignore[attr-defined]
    finally:
        whole.close()
    upload.photo = photo
    return upload


def _move_offset(upload: Upload, to: int, **fields: object) -> None:
    """Raises WrongOffset if the upload no longer stands where this request found it."""
    values = {"offset_bytes": to, "expires_at": timezone.now() + LIFE, **fields}
    stands = Upload.objects.filter(pk=upload.pk, offset_bytes=upload.offset_bytes, photo=None)
    if stands.update(**values) != 1:
        raise _wrong_offset(upload)
    for name, value in values.items():
        setattr(upload, name, value)


def drop_upload(upload: Upload) -> None:
    """Forget an upload and free its bytes. A photo that came of it stays: it is evidence."""
    with alone_with(upload.pk):
        Upload.objects.filter(pk=upload.pk).delete()
        remove_pieces(upload.pk)


def _known_photo(visit: Visit, about: PhotoNote, sha256: str, length: int) -> Photo | None:
    by_key = received_before(Photo, visit, about.client_key)
    if by_key is not None:
        if by_key.size_bytes != length or (sha256 and sha256 != by_key.sha256):
            raise UploadRefused(
                "This key came with another photo.",
                field="client_key",
                remedy="Make a new key for each photo.",
            )
        return by_key
    same = Photo.objects.filter(job_id=visit.job_id, sha256=sha256, size_bytes=length)
    return same.first() if sha256 else None


def _require_announced(announced: str, found: str) -> None:
    if announced and announced != found:
        raise UploadRefused(
            "The file that came is not the one that was announced (another SHA-256).",
            field="sha256",
            remedy="Send the photo again from the start.",
        )


def _wrong_offset(upload: Upload) -> WrongOffset:
    return WrongOffset(
        "The upload does not stand at that offset.",
        field="Upload-Offset",
        remedy="Ask for its offset and go on from there.",
    )


@contextmanager
def refused_for_good() -> Iterator[None]:
    """Whatever the domain refuses is 422 here: 400 and 409 mean something else to a client."""
    try:
        yield
    except (UploadRefused, WrongOffset):
        raise
    except Refused as refusal:
        raise UploadRefused(
            refusal.message, field=refusal.field, remedy=refusal.remedy
        ) from refusal
