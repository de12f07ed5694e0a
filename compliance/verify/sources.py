"""Where a pack's files lie: a folder, a zip, or memory. Read once each, hashed on the way."""

from __future__ import annotations

import hashlib
import io
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import IO, Protocol

from compliance.verify.faults import Unsound
from compliance.verify.layout import BAGIT

CHUNK_BYTES = 1 << 20
LONGEST_LINE = 64 << 20
SMALL_FILE = 64 << 20

DAMAGED = (OSError, zipfile.BadZipFile, zlib.error, EOFError, RuntimeError)


class Source(Protocol):
    """Names of a pack's files, relative to the bag, and their bytes."""

    def names(self) -> list[str]: ...

    def open(self, name: str) -> IO[bytes]: ...


class MemorySource:
    """A pack held in memory."""

    def __init__(self, files: Mapping[str, bytes]) -> None:
        self._files = files

    def names(self) -> list[str]:
        return list(self._files)

    def open(self, name: str) -> IO[bytes]:
        return io.BytesIO(self._files[name])


class FolderSource:
    """A pack unpacked. Links are not followed: a bag holds what it says."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def names(self) -> list[str]:
        found = []
        for path in sorted(self._folder.rglob("*")):
            name = path.relative_to(self._folder).as_posix()
            if path.is_symlink():
                raise Unsound(name, "is a link, and a pack holds files only")
            if path.is_file():
                found.append(name)
        return found

    def open(self, name: str) -> IO[bytes]:
        return (self._folder / name).open("rb")


class ZipSource:
    """A pack as a zip that holds one folder, or the bag's files at its root."""

    def __init__(self, file: Path | IO[bytes], label: str = "the pack") -> None:
        """Raises Unsound for what is no whole zip."""
        try:
            self._zip = zipfile.ZipFile(file)
        except DAMAGED as error:
            raise Unsound(
                label, "is no whole zip: it was cut off or damaged", found=error
            ) from error
        self._label = label
        self._root = self._find_root()

    def names(self) -> list[str]:
        named = [i.filename for i in self._zip.infolist() if not i.is_dir()]
        if len(set(named)) != len(named):
            twice = next(name for name in named if named.count(name) > 1)
            raise Unsound(twice, "stands in the zip twice")
        for name in named:
            if not name.startswith(self._root) or ".." in name.split("/"):
                raise Unsound(name, "lies outside the bag")
        return [name.removeprefix(self._root) for name in named]

    def open(self, name: str) -> IO[bytes]:
        return self._zip.open(self._root + name)

    def _find_root(self) -> str:
        marks = [n for n in self._zip.namelist() if n == BAGIT or n.endswith(f"/{BAGIT}")]
        marks = [n for n in marks if n.count("/") <= 1]
        if not marks:
            raise Unsound(self._label, f"is no evidence pack: there is no {BAGIT} in it")
        return marks[0].removesuffix(BAGIT)


def open_source(path: str | Path) -> Source:
    """The pack at a path. Raises Unsound for what is neither a folder nor a zip."""
    path = Path(path)
    if path.is_dir():
        return FolderSource(path)
    if not path.exists():
        raise FileNotFoundError(f"{path}: there is no such file or folder.")
    return ZipSource(path, path.name)


class PackFiles:
    """The files of a pack with the SHA-256 and size of each, known once it was read."""

    def __init__(self, source: Source) -> None:
        self._source = source
        self.names = frozenset(source.names())
        self._digests: dict[str, tuple[str, int]] = {}

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
        self._digests[name] = (digest.hexdigest(), size)

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
        if name not in self._digests:
            for _ in self.chunks(name):
                pass
        return self._digests[name]
