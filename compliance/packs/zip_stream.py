"""A zip written to a stream that cannot go back, in memory that does not grow with its files.

PKWARE's APPNOTE 6.3.10: sizes follow each file (data descriptor, 4.3.9) in the eight bytes of
Zip64 (4.5.3). The central directory waits in a temporary file of about a hundred bytes a file.
"""

from __future__ import annotations

import shutil
import struct
import tempfile
import zlib
from types import TracebackType
from typing import Protocol, Self

STORED, DEFLATED = 0, 8
NEEDED = 45
"""Version needed to extract: 4.5, for Zip64."""
MADE_BY = 3 << 8 | NEEDED
"""On a Unix system, so that the mode is understood."""
FLAGS = 1 << 3 | 1 << 11
"""A data descriptor follows; names are UTF-8."""
DATE_OF_ALL = 33
"""1 January 1980: the zip's own dates say nothing; the pack says when it was made."""
FILE_MODE = 0o100644 << 16
FULL_32, FULL_16 = 0xFFFFFFFF, 0xFFFF
LEVEL = 3
"""Lines of hashes hardly pack better at the usual 6, which takes twice as long."""
IN_MEMORY = 1 << 20


class ByteTarget(Protocol):
    def write(self, data: bytes, /) -> object: ...


class ZipStream:
    """Files one after the other; `open` gives the next, which must be closed before another."""

    def __init__(self, stream: ByteTarget) -> None:
        self._stream = stream
        self._at, self._files = 0, 0
        self._directory = tempfile.SpooledTemporaryFile(IN_MEMORY)  # noqa: SIM115 - closed when it was sent

    def open(self, name: str, *, packed: bool) -> ZipMember:
        """The next file; `packed` when its bytes compress."""
        return ZipMember(self, name.encode(), DEFLATED if packed else STORED)

    def close(self) -> None:
        """Write the central directory and its end (4.3.12 to 4.3.16)."""
        start, size = self._at, self._directory.tell()
        self._directory.seek(0)
        shutil.copyfileobj(self._directory, _Counted(self))
        self._directory.close()
        zip64 = (b"PK\6\6", 44, MADE_BY, NEEDED, 0, 0, self._files, self._files, size, start)
        self._write(struct.pack("<4sQHHIIQQQQ", *zip64))
        self._write(struct.pack("<4sIQI", b"PK\6\7", 0, start + size, 1))
        files = min(self._files, FULL_16)
        self._write(
            struct.pack("<4sHHHHIIH", b"PK\5\6", 0, 0, files, files, min(size, FULL_32), FULL_32, 0)
        )

    def _write(self, data: bytes) -> None:
        self._stream.write(data)
        self._at += len(data)

    def _list(self, member: ZipMember) -> None:
        extra = struct.pack("<HHQQQ", 1, 24, member.size, member.packed_size, member.start)
        head = (b"PK\1\2", MADE_BY, NEEDED, FLAGS, member.method, 0, DATE_OF_ALL, member.crc)
        sizes = (FULL_32, FULL_32, len(member.name), len(extra), 0, 0, 0, FILE_MODE, FULL_32)
        self._directory.write(struct.pack("<4sHHHHHHIIIHHHHHII", *head, *sizes))
        self._directory.write(member.name + extra)
        self._files += 1


class _Counted:
    """What is copied counts as written."""

    def __init__(self, zipped: ZipStream) -> None:
        self._zipped = zipped

    def write(self, data: bytes) -> int:
        self._zipped._write(data)
        return len(data)


class ZipMember:
    """One file of a zip while it is written."""

    def __init__(self, zipped: ZipStream, name: bytes, method: int) -> None:
        self.name, self.method, self.start = name, method, zipped._at
        self.size, self.packed_size, self.crc = 0, 0, 0
        self._zipped = zipped
        self._packer = zlib.compressobj(LEVEL, zlib.DEFLATED, -15) if method == DEFLATED else None
        extra = struct.pack("<HHQQ", 1, 16, 0, 0)
        head = (b"PK\3\4", NEEDED, FLAGS, method, 0, DATE_OF_ALL, 0, FULL_32, FULL_32)
        zipped._write(struct.pack("<4sHHHHHIIIHH", *head, len(name), len(extra)) + name + extra)

    def write(self, data: bytes) -> None:
        self.crc = zlib.crc32(data, self.crc)
        self.size += len(data)
        self._send(self._packer.compress(data) if self._packer else data)

    def close(self) -> None:
        if self._packer:
            self._send(self._packer.flush())
        sizes = (self.crc, self.packed_size, self.size)
        self._zipped._write(struct.pack("<4sIQQ", b"PK\7\x08", *sizes))
        self._zipped._list(self)

    def _send(self, data: bytes) -> None:
        if data:
            self._zipped._write(data)
            self.packed_size += len(data)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if kind is None:
            self.close()
