"""Where a pack's files lie: a folder, a zip, or memory. Read once each, hashed on the way."""

from __future__ import annotations

import hashlib
import io
import os
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import IO, Protocol

from compliance.verify.faults import Unsound
from compliance.verify.scratch import in_steps, open_scratch
from compliance.verify.zip_source import DAMAGED, ZipSource

CHUNK_BYTES = 1 << 20
LONGEST_LINE = 64 << 20
SMALL_FILE = 64 << 20


class Source(Protocol):
    """Names of a pack's files, relative to the bag, and their bytes."""

    def names(self) -> Iterable[str]: ...

    def open(self, name: str) -> IO[bytes]: ...


class MemorySource:
    """A pack held in memory."""

    def __init__(self, files: Mapping[str, bytes]) -> None:
        self._files = files

    def names(self) -> Iterable[str]:
        return self._files

    def open(self, name: str) -> IO[bytes]:
        return io.BytesIO(self._files[name])


class FolderSource:
    """A pack unpacked. Links are not followed: a bag holds what it says."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def names(self) -> Iterator[str]:
        for place, folders, files in os.walk(self._folder):
            for name in (*folders, *files):
                path = Path(place, name)
                if path.is_symlink():
                    inside = path.relative_to(self._folder).as_posix()
                    raise Unsound(inside, "is a link, and a pack holds files only")
            yield from (Path(place, n).relative_to(self._folder).as_posix() for n in files)

    def open(self, name: str) -> IO[bytes]:
        return (self._folder / name).open("rb")


def open_source(path: str | Path) -> Source:
    """The pack at a path. Raises Unsound for what is neither a folder nor a zip."""
    path = Path(path)
    if path.is_dir():
        return FolderSource(path)
    if not path.exists():
        raise FileNotFoundError(f"{path}: there is no such file or folder.")
    return ZipSource(path, path.name)


class PackFiles:
    """The files of a pack with the SHA-256 and size of each, known once it was read.

    Their list lies on disk, so that many take no more memory than few.
    """

    def __init__(self, source: Source) -> None:
        self._source = source
        self._lists = open_scratch(
            "file (name TEXT PRIMARY KEY, digest, size) WITHOUT ROWID",
            "listed (name TEXT PRIMARY KEY, digest) WITHOUT ROWID",
        )
        for name in source.names():
            try:
                self._lists.execute("INSERT INTO file VALUES (?, NULL, NULL)", (name,))
            except UnicodeEncodeError as error:
                raise Unsound(repr(name), "has a name that is not text in UTF-8") from error
        self.names = Names(self._lists)

    def chunks(self, name: str) -> Iterator[bytes]:
        """The bytes of a file. Raises Unsound when it is missing or damaged."""
        if name not in self.names:
            raise Unsound(name, "is missing from the pack")
        digest, size = hashlib.sha256(), 0
        try:
            with self._source.open(name) as stream:
                while chunk := stream.read(CHUNK_BYTES):
                    digest.update(chunk)
                    size += len(chunk)
                    yield chunk
        except DAMAGED as error:
            raise Unsound(name, "is damaged and cannot be read", found=error) from error
        self._lists.execute(
            "UPDATE file SET digest = ?, size = ? WHERE name = ?", (digest.hexdigest(), size, name)
        )

    def lines(self, name: str) -> Iterator[bytes]:
        """Lines without their line feed. The last one must end in one too."""
        for block in self.line_blocks(name):
            yield from block

    def line_blocks(self, name: str) -> Iterator[list[bytes]]:
        """Lines, as many together as were read at once. Raises Unsound for an unended one."""
        rest = b""
        for chunk in self.chunks(name):
            block = (rest + chunk).split(b"\n")
            rest = block.pop()
            if len(rest) > LONGEST_LINE:
                raise Unsound(name, f"has a line of more than {LONGEST_LINE} bytes")
            if block:
                yield block
        if rest:
            raise Unsound(name, "is cut off: its last line has no end")

    def text(self, name: str) -> str:
        """A small file whole. Raises Unsound when it is large or not UTF-8."""
        parts, size = [], 0
        for chunk in self.chunks(name):
            size += len(chunk)
            if size > SMALL_FILE:
                raise Unsound(name, f"is larger than {SMALL_FILE} bytes")
            parts.append(chunk)
        try:
            return b"".join(parts).decode()
        except UnicodeDecodeError as error:
            raise Unsound(name, "is not text in UTF-8") from error

    def digest(self, name: str) -> str:
        """SHA-256 of a file in hex."""
        return self._known(name)[0]

    def size(self, name: str) -> int:
        return self._known(name)[1]

    def _known(self, name: str) -> tuple[str, int]:
        sql = "SELECT digest, size FROM file WHERE name = ? AND digest IS NOT NULL"
        found: tuple[str, int] | None = self._lists.execute(sql, (name,)).fetchone()
        if found is None:
            for _ in self.chunks(name):
                pass
            found = self._lists.execute(sql, (name,)).fetchone()
            assert found is not None
        return found

    def list_anew(self, listed: Iterable[tuple[str, str]]) -> Iterator[str]:
        """Take in a manifest's names and digests in place of the last one's; gives names that
        come twice."""
        self._lists.execute("DELETE FROM listed")
        for row in listed:
            sql = "INSERT OR IGNORE INTO listed VALUES (?, ?)"
            if not self._lists.execute(sql, row).rowcount:
                yield row[0]

    def is_listed(self, name: str) -> bool:
        sql = "SELECT 1 FROM listed WHERE name = ?"
        return self._lists.execute(sql, (name,)).fetchone() is not None

    def listed(self) -> Iterator[tuple[str, str]]:
        """What the manifest taken in last names, in the order of the names, with its digests."""
        sql = "SELECT name, digest FROM listed WHERE name > ? ORDER BY name LIMIT ?"
        yield from in_steps(self._lists, sql, "")


class Names:
    """The names of a pack's files, in order."""

    def __init__(self, lists: sqlite3.Connection) -> None:
        self._lists = lists

    def __contains__(self, name: object) -> bool:
        try:
            found = self._lists.execute("SELECT 1 FROM file WHERE name = ?", (name,))
            return found.fetchone() is not None
        except UnicodeEncodeError:
            return False

    def __iter__(self) -> Iterator[str]:
        sql = "SELECT name FROM file WHERE name > ? ORDER BY name LIMIT ?"
        return (name for (name,) in in_steps(self._lists, sql, ""))
