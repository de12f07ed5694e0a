"""A pack as the answer to a request, sent while it is made."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator

from asgiref.sync import sync_to_async
from django.core.handlers.asgi import ASGIRequest
from django.http import HttpRequest, StreamingHttpResponse
from django.utils import timezone

from compliance.packs.choosing import note_taken_away
from compliance.packs.export import pack_name, zip_chunks
from compliance.packs.scope import PackScope
from jobs.models import User


def pack_answer(request: HttpRequest, scope: PackScope, person: User) -> StreamingHttpResponse:
    """The zip; that it was taken away is recorded for every job in it."""
    note_taken_away(scope, person)
    return zip_answer(request, zip_chunks(scope), f"{pack_name(timezone.now())}.zip")


def zip_answer(request: HttpRequest, chunks: Iterator[bytes], name: str) -> StreamingHttpResponse:
    """A zip to save under `name`. No chunk may be empty."""
    sent = _later(chunks) if isinstance(request, ASGIRequest) else chunks
    answer = StreamingHttpResponse(sent, content_type="application/zip")
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    answer["Cache-Control"] = "private, no-store"
    return answer


async def _later(chunks: Iterator[bytes]) -> AsyncIterator[bytes]:
    """The same chunks for a server that must not wait."""
    while chunk := await sync_to_async(next)(chunks, b""):
        yield chunk
