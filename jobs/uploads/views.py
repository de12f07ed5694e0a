"""The addresses of the tus protocol, below /uploads/. A person sends its own photos only."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote
from uuid import UUID

from django.http import HttpRequest
from django.shortcuts import get_object_or_404
from django.urls import path
from django.views.decorators.csrf import csrf_exempt
from drf_spectacular.utils import extend_schema
from rest_framework.negotiation import BaseContentNegotiation
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse
from rest_framework.views import APIView

from jobs.models import Role, Upload
from jobs.uploads import protocol
from jobs.uploads.body import Body
from jobs.uploads.receiving import begin_upload, drop_upload, go_on

SENDERS = frozenset({Role.INSTALLER})
RETRY_AFTER_S = {423: "2", 429: "600", 503: "5"}


class WhateverIsAccepted(BaseContentNegotiation):
    """Answers have no body, or are problem documents; no Accept header changes that."""

    def select_parser(self, request: Any, parsers: Any) -> Any:
        return parsers[0]

    def select_renderer(self, request: Any, renderers: Any, format_suffix: Any = None) -> Any:
        return renderers[0], renderers[0].media_type


class TusView(APIView):
    """What all answers share: version, no caching, and the method that is meant."""

    read_roles = SENDERS
    write_roles = SENDERS
    content_negotiation_class = WhateverIsAccepted

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        if request.method != "OPTIONS" and hasattr(self, request.method.lower()):
            protocol.require_version(request.headers)

    def options(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return Response(headers=protocol.ABOUT_THE_SERVER)

    def finalize_response(self, request: Any, response: Any, *args: Any, **kwargs: Any) -> Any:
        answer = super().finalize_response(request, response, *args, **kwargs)
        answer.headers["Tus-Resumable"] = protocol.VERSION
        answer.headers["Cache-Control"] = "no-store"
        if answer.status_code == protocol.OtherVersion.status:
            answer.headers["Tus-Version"] = protocol.VERSION
            answer.data["title"] = "This version of the protocol is not spoken here."
        if answer.status_code in RETRY_AFTER_S:
            answer.headers["Retry-After"] = RETRY_AFTER_S[answer.status_code]
        return answer


@extend_schema(exclude=True)
class UploadsView(TusView):
    """Creation, with or without the first bytes."""

    def post(self, request: Request) -> Response:
        length = protocol.read_length(request.headers)
        body = Body.of(request._request, protocol.read_checksum(request.headers))
        if body.announced != 0:
            protocol.require_body_type(request.content_type or "")
            body.require_room(length)
        metadata = request.headers.get("Upload-Metadata", "")
        upload = begin_upload(request.user, length, metadata)  # type: ignore[arg-type]
        if body.announced != 0 and not upload.is_finished:
            upload = _with_first_bytes(upload, body)
        where = reverse("upload", args=[upload.pk], request=request)
        return Response(status=201, headers={"Location": where, **state_of(upload)})


def _with_first_bytes(upload: Upload, body: Body) -> Upload:
    """A creation whose body is refused creates nothing; one that broke off may be gone on with."""
    try:
        return go_on(upload, 0, body)
    except protocol.BrokeOff:
        raise
    except Exception:
        drop_upload(upload)
        raise


@extend_schema(exclude=True)
class UploadView(TusView):
    """One upload: its offset, more of it, or its end."""

    def head(self, request: Request, key: UUID) -> Response:
        upload = self._upload(request, key)
        told = {"Upload-Length": str(upload.length_bytes)}
        if upload.metadata:
            told["Upload-Metadata"] = upload.metadata
        return Response(headers={**told, **state_of(upload)})

    def patch(self, request: Request, key: UUID) -> Response:
        upload = self._upload(request, key)
        protocol.require_body_type(request.content_type or "")
        offset = protocol.read_number(request.headers, "Upload-Offset")
        body = Body.of(request._request, protocol.read_checksum(request.headers))
        return Response(status=204, headers=state_of(go_on(upload, offset, body)))

    def delete(self, request: Request, key: UUID) -> Response:
        drop_upload(self._upload(request, key))
        return Response(status=204)

    def _upload(self, request: Request, key: UUID) -> Upload:
        mine = Upload.objects.visible_to(request.user).select_related("photo")
        upload: Upload = get_object_or_404(mine, pk=key)
        protocol.require_unexpired(upload.expires_at)
        return upload


def state_of(upload: Upload) -> dict[str, str]:
    """Where an upload stands. Only with Photo-Id may the phone let go of its copy."""
    state = {"Upload-Offset": str(upload.offset_bytes), **protocol.expires(upload.expires_at)}
    if upload.photo is not None:
        state["Photo-Id"] = str(upload.photo.pk)
        state["Photo-Stored-At"] = upload.photo.received_at.isoformat()
        if upload.repeats_photo:
            state["Photo-Repeat"] = "true"
            place = f"{upload.photo.moment} {upload.photo.point_label}".strip()
            state["Photo-Place"] = quote(place)
    return state


def as_meant(view: Any) -> Any:
    """Core Protocol, X-HTTP-Method-Override: the method named there is the method.

    It is put in place before anything looks at the method, so that what guards a DELETE guards
    one that came dressed as a GET.
    """

    def meant(request: HttpRequest, *args: Any, **kwargs: Any) -> Any:
        named = request.headers.get("X-HTTP-Method-Override", "").strip().upper()
        if named:
            request.method = request.META["REQUEST_METHOD"] = named
        return view(request, *args, **kwargs)

    meant.cls = view.cls  # type: ignore[attr-defined]
    meant.initkwargs = view.initkwargs  # type: ignore[attr-defined]
    return csrf_exempt(meant)


urlpatterns = [
    path("uploads/", as_meant(UploadsView.as_view()), name="uploads"),
    path("uploads/<uuid:key>/", as_meant(UploadView.as_view()), name="upload"),
]
