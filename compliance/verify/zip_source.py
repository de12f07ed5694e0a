"""A pack as a zip, read so that a hundred thousand files in it take no more memory than ten.

PKWARE's APPNOTE 6.3.10. `zipfile` of Python keeps an object for every file; here the central
directory (4.3.12) is gone through once and its list lies on disk. Files are stored or deflated
(4.4.5), with sizes of 32 or 64 bits (4.5.3); nothing else is in a pack.
"""

from __future__ import annotations

import io
import os
import struct
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from compliance.verify.faults import Unsound
from compliance.verify.layout import BAGIT
from compliance.verify.scratch import in_steps, open_scratch

STORED, DEFLATED = 0, 8
END, END_64, LOCATOR_64 = b"PK\5\6", b"PK\6\6", b"PK\6\7"
FILE, LISTED = b"PK\3\4", b"PK\1\2"
END_SIZE, LOCATOR_SIZE, END_64_SIZE, FILE_SIZE, LISTED_SIZE = 22, 20, 56, 30, 46
LONGEST_COMMENT = 0xFFFF
FULL_16, FULL_32 = 0xFFFF, 0xFFFFFFFF
ENCRYPTED, UTF_8 = 1, 1 << 11
ZIP_64 = 1
PIECE = 1 << 18


class BadZip(Exception):
    """What is wrong with a zip."""


DAMAGED = (OSError, BadZip, zlib.error, EOFError, UnicodeDecodeError, struct.error)


class ZipSource:
    """A pack as a zip that holds one folder, or the bag's files at its root."""

    def __init__(self, file: Path | IO[bytes], label: str = "the pack") -> None:
        """Raises Unsound for what is no whole zip."""
        self._file: IO[bytes] = file.open("rb") if isinstance(file, Path) else file
        self._label = label
        self._lists = open_scratch(
            "member (name TEXT PRIMARY KEY, raw, start, flags, method, crc, packed, size)"
            " WITHOUT ROWID"
        )
        try:
            self._read_directory()
        except DAMAGED as error:
            raise Unsound(
                label, "is no whole zip: it was cut off or damaged", found=error
            ) from error
        self._root = self._find_root()

    def names(self) -> Iterator[str]:
        sql = "SELECT name FROM member WHERE name > ? ORDER BY name LIMIT ?"
        for (name,) in in_steps(self._lists, sql, ""):
            if not name.startswith(self._root) or ".." in name.split("/"):
                raise Unsound(name, "lies outside the bag")
            yield name.removeprefix(self._root)

    def open(self, name: str) -> IO[bytes]:
        """Raises one of DAMAGED, now or while it is read."""
        sql = "SELECT raw, start, flags, method, crc, packed, size FROM member WHERE name = ?"
        raw, start, flags, method, crc, packed, size = self._lists.execute(
            sql, (self._root + name,)
        ).fetchone()
        if flags & ENCRYPTED or method not in (STORED, DEFLATED):
            raise BadZip("it is encrypted, or packed in another way than a pack is")
        head = self._take(start, FILE_SIZE)
        name_size, extra_size = struct.unpack("<HH", head[26:30])
        if head[:4] != FILE or self._take(start + FILE_SIZE, name_size) != raw:
            raise BadZip("it does not begin where the directory says")
        begins = start + FILE_SIZE + name_size + extra_size
        return _Member(self._file, begins, packed, size, crc, method)  # type: ignore[return-value]

    def _find_root(self) -> str:
        sql = "SELECT name FROM member WHERE name = ? OR name LIKE ? ORDER BY name"
        found = self._lists.execute(sql, (BAGIT, f"%/{BAGIT}"))
        for (name,) in found:
            if name.count("/") <= 1:
                return str(name).removesuffix(BAGIT)
        raise Unsound(self._label, f"is no evidence pack: there is no {BAGIT} in it")

    def _read_directory(self) -> None:
        start, size, count = self._directory()
        stream = io.BufferedReader(_Part(self._file, start, size), PIECE)
        for _ in range(count):
            head = stream.read(LISTED_SIZE)
            fields = struct.unpack("<4sHHHHHHIIIHHHHHII", head)
            mark, flags, method, crc, packed, whole = (fields[n] for n in (0, 3, 4, 7, 8, 9))
            name_size, extra_size, comment_size, start = (fields[n] for n in (10, 11, 12, 16))
            if mark != LISTED:
                raise BadZip("its directory is broken")
            raw, extra = stream.read(name_size), stream.read(extra_size)
            if len(raw) < name_size or len(extra) < extra_size:
                raise EOFError("its directory is cut off")
            stream.read(comment_size)
            whole, packed, start = _wide(extra, whole, packed, start)
            name = raw.decode("utf-8" if flags & UTF_8 else "cp437")
            if not name.endswith("/"):
                row = (name, raw, start, flags, method, crc, packed, whole)
                sql = "INSERT OR IGNORE INTO member VALUES (?, ?, ?, ?, ?, ?, ?, ?)"
                if not self._lists.execute(sql, row).rowcount:
                    raise Unsound(name, "stands in the zip twice")

    def _directory(self) -> tuple[int, int, int]:
        """Where the central directory begins, its bytes, and how many it lists."""
        length = self._file.seek(0, os.SEEK_END)
        before = max(0, length - END_SIZE - LONGEST_COMMENT)
        tail = self._take(before, length - before)
        at = tail.rfind(END)
        if at < 0 or len(tail) - at < END_SIZE:
            raise BadZip("it has no end")
        count, size, start, comment = struct.unpack("<10xHIIH", tail[at : at + END_SIZE])
        end = before + at
        if len(tail) - at != END_SIZE + comment:
            raise BadZip("something follows its end")
        if (FULL_16, FULL_32) != (count, size) and FULL_32 not in (size, start) and count < FULL_16:
            if start + size != end:
                raise BadZip("its directory is not where its end says")
            return start, size, count
        locator = self._take(end - LOCATOR_SIZE, LOCATOR_SIZE)
        mark, end_64 = struct.unpack("<4s4xQ4x", locator)
        head = self._take(end_64, END_64_SIZE) if mark == LOCATOR_64 else b""
        if head[:4] != END_64:
            raise BadZip("its end is broken")
        count, size, start = struct.unpack("<32xQQQ", head)
        if start + size != end_64:
            raise BadZip("its directory is not where its end says")
        return start, size, count

    def _take(self, start: int, size: int) -> bytes:
        if start < 0:
            raise EOFError("it is cut off")
        self._file.seek(start)
        found = self._file.read(size)
        if len(found) < size:
            raise EOFError("it is cut off")
        return found


