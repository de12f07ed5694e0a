"""A zip as the verifier reads it, against `zipfile` of Python and against damage."""

from __future__ import annotations

import io
import random
import zipfile
from collections.abc import Iterator

import pytest

from compliance.packs.zip_stream import ZipStream
from compliance.verify import Unsound, ZipSource
from compliance.verify.layout import BAGIT
from compliance.verify.sources import PackFiles

CONTENT = {
    BAGIT: b"BagIt-Version: 1.0\n",
    "data/lines.jsonl": b'{"a":1}\n' * 40_000,
    "data/photos/noise": random.Random(1).randbytes(300_000),
    "data/empty": b"",
    "data/näme": b"with a name beyond ASCII",
}


def zipped(root: str = "pack/", **how: int) -> bytes:
    """As Python's own module writes it."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", how.get("method", zipfile.ZIP_DEFLATED)) as target:
        if root:
            target.writestr(root, b"")  # a folder has an entry of its own in many zips
        for name, content in CONTENT.items():
            target.writestr(root + name, content)
    return out.getvalue()


def streamed() -> bytes:
    """As packs are sent: sizes after the bytes, Zip64 throughout."""
    out = io.BytesIO()
    target = ZipStream(out)
    for name, content in CONTENT.items():
        with target.open(f"pack/{name}", packed=name.endswith("jsonl")) as member:
            member.write(content)
    target.close()
    return out.getvalue()


def read(content: bytes) -> dict[str, bytes]:
    files = PackFiles(ZipSource(io.BytesIO(content)))
    return {name: b"".join(files.chunks(name)) for name in files.names}


@pytest.mark.parametrize(
    "content",
    [zipped(), zipped(""), zipped(method=zipfile.ZIP_STORED), streamed()],
    ids=["deflated", "at the root", "stored", "streamed"],
)
def test_it_reads_what_was_written(content: bytes):
    assert read(content) == CONTENT


def test_files_may_be_read_side_by_side():
    source = ZipSource(io.BytesIO(zipped()))
    with source.open("data/lines.jsonl") as one, source.open("data/photos/noise") as two:
        parts = [(one.read(9_000), two.read(9_000)) for _ in range(40)]

    assert b"".join(part for part, _ in parts) == CONTENT["data/lines.jsonl"][: 40 * 9_000]
    assert b"".join(part for _, part in parts) == CONTENT["data/photos/noise"]


def flips(content: bytes) -> Iterator[bytes]:
    chance = random.Random(2)
    for _ in range(150):
        at = chance.randrange(len(content))
        yield content[:at] + bytes([content[at] ^ 1 << chance.randrange(8)]) + content[at + 1 :]
    for _ in range(50):
        yield content[: chance.randrange(len(content))]


def test_damage_is_named_or_changes_nothing():
    """Never another content under a name that is in the pack, and never an error but Unsound. What
    a flipped bit may do is rename a file, which the manifest finds, or touch a field that nothing
    depends on."""
    for content in flips(streamed()):
        try:
            found = read(content)
        except Unsound:
            continue
        for name in found.keys() & CONTENT.keys():
            assert found[name] == CONTENT[name]


@pytest.mark.parametrize(
    ("content", "named"),
    [
        (b"PK", "no whole zip"),
        (zipped() + b"and more", "no whole zip"),
        (zipped("a/b/"), "no evidence pack"),
    ],
    ids=["a stump", "something behind it", "two folders deep"],
)
def test_what_is_no_pack_is_refused(content: bytes, named: str):
    with pytest.raises(Unsound, match=named):
        read(content)


@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_a_name_that_stands_twice_is_refused():
    out = io.BytesIO(zipped())
    with zipfile.ZipFile(out, "a") as target:
        target.writestr(f"pack/{BAGIT}", b"another")

    with pytest.raises(Unsound, match="stands in the zip twice"):
        read(out.getvalue())


def test_a_file_beside_the_bag_is_refused():
    out = io.BytesIO(zipped())
    with zipfile.ZipFile(out, "a") as target:
        target.writestr("beside.txt", b"")

    with pytest.raises(Unsound, match="lies outside the bag"):
        read(out.getvalue())
