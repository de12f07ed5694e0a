"""Where a pack is written: a zip that is sent while it is made, or a folder."""

from __future__ import annotations

from contextlib import AbstractContextManager
from pathlib import Path
from typing import Protocol

from compliance.packs.zip_stream import ByteTarget, ZipStream


class Sink(Protocol):
    """Takes the files of a bag, one after the other."""

    def open(self, name: str, *, packed: bool) -> AbstractContextManager[ByteTarget]:
        """The next file, to be written and closed; `packed` when its bytes compress."""
        ...

    def close(self) -> None: ...


class FolderSink:
    """A bag as a folder that is not there yet."""

    def __init__(self, folder: Path) -> None:
        """Raises FileExistsError when the folder is there."""
        folder.mkdir(parents=True)
        self._folder = folder

    def open(self, name: str, *, packed: bool) -> AbstractContextManager[ByteTarget]:
        path = self._folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        return path.open("xb")

    def close(self) -> None:
        """Nothing is left to write."""


class ZipSink:
    """A bag as a zip of one folder, written to a stream that need not go back."""

    def __init__(self, stream: ByteTarget, root: str) -> None:
        self._zip = ZipStream(stream)
        self._root = root

    def open(self, name: str, *, packed: bool) -> AbstractContextManager[ByteTarget]:
        return self._zip.open(f"{self._root}/{name}", packed=packed)

    def close(self) -> None:
        self._zip.close()


class Outgoing:
    """A stream that only takes bytes, and gives away what it took."""

    def __init__(self) -> None:
        self._parts: list[bytes] = []
        self.waiting = 0
        """Bytes not given away yet."""

    def write(self, data: bytes) -> int:
        self._parts.append(bytes(data))
        self.waiting += len(data)
        return len(data)

    def take(self) -> bytes:
        """What was written since the last time."""
        parts, self._parts, self.waiting = self._parts, [], 0
        return b"".join(parts)
