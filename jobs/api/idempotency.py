"""Creates that may be sent twice: the Idempotency-Key header.

The first answer is stored in the transaction of the create and given again to a repeat.
"""

from __future__ import annotations

import hashlib
import json
from typing import Any

from django.db import connection, transaction
from rest_framework.exceptions import APIException
from rest_framework.generics import GenericAPIView
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.utils.encoders import JSONEncoder

from jobs.errors import Refused
from jobs.models import IdempotentCreate

LONGEST_KEY = 100


class KeyUsedOtherwise(APIException):
    status_code = 422
    default_detail = (
        "Idempotency-Key: this key came with another request before. Use a new key for a new one."
    )


def _fingerprint(request: Request) -> str:
    """SHA-256 of what was sent; of a file its name and size stand for it."""
    sent = {
        name: [getattr(v, "size", None), v.name] if hasattr(v, "chunks") else v
        for name, v in (request.data.items() if hasattr(request.data, "items") else [])
    } or request.data
    text = json.dumps(sent, sort_keys=True, cls=JSONEncoder)
    return hashlib.sha256(text.encode()).hexdigest()


def _one_at_a_time(user_id: int, key: str) -> None:
    digest = hashlib.sha256(f"{user_id} {key}".encode()).digest()
    with connection.cursor() as cursor:
        number = int.from_bytes(digest[:8], "big", signed=True)
        cursor.execute("SELECT pg_advisory_xact_lock(%s)", [number])


class IdempotentCreateMixin(GenericAPIView):
    """`create` that honours Idempotency-Key. Use as the first base of a view that creates."""

    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        key = request.headers.get("Idempotency-Key", "").strip()
        if not key:
            return self._create(request)
        if len(key) > LONGEST_KEY:
            raise Refused(
                f"The key is longer than {LONGEST_KEY} characters.", field="Idempotency-Key"
            )
        with transaction.atomic():
            _one_at_a_time(request.user.pk, key)
            known = IdempotentCreate.objects.filter(user=request.user, key=key).first()
            fingerprint = _fingerprint(request)
            if known is not None:
                if (known.path, known.request_sha256) != (request.path, fingerprint):
                    raise KeyUsedOtherwise
                return Response(
                    known.body, status=known.status_code, headers={"Idempotent-Replay": "true"}
                )
            answer = self._create(request)
            IdempotentCreate.objects.create(
                user=request.user,
                key=key,
                path=request.path,
                request_sha256=fingerprint,
                status_code=answer.status_code,
                body=json.loads(json.dumps(answer.data, cls=JSONEncoder)),
            )
        return answer

    def _create(self, request: Request) -> Response:
        serializer = self.get_serializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        self.perform_create(serializer)
        return Response(serializer.data, status=201)

    def perform_create(self, serializer: Any) -> None:
        serializer.save()
