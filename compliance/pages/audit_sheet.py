"""Pictures of the contact sheet, and what is kept of who looked at it.

While an auditor reads one job, the next one's page and small pictures are sent ahead. That is
told as what it is: sent ahead. Opened is what was shown, which the page says when it shows it.
"""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse, HttpResponseNotModified, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.urls import path
from django.views.decorators.http import require_POST

from compliance.audits.access import LARGE_SENT, READING, SMALL_SENT
from compliance.evidence_access import note_access
from compliance.pages.audit_reading_findings import drawn_at, said_of
from jobs.evidence.content_store import open_kept
from jobs.evidence.decoding.client import CannotOpen, crop_of_gauge
from jobs.evidence.media_types import JPEG
from jobs.evidence.openings import glanced_at
from jobs.models import Photo, Role
from jobs.pages.access import page_for
from jobs.pages.photos import as_picture, chunks_for

COPIES = {"small": "thumb_name", "gauge": "display_name", "large": "display_name"}
NO_CONTENT = 204


@page_for(Role.AUDITOR)
def sheet_photo(request: HttpRequest, pk: int, size: str) -> HttpResponseBase:
    """A small copy, a large one, or the gauge of a photo enlarged; 204 where there is none."""
    record = get_object_or_404(Photo.objects.visible_to(request.user), pk=pk)
    name = getattr(record.inspections.last(), COPIES[size], "")
    etag = f'"{size}-{name.rpartition("/")[2]}"'
    if name and request.headers.get("If-None-Match") == etag:
        return HttpResponseNotModified()
    answer = _content(request, name, size) if name else None
    if answer is None:
        return _none()
    said = LARGE_SENT if size == "large" else SMALL_SENT
    glanced_at(record.job_id, request.user, said)  # type: ignore[arg-type]
    return as_picture(answer, record, size, JPEG, etag)


def _content(request: HttpRequest, name: str, size: str) -> HttpResponseBase | None:
    """The gauge is cut out when it is asked for: a browser keeps it, and few photos are audited."""
    if size != "gauge":
        return StreamingHttpResponse(chunks_for(request, name), content_type=JPEG)
    try:
        with open_kept(name) as file:
            crop = crop_of_gauge(file)
    except CannotOpen:
        return None
    return HttpResponse(crop, content_type=JPEG) if crop else None


def _none() -> HttpResponse:
    """That no gauge stands out is kept by the browser too."""
    response = HttpResponse(status=NO_CONTENT)
    response["Cache-Control"] = "private, max-age=86400"
    return response


@require_POST
@page_for(Role.AUDITOR)
def drawn_job_shown(request: HttpRequest, pk: int) -> HttpResponse:
    """A page that was sent ahead is shown now: it is logged, and its findings are told anew."""
    drawn = drawn_at(request, pk)
    note_access(drawn.job, request.user, READING)  # type: ignore[arg-type]
    return render(request, "compliance/audits/reading_findings.html", said_of(drawn))


urlpatterns = [
    path("audit/drawn/<int:pk>/shown/", drawn_job_shown, name="drawn_job_shown"),
    *(
        path(f"audit/photos/<int:pk>/{size}/", sheet_photo, {"size": size}, f"audit_photo_{size}")
        for size in COPIES
    ),
]
