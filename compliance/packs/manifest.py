"""The list of a bag's files with their SHA-256 (RFC 8493, section 2.1.3), kept out of memory."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator

IN_MEMORY = 1 << 20
CHUNK_BYTES = 1 << 18


class Manifest:
    """files, bytes: how many were added, and of what size together."""

    def __init__(self) -> None:
        self._lines = tempfile.SpooledTemporaryFile(IN_MEMORY)  # noqa: SIM115 - closed when it was sent
        self.files, self.bytes = 0, 0

    def add(self, name: str, sha256: str, size: int) -> None:
        self._lines.write(f"{sha256}  {name}\n".encode())
        self.files += 1
        self.bytes += size

    def chunks(self) -> Iterator[bytes]:
        """Its lines, in the order added; nothing can be added afterwards."""
        with self._lines as file:
            file.seek(0)
            while chunk := file.read(CHUNK_BYTES):
                yield chunk
