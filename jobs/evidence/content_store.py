"""Bytes kept under the name of their own SHA-256, for good before anyone is told so."""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, BinaryIO, Protocol

from django.core.files import File
from django.core.files.storage import FileSystemStorage, default_storage

from jobs.errors import Refused

CHUNK_BYTES = 256 * 1024
INCOMING = "incoming"


class ByteSource(Protocol):
    def read(self, size: int = ..., /) -> bytes: ...


@dataclass(frozen=True, slots=True)
class Kept:
    """Where bytes lie and what they are. name: what storage opens."""

    name: str
    sha256: str
    size_bytes: int


Check = Callable[[BinaryIO, int], None]


def keep(source: ByteSource, folder: str, *, limit_bytes: int, check: Check | None = None) -> Kept:
    """Read `source` to its end and keep it as `<folder>/<sha[:2]>/<sha>`.

    When this returns, file and folders are fsynced (local storage) or the object store has
    acknowledged. `check` sees the whole file and its size before it gets its name, and
    raises to refuse it. The same bytes again are kept once.

    Raises:
        Refused: longer than `limit_bytes`, or what `check` raises.
    """
    with _scratch_file() as scratch:
        digest, size = _copy(source, scratch, limit_bytes)
        if check is not None:
            scratch.seek(0)
            check(scratch, size)
        name = f"{folder}/{digest[:2]}/{digest}"
        if is_local():
            _settle_locally(scratch, name, size)
        else:
            name = _settle_remotely(scratch, name)
    return Kept(name, digest, size)


def open_kept(name: str) -> IO[bytes]:
    return default_storage.open(name, "rb")


def is_local() -> bool:
    """Whether storage is a folder, in which this process must see to the fsync itself."""
    return isinstance(default_storage, FileSystemStorage)


def remove_kept(name: str) -> None:
    """Remove what may go, such as a piece of an upload; nothing happens if it is not there."""
    default_storage.delete(name)


@contextmanager
def _scratch_file() -> Iterator[BinaryIO]:
    """A file beside its final place, so that naming it is one rename; gone on any error."""
    folder: str | None = None
    if is_local():
        folder = default_storage.path(INCOMING)
        os.makedirs(folder, exist_ok=True)
    with tempfile.NamedTemporaryFile(dir=folder, prefix="in-", delete=False) as file:
        try:
            yield file  # type: ignore[misc]
        finally:
            if os.path.exists(file.name):
                os.unlink(file.name)


def _copy(source: ByteSource, target: BinaryIO, limit_bytes: int) -> tuple[str, int]:
    digest, size = hashlib.sha256(), 0
    while chunk := source.read(CHUNK_BYTES):
        size += len(chunk)
        if size > limit_bytes:
            raise Refused(
                f"This file is larger than {limit_bytes // 1_000_000} MB.",
                field="file",
                remedy="Choose a smaller picture size in the camera's settings.",
            )
        digest.update(chunk)
        target.write(chunk)
    target.flush()
    return digest.hexdigest(), size


def _settle_locally(scratch: BinaryIO, name: str, size: int) -> None:
    target = Path(default_storage.path(name))
    target.parent.mkdir(parents=True, exist_ok=True)
    if not (target.exists() and target.stat().st_size == size):
        os.fsync(scratch.fileno())
        os.chmod(scratch.name, 0o640)
        os.replace(scratch.name, target)
    # Also when the file was there: whoever put it may not have come this far yet.
    with target.open("rb") as kept:
        os.fsync(kept.fileno())
    fsync_folders(target.parent)


def fsync_folders(innermost: Path) -> None:
    """Make the names in a folder, and in those above it up to the root of storage, durable."""
    root = Path(default_storage.path(""))
    for folder in [innermost, *innermost.parents]:
        _fsync_folder(folder)
        if folder == root:
            break


def _fsync_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _settle_remotely(scratch: BinaryIO, name: str) -> str:
    if default_storage.exists(name):
        return name
    scratch.seek(0)
    return default_storage.save(name, File(scratch))
