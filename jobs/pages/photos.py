"""Handing out stored photos to those who may see them."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator
from typing import IO

from asgiref.sync import sync_to_async
from django.core.handlers.asgi import ASGIRequest
from django.http import (
    Http404,
    HttpRequest,
    HttpResponseBase,
    HttpResponseNotModified,
    StreamingHttpResponse,
)
from django.shortcuts import get_object_or_404, render
from django.urls import path
from django.utils.http import content_disposition_header

from jobs.evidence.content_store import CHUNK_BYTES, open_kept
from jobs.evidence.erased_photos import is_erased
from jobs.evidence.media_types import ENDINGS, JPEG
from jobs.evidence.openings import glanced_at, opened
from jobs.models import Photo, Role, User
from jobs.pages.access import page_for

SIZES = ("original", "display", "thumb")
READERS = (
    Role.PLANNER,
    Role.SURVEYOR,
    Role.INSTALLER,
    Role.COMPLIANCE_OFFICER,
    Role.AUDITOR,
)
# Nothing in a photo may run, whatever a browser makes of its bytes.
NOTHING_RUNS = "default-src 'none'; sandbox"


@page_for(*READERS)
def photo(request: HttpRequest, pk: int, size: str) -> HttpResponseBase:
    """The bytes of a photo: as they came (to save), or a small copy without metadata (to show)."""
    record = get_object_or_404(
        Photo.objects.visible_to(request.user).prefetch_related("inspections"), pk=pk
    )
    inspections = list(record.inspections.all())
    if inspections and is_erased(inspections[-1]):
        return render(request, "jobs/photos/erased.html", {"photo": record}, status=410)
    name = stored_name(record, size)
    etag = f'"{name.rpartition("/")[2]}"'
    if request.headers.get("If-None-Match") == etag:
        return HttpResponseNotModified()
    _note_opening(request, record, size)
    media_type = record.media_type if size == "original" else JPEG
    response = StreamingHttpResponse(chunks_for(request, name), content_type=media_type)
    return as_picture(response, record, size, media_type, etag)


def as_picture(
    response: HttpResponseBase, record: Photo, size: str, media_type: str, etag: str
) -> HttpResponseBase:
    """What every picture's answer says besides: it may be kept, and nothing in it runs."""
    ending = f"{record.moment}-{size}.{ENDINGS[media_type]}"
    response["Content-Disposition"] = content_disposition_header(
        size == "original", f"J-{record.job_id:06d}-{record.pk}-{ending}"
    )
    response["Cache-Control"] = "private, max-age=31536000, immutable"
    response["X-Content-Type-Options"] = "nosniff"
    response["Content-Security-Policy"] = NOTHING_RUNS
    response["ETag"] = etag
    return response


def _note_opening(request: HttpRequest, record: Photo, size: str) -> None:
    """Each larger picture by itself; the small ones of a job are one look at it."""
    person: User = request.user  # type: ignore[assignment]
    if size == "thumb":
        glanced_at(record.job_id, person, "photos, small")
    else:
        words = f"photo {record.pk}" + (", the original" if size == "original" else "")
        opened([record.job_id], person, words)


def chunks_for(request: HttpRequest, name: str) -> Iterator[bytes] | AsyncIterator[bytes]:
    """Kept bytes a piece at a time, as the server at hand can send them without waiting."""
    file = open_kept(name)
    return _later_chunks(file) if isinstance(request, ASGIRequest) else _chunks(file)


def _chunks(file: IO[bytes]) -> Iterator[bytes]:
    with file:
        while chunk := file.read(CHUNK_BYTES):
            yield chunk


async def _later_chunks(file: IO[bytes]) -> AsyncIterator[bytes]:
    try:
        while chunk := await sync_to_async(file.read)(CHUNK_BYTES):
            yield chunk
    finally:
        await sync_to_async(file.close)()


def stored_name(record: Photo, size: str) -> str:
    """Where storage keeps this size. 404 for a size that is not there (yet)."""
    if size == "original":
        return record.original_name
    inspections = list(record.inspections.all())
    name = getattr(inspections[-1], f"{size}_name", "") if inspections and size in SIZES else ""
    if not name:
        raise Http404
    return name


urlpatterns = [path("photos/<int:pk>/<slug:size>/", photo, name="photo")]
