"""Zips that are sent while they are made, opened by Python's own `zipfile` and Info-ZIP's `unzip`.

The format: PKWARE, .ZIP File Format Specification (APPNOTE.TXT) 6.3.10.
"""

from __future__ import annotations

import io
import os
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

from compliance.packs.zip_stream import ZipStream

MORE_THAN_16_BITS = 65_600


def zipped(files: dict[str, tuple[bytes, bool]]) -> bytes:
    out = io.BytesIO()
    stream = ZipStream(out)
    for name, (content, packed) in files.items():
        with stream.open(name, packed=packed) as member:
            for start in range(0, len(content), 1000):
                member.write(content[start : start + 1000])
    stream.close()
    return out.getvalue()


FILES = {
    "pack/lines.jsonl": (b"a line and another\n" * 5000, True),
    "pack/photo": (os.urandom(30_000), False),
    "pack/empty": (b"", True),
    "pack/naïve name.txt": ("Lüftung".encode(), True),
}


def test_zipfile_reads_every_file_back():
    """Names, bytes, CRC-32 and modes, by the standard library's reader."""
    with zipfile.ZipFile(io.BytesIO(zipped(FILES))) as found:
        assert found.testzip() is None
        assert {i.filename: found.read(i) for i in found.infolist()} == {
            name: content for name, (content, _) in FILES.items()
        }
        assert {i.compress_type for i in found.infolist()} == {0, 8}
        assert {i.external_attr >> 16 for i in found.infolist()} == {0o100644}
        assert found.getinfo("pack/lines.jsonl").compress_size < 2000


def test_more_files_than_the_old_format_could_count():
    """APPNOTE 4.4.21 and 4.3.14: with 65,535 or more files the Zip64 end record counts them."""
    content = zipped({f"f/{n}": (b"", False) for n in range(MORE_THAN_16_BITS)})

    with zipfile.ZipFile(io.BytesIO(content)) as found:
        assert len(found.infolist()) == MORE_THAN_16_BITS
        assert found.infolist()[-1].filename == f"f/{MORE_THAN_16_BITS - 1}"


def test_info_zip_finds_nothing_wrong(tmp_path: Path):
    """`unzip -t` of Info-ZIP where this machine has it, else the command of `zipfile`."""
    path = tmp_path / "pack.zip"
    path.write_bytes(zipped(FILES))
    unzip = shutil.which("unzip")
    reader = [unzip, "-tq"] if unzip else [sys.executable, "-m", "zipfile", "-t"]

    done = subprocess.run([*reader, str(path)], capture_output=True, text=True, check=False)

    assert done.returncode == 0, done.stdout + done.stderr
