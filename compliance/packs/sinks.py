"""Where a pack is written: a zip that is sent while it is made, or a folder."""

from __future__ import annotations

import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Protocol

DATE_OF_ALL = (1980, 1, 1, 0, 0, 0)
"""The zip's own dates say nothing; the pack says when it was made."""
FILE_MODE = 0o644 << 16


class Sink(Protocol):
    """Takes the files of a bag, one after the other."""

    def open(self, name: str, *, packed: bool) -> IO[bytes]:
        """The next file, to be written and closed; `packed` when its bytes compress."""
        ...

    def close(self) -> None: ...


class FolderSink:
    """A bag as a folder that is not there yet."""

    def __init__(self, folder: Path) -> None:
        """Raises FileExistsError when the folder is there."""
        folder.mkdir(parents=True)
        self._folder = folder

    def open(self, name: str, *, packed: bool) -> IO[bytes]:
        path = self._folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        return path.open("xb")

    def close(self) -> None:
        """Nothing is left to write."""


class ZipSink:
    """A bag as a zip of one folder, written to a stream that need not go back."""

    def __init__(self, stream: IO[bytes], root: str) -> None:
        self._zip = zipfile.ZipFile(stream, "w", allowZip64=True)
        self._root = root

    def open(self, name: str, *, packed: bool) -> IO[bytes]:
        info = zipfile.ZipInfo(f"{self._root}/{name}", DATE_OF_ALL)
        info.compress_type = zipfile.ZIP_DEFLATED if packed else zipfile.ZIP_STORED
        info.external_attr = FILE_MODE
        return self._zip.open(info, "w", force_zip64=True)

    def close(self) -> None:
        self._zip.close()


class Outgoing:
    """A stream that only takes bytes, and gives away what it took."""

    def __init__(self) -> None:
        self._parts: list[bytes] = []

    def write(self, data: bytes) -> int:
        self._parts.append(bytes(data))
        return len(data)

    def flush(self) -> None:
        """Bytes are given away at once."""

    def take(self) -> Iterator[bytes]:
        """What was written since the last time."""
        parts, self._parts = self._parts, []
        if parts:
            yield b"".join(parts)
