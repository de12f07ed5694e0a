"""Files that are no photos, or dangerous ones: refused in words, or kept and said to be broken."""

from __future__ import annotations

import io
import zipfile
import zlib

import pytest
from PIL import Image

from jobs.errors import Refused
from jobs.evidence.inspection import inspect
from jobs.evidence.photos import store_photo
from jobs.models import Photo
from tests.jobs.on_site_scene import booked_scene, stored
from tests.pictures import as_format, jpeg_claiming, loft_jpeg, png_chunk, png_claiming, saved

pytestmark = pytest.mark.django_db

JPEG = loft_jpeg(1)
PNG = as_format(JPEG, "PNG")
WEBP = as_format(JPEG, "WEBP")
HEIC = as_format(JPEG, "HEIF")


def zip_of(name: str, content: bytes) -> bytes:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as archive:
        archive.writestr(name, content)
    return file.getvalue()


REFUSED: list[tuple[str, bytes, str]] = [
    ("zero bytes", b"", "is empty"),
    ("one byte", b"\xff", "no photo that can be kept"),
    ("only a JPEG's first bytes", b"\xff\xd8\xff\xe0", "broke off"),
    ("JPEG cut in its header", JPEG[:300], "broke off"),
    ("JPEG cut in the middle", JPEG[: len(JPEG) // 2], "broke off"),
    ("JPEG without its last two bytes", JPEG[:-2], "broke off"),
    ("PNG cut in the middle", PNG[: len(PNG) // 2], "broke off"),
    ("PNG without its end chunk", PNG[:-12], "broke off"),
    ("WebP cut in the middle", WEBP[: len(WEBP) // 2], "broke off"),
    ("HEIC cut in the middle", HEIC[: len(HEIC) // 2], "broke off"),
    ("PNG that claims 60000 x 60000", png_claiming(60_000, 60_000), "megapixels|too many"),
    ("PNG that claims 12000 x 12000", png_claiming(12_000, 12_000), "144 megapixels"),
    ("PNG one pixel high and 40000 wide", png_claiming(40_000, 1), "megapixels"),
    ("JPEG that claims 65000 x 65000", jpeg_claiming(65_000, 65_000), "megapixels|too many"),
    ("SVG drawing", b'<svg xmlns="http://www.w3.org/2000/svg"><script/></svg>', "drawing"),
    ("SVG with a prologue", b'\xef\xbb\xbf <?xml version="1.0"?><svg/>', "drawing"),
    ("web page", b"<!doctype html><script>alert(1)</script>", "web page"),
    ("shell script", b"#!/bin/sh\nrm -rf /\n", "a script"),
    ("script text", b"alert(document.cookie)", "a text, not a photo"),
    ("PHP in a text", b"<?php system($_GET['x']); ?>", "web page"),
    ("Windows program", b"MZ\x90\x00" + bytes(200), "a program"),
    ("Linux program", b"\x7fELF" + bytes(200), "a program"),
    ("PDF", b"%PDF-1.7\n", "PDF document"),
    ("archive", zip_of("photo.jpg", JPEG), "archive"),
    ("GIF", saved(Image.new("P", (40, 40)), "GIF"), "GIF picture"),
    ("TIFF", saved(Image.new("RGB", (40, 40)), "TIFF"), "raw or TIFF"),
    ("bitmap", saved(Image.new("RGB", (40, 40)), "BMP"), "bitmap"),
    ("AVIF", as_format(JPEG, "AVIF"), "AVIF"),
    ("MP4 video", b"\x00\x00\x00\x18ftypmp42\x00\x00\x00\x00mp42isom" + bytes(99), "video"),
    ("Matroska video", b"\x1aE\xdf\xa3" + bytes(99), "video"),
    ("PNG signature over nothing", b"\x89PNG\r\n\x1a\n", "broke off"),
    (
        "PNG with a broken header and a good end",
        b"\x89PNG\r\n\x1a\n" + png_chunk(b"IHDR", b"12") + png_chunk(b"IEND", b""),
        "no picture is in it",
    ),
    ("HEIC brand over zeros", b"\x00\x00\x00\x18ftypheic" + bytes(12) + bytes(64), "broke off"),
    (
        "HEIC with boxes but no picture",
        b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic\x00\x00\x00\x08meta",
        "no picture is in it",
    ),
    (
        "PNG with 80 MB of words packed in a chunk",
        PNG[:33]
        + png_chunk(b"zTXt", b"Note\x00\x00" + zlib.compress(bytes(80_000_000)))
        + PNG[33:],
        "no picture is in it",
    ),
    ("PNG of noise", PNG[:60] + bytes(b ^ 0x5A for b in PNG[60:-60]) + PNG[-60:], "broke off"),
    ("RIFF that is a sound", b"RIFF\x24\x00\x00\x00WAVEfmt " + bytes(30), "no photo"),
    ("WebP header over zeros", b"RIFF\x10\x00\x00\x00WEBP" + bytes(12), "no picture is in it"),
    ("JPEG with a segment past its end", b"\xff\xd8\xff\xe0\xff\xff" + bytes(60), "broke off"),
    ("web page after a line break", b"\n\n  <html><body onload=alert(1)>", "web page"),
]


@pytest.mark.parametrize(
    ("content", "reason"), [row[1:] for row in REFUSED], ids=[row[0] for row in REFUSED]
)
def test_refused_with_a_reason_and_nothing_stored(content, reason):
    scene = booked_scene()

    with pytest.raises(Refused, match=reason) as refusal:
        store_photo(scene.visit, "before", "P1", io.BytesIO(content), scene.installer)

    assert refusal.value.field == "file"
    assert refusal.value.remedy
    assert not Photo.objects.exists()


def jpeg_of_noise() -> bytes:
    """A JPEG whose Huffman tables lead nowhere."""
    at = JPEG.index(b"\xff\xc4")
    return JPEG[: at + 5] + bytes([255] * 16) + JPEG[at + 21 :]


def heic_without_picture() -> bytes:
    """A HEIC with all its boxes and nothing in the one that holds the picture."""
    at = HEIC.index(b"mdat") + 4
    return HEIC[:at] + bytes(len(HEIC) - at)


BROKEN_INSIDE: list[tuple[str, bytes]] = [
    ("JPEG with broken Huffman tables", jpeg_of_noise()),
    ("PNG whose data ends early", png_claiming(2000, 2000, bytes(100))),
    ("HEIC with an empty picture", heic_without_picture()),
]


@pytest.mark.parametrize(
    "content", [row[1] for row in BROKEN_INSIDE], ids=[row[0] for row in BROKEN_INSIDE]
)
def test_damaged_inside_is_kept_and_said_to_be_unreadable(content):
    photo = stored(booked_scene(), content)

    inspection = inspect(photo)

    assert not inspection.readable
    assert [w["code"] for w in inspection.warnings] == ["unreadable"]
    assert (inspection.display_name, inspection.thumb_name) == ("", "")


POLYGLOTS: list[tuple[str, bytes]] = [
    ("JPEG with an archive behind it", JPEG + zip_of("x.js", b"alert(1)")),
    ("JPEG with a web page behind it", JPEG + b"<script>alert(1)</script>"),
    (
        "JPEG with a script in a comment",
        JPEG[:2] + b"\xff\xfe\x00\x1b<script>alert(1)</script>" + JPEG[2:],
    ),
    (
        "PNG with a web page in a text chunk",
        PNG[:33] + png_chunk(b"tEXt", b"Comment\x00<script>alert(1)</script>") + PNG[33:],
    ),
    ("PNG with a program behind it", PNG + b"MZ" + bytes(300)),
]


@pytest.mark.parametrize("content", [row[1] for row in POLYGLOTS], ids=[r[0] for r in POLYGLOTS])
def test_a_photo_with_something_hidden_keeps_it_out_of_every_copy(content):
    from django.core.files.storage import default_storage

    photo = stored(booked_scene(), content)
    inspection = inspect(photo)

    assert inspection.readable
    assert photo.media_type in ("image/jpeg", "image/png")
    for name in (inspection.display_name, inspection.thumb_name):
        with default_storage.open(name) as file:
            copy = file.read()
        assert copy.startswith(b"\xff\xd8\xff")
        assert b"alert" not in copy
        assert b"MZ" + bytes(300) not in copy


def test_a_fifty_megapixel_photo_is_taken():
    big = saved(Image.new("RGB", (8200, 6150), "tan"), "JPEG", quality=30)

    inspection = inspect(stored(booked_scene(), big))

    assert (inspection.width_px, inspection.height_px) == (8200, 6150)
