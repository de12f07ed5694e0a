"""Handing out stored photos to those who may see them."""

from __future__ import annotations

from django.core.files.storage import default_storage
from django.http import (
    FileResponse,
    Http404,
    HttpRequest,
    HttpResponseBase,
    HttpResponseNotModified,
)
from django.shortcuts import get_object_or_404
from django.urls import path

from jobs.evidence.media_types import ENDINGS, JPEG
from jobs.models import Photo, Role
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
    name = _stored_name(record, size)
    etag = f'"{name.rpartition("/")[2]}"'
    if request.headers.get("If-None-Match") == etag:
        return HttpResponseNotModified()
    media_type = record.media_type if size == "original" else JPEG
    response = FileResponse(
        default_storage.open(name, "rb"),
        as_attachment=size == "original",
        filename=f"{record.job_id:06d}-{record.pk}-{record.moment}-{size}.{ENDINGS[media_type]}",
        content_type=media_type,
    )
    response["Cache-Control"] = "private, max-age=31536000, immutable"
    response["X-Content-Type-Options"] = "nosniff"
    response["Content-Security-Policy"] = NOTHING_RUNS
    response["ETag"] = etag
    return response


def _stored_name(record: Photo, size: str) -> str:
    """Where storage keeps this size. 404 for a size that is not there (yet)."""
    if size == "original":
        return record.original_name
    inspections = list(record.inspections.all())
    name = getattr(inspections[-1], f"{size}_name", "") if inspections and size in SIZES else ""
    if not name:
        raise Http404
    return name


urlpatterns = [path("photos/<int:pk>/<slug:size>/", photo, name="photo")]