def _wide(extra: bytes, *sizes: int) -> tuple[int, ...]:
    """Sizes and place, from the Zip64 field where the plain ones are full."""
    at = 0
    while at + 4 <= len(extra):
        kind, length = struct.unpack_from("<HH", extra, at)
        if kind == ZIP_64:
            wide = iter(struct.unpack_from(f"<{length // 8}Q", extra, at + 4))
            return tuple(next(wide, one) if one == FULL_32 else one for one in sizes)
        at += 4 + length
    return sizes


class _Part(io.RawIOBase):
    """Some bytes of a file that others read too."""

    def __init__(self, file: IO[bytes], start: int, size: int) -> None:
        self._from, self._at, self._left = file, start, size

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: bytearray | memoryview) -> int:  # type: ignore[override]
        found = self.piece(len(buffer))
        buffer[: len(found)] = found
        return len(found)

    def piece(self, most: int) -> bytes:
        """The next bytes, none at the end. Raises EOFError where the file ends before."""
        self._from.seek(self._at)
        found = self._from.read(min(most, self._left))
        if self._left and most and not found:
            raise EOFError("it is cut off")
        self._at += len(found)
        self._left -= len(found)
        return found


class _Member(_Part):
    """One file of a zip, unpacked; its length and CRC-32 must be those of the directory."""

    def __init__(
        self, file: IO[bytes], start: int, packed: int, size: int, crc: int, method: int
    ) -> None:
        super().__init__(file, start, packed)
        self._unpack = zlib.decompressobj(-15) if method == DEFLATED else None
        self._size, self._crc, self._seen, self._running = size, crc, 0, 0

    def read(self, size: int = -1) -> bytes:
        """The next bytes as they come, perhaps fewer than `size`; none at the end."""
        return self.readall() if size < 0 else self.piece(size)

    def piece(self, most: int) -> bytes:
        found = self._unpacked(most) if self._unpack else super().piece(most)
        self._seen += len(found)
        self._running = zlib.crc32(found, self._running)
        if self._seen > self._size or (
            most and not found and (self._seen, self._running) != (self._size, self._crc)
        ):
            raise BadZip("its length or CRC-32 is not that of the directory")
        return found

    def _unpacked(self, most: int) -> bytes:
        assert self._unpack is not None
        while not self._unpack.eof:
            waiting = self._unpack.unconsumed_tail or super().piece(PIECE)
            if not waiting:
                raise EOFError("it is cut off")
            if found := self._unpack.decompress(waiting, most):
                return found
        return b""
