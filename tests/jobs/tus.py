"""A client of the tus protocol for tests, over Django's test client."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any
from uuid import uuid4

from django.http import HttpResponse
from django.test import Client

from jobs.models import User, Visit

BODY_TYPE = "application/offset+octet-stream"


def encoded(told: Mapping[str, object]) -> str:
    """Upload-Metadata of these keys and values."""
    pairs = (f"{key} {base64.b64encode(str(v).encode()).decode()}" for key, v in told.items())
    return ",".join(pairs)


def told_of(visit: Visit, **told: object) -> dict[str, object]:
    """The metadata a phone sends of a photo."""
    usual = {"visit": visit.pk, "moment": "before", "point_label": "P1", "client_key": uuid4()}
    return {**usual, **told}


def checksum(content: bytes, algorithm: str = "sha256") -> str:
    digest = hashlib.new(algorithm, content).digest()
    return f"{algorithm} {base64.b64encode(digest).decode()}"


@dataclass
class Phone:
    """Somebody's phone. Each method is one request; `Tus-Resumable` is sent unless overridden."""

    user: User | None
    client: Client = field(default_factory=Client)

    def __post_init__(self) -> None:
        if self.user is not None:
            self.client.force_login(self.user)

    def ask(
        self, method: str, url: str, content: bytes = b"", content_type: str = "", **headers: Any
    ) -> HttpResponse:
        sent = {"Tus-Resumable": "1.0.0", **{n.replace("_", "-"): v for n, v in headers.items()}}
        if content_type and not content:
            sent["Content-Type"] = content_type  # left out by the test client without a body
        kept = {name: str(value) for name, value in sent.items() if value is not None}
        return self.client.generic(method, url, content, content_type, headers=kept)  # type: ignore[return-value]

    def create(
        self, visit: Visit, length: int, content: bytes = b"", told: Any = None, **headers: Any
    ) -> HttpResponse:
        metadata = encoded(told if told is not None else told_of(visit))
        return self.ask(
            "POST",
            "/uploads/",
            content,
            **{
                "content_type": BODY_TYPE if content else "",
                "Upload_Length": length,
                "Upload_Metadata": metadata,
                **headers,
            },
        )

    def begin(self, visit: Visit, length: int, **told: object) -> str:
        """The address of a new upload."""
        answer = self.create(visit, length, told=told_of(visit, **told))
        assert answer.status_code == 201, answer.content
        return answer.headers["Location"]

    def patch(self, url: str, offset: int, content: bytes, **headers: Any) -> HttpResponse:
        given = {"content_type": BODY_TYPE, "Upload_Offset": offset, **headers}
        return self.ask("PATCH", url, content, **given)

    def head(self, url: str) -> HttpResponse:
        return self.ask("HEAD", url)

    def offset(self, url: str) -> int:
        return int(self.head(url).headers["Upload-Offset"])

    def send_all(self, visit: Visit, content: bytes, **told: object) -> HttpResponse:
        """A photo in two pieces, the answer to the last of them."""
        url = self.begin(visit, len(content), **told)
        half = len(content) // 2
        assert self.patch(url, 0, content[:half]).status_code == 204
        return self.patch(url, half, content[half:])
