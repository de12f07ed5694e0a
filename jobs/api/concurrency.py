"""Edits that never overwrite silently: ETag and If-Match (RFC 9110, sections 8.8.3 and 13.1.1)."""

from __future__ import annotations

from typing import Any

from django.db import transaction
from rest_framework import status
from rest_framework.exceptions import APIException
from rest_framework.generics import GenericAPIView
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.errors import Stale


class VersionMissing(APIException):
    status_code = 428
    default_detail = (
        "If-Match: send the ETag you got when you read this record, "
        "so that nobody's change is overwritten."
    )


def etag_of(record: Any) -> str:
    """A strong tag that changes with every edit of the record."""
    mark = getattr(record, "version", None)
    if mark is None:
        mark = f"{record.updated_at.timestamp():.6f}"
    return f'"{record.pk}-{mark}"'


def require_match(request: Request, record: Any) -> None:
    """Raise unless If-Match names the record as it stands now.

    Raises:
        VersionMissing: no If-Match was sent (428).
        Stale: the record was changed since (412).
    """
    sent = request.headers.get("If-Match")
    if not sent:
        raise VersionMissing
    if sent.strip() != "*" and etag_of(record) not in [tag.strip() for tag in sent.split(",")]:
        raise Stale


class VersionedUpdateMixin(GenericAPIView):
    """`retrieve` with an ETag, `partial_update` under If-Match, the row locked meanwhile.

    The serializer's `update` (or the view's `perform_update`) counts `version` up.
    """

    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        record = self.get_object()
        return Response(self.get_serializer(record).data, headers={"ETag": etag_of(record)})

    def partial_update(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        with transaction.atomic():
            seen = self.get_object()
            record = type(seen)._default_manager.select_for_update(of=("self",)).get(pk=seen.pk)
            require_match(request, record)
            serializer = self.get_serializer(record, data=request.data, partial=True)
            serializer.is_valid(raise_exception=True)
            self.perform_update(serializer)
            record = serializer.instance
        return Response(
            self.get_serializer(record).data,
            status=status.HTTP_200_OK,
            headers={"ETag": etag_of(record)},
        )

    def perform_update(self, serializer: Any) -> None:
        serializer.save()
