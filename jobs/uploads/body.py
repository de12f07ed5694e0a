"""The body of a request that brings part of an upload, read as it comes."""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from typing import Any

from django.db import connection
from django.http import HttpRequest

from jobs.uploads.pieces import Piece
from jobs.uploads.protocol import BrokeOff, Checksum, TooLong

CHUNK_BYTES = 64 * 1024
PIECE_BYTES = 4 * 1024 * 1024
"""So much is written before it is fsynced and counts; a killed server loses less than that."""
PIECE_SECONDS = 5.0
"""And so long at most, on a slow line."""


@dataclass(slots=True)
class Body:
    """announced: bytes by Content-Length, None for a chunked body. ended: all of it was read."""

    request: HttpRequest
    announced: int | None
    checksum: Checksum | None = None
    ended: bool = False
    read_bytes: int = 0
    hasher: Any = field(default=None)

    @classmethod
    def of(cls, request: HttpRequest, checksum: Checksum | None = None) -> Body:
        length = request.META.get("CONTENT_LENGTH") or ""
        chunked = "chunked" in request.headers.get("Transfer-Encoding", "").lower()
        announced = None if chunked else int(length) if length.isdigit() else 0
        return cls(request, announced, checksum, hasher=checksum.hasher() if checksum else None)

    def require_room(self, room: int) -> None:
        """Raises TooLong if more is announced than the upload still wants."""
        if self.announced is not None and self.announced > room:
            raise _too_long()

    def fill(self, piece: Piece, room: int) -> None:
        """Read into `piece` until the body ends, or it is time to store what came.

        A body with a checksum is one piece, since it counts as a whole or not at all.

        Raises:
            BrokeOff: the connection ended or fell silent; `piece` holds what came.
            TooLong: more comes than the `room` that is left.
        """
        release_database()
        began = time.monotonic()
        while not self.ended:
            chunk = self._read(min(CHUNK_BYTES, room - piece.size + 1))
            if not chunk:
                self.ended = True
                return
            piece.write(chunk)
            if self.hasher is not None:
                self.hasher.update(chunk)
            if piece.size > room:
                raise _too_long()
            if self.checksum is None and (
                piece.size >= PIECE_BYTES or time.monotonic() - began > PIECE_SECONDS
            ):
                return

    def _read(self, most: int) -> bytes:
        if self.announced is not None:
            most = min(most, self.announced - self.read_bytes)
        if most <= 0:
            return b""
        try:
            chunk = self.request.read(most)
        except OSError as error:  # UnreadablePostError and what servers raise of their own
            raise _broke_off() from error
        if not chunk and self.announced is not None and self.read_bytes < self.announced:
            raise _broke_off()
        self.read_bytes += len(chunk)
        return chunk


def _broke_off() -> BrokeOff:
    return BrokeOff(
        "The connection broke off before everything had come.",
        field="file",
        remedy="Ask for the offset and send the rest.",
    )


def _too_long() -> TooLong:
    return TooLong(
        "More bytes come than Upload-Length announced.",
        field="Upload-Length",
        remedy="Begin a new upload with the length of the whole file.",
    )


def release_database() -> None:
    """Give the connection back to its pool: a phone on a bad line takes minutes to send."""
    if not connection.in_atomic_block:
        connection.close()
