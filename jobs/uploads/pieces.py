"""The bytes of uploads under way, in pieces, each stored for good before it counts.

With a folder as storage each piece is a file of its own below `partial/`, fsynced with its
folders. With object storage a piece is collected in a temporary file of this machine and becomes
an object below `partial/`: multipart uploads of object stores ask for parts of 5 MB and more,
and the pieces of a phone on a bad line are smaller.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO
from uuid import UUID, uuid4

from django.core.files import File
from django.core.files.storage import default_storage

from jobs.evidence.content_store import (
    ByteSource,
    fsync_folders,
    is_local,
    open_kept,
    remove_kept,
)

FOLDER = "partial"


class Piece:
    """Bytes of one piece while they arrive. Nothing of them lasts unless `seal` is called."""

    def __init__(self, name: str, file: BinaryIO) -> None:
        self.name = name
        self.file = file
        self.size = 0
        self.sealed = False

    def write(self, chunk: bytes) -> None:
        self.file.write(chunk)
        self.file.flush()
        self.size += len(chunk)

    def head(self, size: int) -> bytes:
        self.file.seek(0)
        head = self.file.read(size)
        self.file.seek(0, os.SEEK_END)
        return head

    def from_the_start(self) -> BinaryIO:
        self.file.seek(0)
        return self.file

    def seal(self) -> str:
        """Store it for good; return its name in storage."""
        if is_local():
            os.fsync(self.file.fileno())
            fsync_folders(Path(default_storage.path(self.name)).parent)
        else:
            self.name = default_storage.save(self.name, File(self.from_the_start()))
        self.sealed = True
        return self.name


@contextmanager
def arriving_piece(upload_id: UUID, start: int) -> Iterator[Piece]:
    """A piece to write to. Unless it was sealed, it is gone afterwards, whatever happened."""
    name = f"{FOLDER}/{upload_id}/{start:09d}-{uuid4().hex[:12]}"
    if not is_local():
        with tempfile.TemporaryFile() as temporary:
            yield Piece(name, temporary)  # type: ignore[arg-type]
        return
    path = Path(default_storage.path(name))
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("x+b") as file:
        piece = Piece(name, file)
        try:
            yield piece
        finally:
            if not piece.sealed:
                path.unlink(missing_ok=True)


class Joined:
    """Pieces in storage and then a file, read as one."""

    def __init__(self, names: Sequence[str], last: ByteSource) -> None:
        self._names = list(names)
        self._last = last
        self._open: BinaryIO | None = None

    def read(self, size: int = -1, /) -> bytes:
        while self._open is not None or self._names:
            if self._open is None:
                self._open = open_kept(self._names.pop(0))  # type: ignore[assignment]
            chunk = self._open.read(size)
            if chunk:
                return chunk
            self.close()
        return self._last.read(size)

    def close(self) -> None:
        if self._open is not None:
            self._open.close()
            self._open = None


def remove_pieces(upload_id: UUID | str) -> None:
    """Remove all bytes of an upload, those that never came to count too."""
    folder = f"{FOLDER}/{upload_id}"
    try:
        _, names = default_storage.listdir(folder)
    except FileNotFoundError:
        return
    for name in names:
        remove_kept(f"{folder}/{name}")
    if is_local():
        with contextlib.suppress(OSError):  # a piece may have begun to arrive meanwhile
            os.rmdir(default_storage.path(folder))


def upload_ids_with_pieces() -> list[str]:
    """The ids of all uploads that have bytes lying below `partial/`."""
    try:
        folders, _ = default_storage.listdir(FOLDER)
    except FileNotFoundError:
        return []
    return list(folders)
