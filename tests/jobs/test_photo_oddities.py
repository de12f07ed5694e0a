"""More files that are odd, broken or meant to harm; and odd ones that are honest photos.

Together with `test_hostile_photos.py` a corpus of more than a hundred files made here. Each is
refused in words, or kept untouched and read, or kept untouched and said to be unreadable; none
takes anything down.
"""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Callable

import pytest
from django.core.files.storage import default_storage
from PIL import Image, ImageCms

from jobs.errors import Refused
from jobs.evidence.decoding.client import DECODER
from jobs.evidence.inspection import inspect
from jobs.evidence.media_types import NO_PHOTOS
from jobs.models import Photo
from tests.jobs.on_site_scene import booked_scene, stored
from tests.pictures import as_format, jpeg_claiming, loft_jpeg, png_chunk, png_claiming, saved

pytestmark = pytest.mark.django_db

JPEG = loft_jpeg(1)
PNG = as_format(JPEG, "PNG")
WEBP = as_format(JPEG, "WEBP")
HEIC = as_format(JPEG, "HEIF")
PLAIN = Image.open(io.BytesIO(JPEG)).convert("RGB").resize((900, 675))
SCRIPT = b"<script>alert(1)</script>"
XMP = b"http://ns.adobe.com/xap/1.0/\x00"


def segment(marker: int, content: bytes) -> bytes:
    return bytes([0xFF, marker]) + struct.pack(">H", len(content) + 2) + content


def jpeg_with(*segments: bytes) -> bytes:
    return JPEG[:2] + b"".join(segments) + JPEG[2:]


def without_app_segments() -> bytes:
    return saved(PLAIN, "JPEG")


def exif(body: bytes) -> bytes:
    """A JPEG whose only EXIF is this TIFF structure."""
    plain = without_app_segments()
    return plain[:2] + segment(0xE1, b"Exif\x00\x00" + body) + plain[2:]


def ifd(*entries: tuple[int, int, int, bytes], following: int = 0) -> bytes:
    """A little-endian TIFF with one directory; entries of tag, type, count and four bytes."""
    rows = b"".join(struct.pack("<HHI4s", *entry) for entry in entries)
    head = b"II*\x00" + struct.pack("<I", 8) + struct.pack("<H", len(entries))
    return head + rows + struct.pack("<I", following)


def png_with(*chunks: bytes) -> bytes:
    return PNG[:33] + b"".join(chunks) + PNG[33:]


def webp_of(*chunks: tuple[bytes, bytes]) -> bytes:
    body = b"".join(
        name + struct.pack("<I", len(data)) + data + b"\x00" * (len(data) % 2)
        for name, data in chunks
    )
    return b"RIFF" + struct.pack("<I", len(body) + 4) + b"WEBP" + body


def patched(content: bytes, at: bytes, behind: int, by: bytes) -> bytes:
    place = content.index(at) + behind
    return content[:place] + by + content[place + len(by) :]


def animated(kind: str) -> bytes:
    return saved(
        PLAIN, kind, save_all=True, append_images=[PLAIN.rotate(90), PLAIN.rotate(180)], duration=80
    )


def with_profile(profile: bytes) -> bytes:
    return saved(PLAIN, "JPEG", icc_profile=profile)


def display_p3_like() -> bytes:
    return ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


REFUSED: list[tuple[str, bytes, str]] = [
    ("GIF that is a script too", b"GIF89a/*" + bytes(20) + b"*/=1;alert(1)", "GIF picture"),
    ("PDF with a photo in it", b"%PDF-1.4\n" + JPEG, "PDF document"),
    ("PostScript", b"%!PS-Adobe-3.0\n" + bytes(90), "no photo"),
    ("XML bomb", b'<?xml version="1.0"?><!DOCTYPE l [<!ENTITY a "&b;&b;">]><l>&a;</l>', "drawing"),
    ("packed SVG", b"\x1f\x8b\x08" + bytes(40), "archive"),
    ("Photoshop", b"8BPS\x00\x01" + bytes(90), "no photo"),
    ("icon", b"\x00\x00\x01\x00\x01\x00" + bytes(90), "no photo"),
    ("JPEG 2000", b"\x00\x00\x00\x0cjP  \r\n\x87\n" + bytes(90), "no photo"),
    ("JPEG XL", b"\xff\x0a" + bytes(90), "no photo"),
    ("big TIFF", b"II+\x00" + bytes(90), "no photo"),
    ("Java class", b"\xca\xfe\xba\xbe" + bytes(90), "no photo"),
    ("7z archive", b"7z\xbc\xaf\x27\x1c" + bytes(90), "no photo"),
    ("RAR archive", b"Rar!\x1a\x07\x00" + bytes(90), "no photo"),
    ("a thousand zero bytes", bytes(1000), "no photo"),
    ("rich text", b"{\\rtf1 " + bytes(90), "no photo"),
    ("JSON", b'{"photo": true}', "a text, not a photo"),
    ("words that are cut within a letter", ("x" * 511 + "é").encode(), "a text, not a photo"),
    ("sound", b"ID3\x04" + bytes(90), "no photo"),
    ("QuickTime film", b"\x00\x00\x00\x14ftypqt  \x00\x00\x00\x00qt  " + bytes(90), "video"),
    ("web page before a photo", b"<!doctype html>" + JPEG, "web page"),
    ("script before a photo", b"#!/bin/sh\n" + JPEG, "a script"),
    ("photo behind zero bytes", bytes(16) + JPEG, "no photo"),
    ("JPEG without any height", jpeg_claiming(64, 0), "no picture is in it"),
    ("JPEG without any width", jpeg_claiming(0, 64), "no picture is in it"),
    ("PNG without any size", png_claiming(0, 0), "no picture is in it"),
    ("PNG whose header comes twice as long", png_claiming(2**31 - 1, 1), "too many"),
    ("PNG with a damaged header", patched(PNG, b"IHDR", 12, b"\x07"), "no picture is in it"),
    ("PNG with its end at once", PNG[:8] + png_chunk(b"IEND", b""), "no picture is in it"),
    (
        "PNG with an 80 MB colour profile packed in a chunk",
        png_with(png_chunk(b"iCCP", b"p\x00\x00" + zlib.compress(bytes(80_000_000)))),
        "no picture is in it",
    ),
    (
        "WebP whose canvas claims 16384 x 16384",
        webp_of((b"VP8X", b"\x10\x00\x00\x00" + b"\xff\x3f\x00" * 2), (b"VP8 ", WEBP[20:])),
        "megapixels|too many|no picture",
    ),
    ("WebP with nothing in it", webp_of(), "no picture is in it"),
    ("WebP with an unknown chunk only", webp_of((b"ABCD", bytes(8))), "no picture is in it"),
    ("WebP cut inside its picture", webp_of((b"VP8 ", WEBP[20:2000])), "no picture is in it"),
    ("HEIC with its meta box renamed", HEIC.replace(b"meta", b"free", 1), "broke off"),
    ("HEIC without its handler", HEIC.replace(b"hdlr", b"free", 1), "no picture is in it"),
    ("HEIC without places of its items", HEIC.replace(b"iloc", b"free", 1), "no picture is in it"),
    ("JPEG of segments only", JPEG[:2] + segment(0xFE, b"x") * 900 + b"\xff\xd9", "broke off"),
]


@pytest.mark.parametrize(
    ("content", "reason"), [row[1:] for row in REFUSED], ids=[row[0] for row in REFUSED]
)
def test_refused_with_a_reason_and_nothing_stored(content: bytes, reason: str) -> None:
    scene = booked_scene()

    with pytest.raises(Refused, match=reason) as refusal:
        stored(scene, content)

    assert refusal.value.field == "file"
    assert refusal.value.remedy
    assert not Photo.objects.exists()


UNREADABLE: list[tuple[str, bytes]] = [
    ("PNG whose data are of another kind", png_claiming(900, 700, b"no rows at all")),
    (
        "HEIC that claims 60000 x 60000",
        patched(HEIC, b"ispe", 8, struct.pack(">II", 60_000, 60_000)),
    ),
]


@pytest.mark.parametrize(
    "content", [row[1] for row in UNREADABLE], ids=[row[0] for row in UNREADABLE]
)
def test_damaged_inside_is_kept_and_said_to_be_unreadable(content: bytes) -> None:
    photo = stored(booked_scene(), content)

    inspection = inspect(photo)

    assert not inspection.readable
    assert [w["code"] for w in inspection.warnings] == ["unreadable"]
    assert original_of(photo) == content


READ: list[tuple[str, bytes]] = [
    ("JPEG that is a PDF too", jpeg_with(segment(0xFE, b"%PDF-1.4 /JS (app.alert(1))"))),
    ("JPEG with a web page in EXIF", exif(ifd((0x010E, 2, 25, b"\x1a\x00\x00\x00")) + SCRIPT)),
    ("JPEG with a script in XMP", jpeg_with(segment(0xE1, XMP + SCRIPT))),
    ("JPEG with a thousand comments", jpeg_with(*[segment(0xFE, SCRIPT)] * 1000)),
    ("JPEG with 4 MB of comments", jpeg_with(*[segment(0xFE, bytes(65_000))] * 64)),
    ("JPEG with a photo behind it", JPEG + JPEG),
    ("PNG with 20,000 text chunks", png_with(*[png_chunk(b"tEXt", b"k\x00" + SCRIPT)] * 20_000)),
    ("PNG with a private chunk", png_with(png_chunk(b"prIv", bytes(5000)))),
    ("EXIF of 65,535 entries that are not there", exif(b"II*\x00\x08\x00\x00\x00\xff\xff")),
    ("EXIF whose directory follows itself", exif(ifd((0x0112, 3, 1, b"\x01\x00"), following=8))),
    ("EXIF whose sub-directory is itself", exif(ifd((0x8769, 4, 1, b"\x08\x00\x00\x00")))),
    ("EXIF with a value of 4 GB", exif(ifd((0x010F, 2, 2**32 - 1, b"\x08\x00\x00\x00")))),
    ("EXIF with an unknown type", exif(ifd((0x010F, 99, 1, b"\x08\x00\x00\x00")))),
    ("EXIF of another byte order", exif(b"XX*\x00\x08\x00\x00\x00")),
    ("EXIF with orientation 99", exif(ifd((0x0112, 3, 1, b"\x63\x00\x00\x00")))),
    ("EXIF that is empty", exif(b"")),
    ("broken colour profile", with_profile(b"no profile at all" * 20)),
    ("cut colour profile", with_profile(display_p3_like()[:200])),
    ("colour profile as phones write", with_profile(display_p3_like())),
    ("CMYK JPEG", saved(PLAIN.convert("CMYK"), "JPEG")),
    ("grey JPEG", saved(PLAIN.convert("L"), "JPEG")),
    ("progressive JPEG", saved(PLAIN, "JPEG", progressive=True)),
    ("JPEG with restart marks", saved(PLAIN, "JPEG", restart_marker_blocks=4)),
    ("several pictures in one JPEG", saved(PLAIN, "MPO", save_all=True, append_images=[PLAIN])),
    ("16-bit grey PNG", saved(PLAIN.convert("I;16"), "PNG")),
    ("transparent PNG", saved(PLAIN.convert("RGBA"), "PNG")),
    ("grey and transparent PNG", saved(PLAIN.convert("LA"), "PNG")),
    ("PNG of 256 colours", saved(PLAIN.convert("P"), "PNG")),
    ("PNG of 256 colours, one transparent", saved(PLAIN.convert("P"), "PNG", transparency=3)),
    ("PNG of two colours", saved(PLAIN.convert("1"), "PNG")),
    ("animated PNG", animated("PNG")),
    ("animated WebP", animated("WEBP")),
    ("lossless WebP", saved(PLAIN, "WEBP", lossless=True)),
    ("transparent WebP", saved(PLAIN.convert("RGBA"), "WEBP")),
    ("transparent HEIC", saved(PLAIN.convert("RGBA"), "HEIF")),
    ("grey HEIC", saved(PLAIN.convert("L"), "HEIF")),
    ("several pictures in one HEIC", saved(PLAIN, "HEIF", save_all=True, append_images=[PLAIN])),
    ("one pixel", saved(Image.new("RGB", (1, 1), "tan"), "PNG")),
    ("one pixel high", saved(Image.new("RGB", (3000, 1), "tan"), "PNG")),
    ("one pixel wide", saved(Image.new("RGB", (1, 3000), "tan"), "JPEG")),
]  # fmt: skip


@pytest.mark.parametrize("content", [row[1] for row in READ], ids=[row[0] for row in READ])
def test_read_with_the_original_untouched_and_nothing_hidden_in_the_copies(content: bytes) -> None:
    photo = stored(booked_scene(), content)

    inspection = inspect(photo)

    assert inspection.readable
    assert original_of(photo) == content
    for name in (inspection.display_name, inspection.thumb_name):
        copy = bytes_at(name)
        with Image.open(io.BytesIO(copy)) as image:
            image.load()
            assert image.format == "JPEG"
            assert not image.getexif()
            assert not {"exif", "comment", "icc_profile", "xmp", "photoshop"} & set(image.info)
        assert b"alert" not in copy


def original_of(photo: Photo) -> bytes:
    return bytes_at(photo.original_name)


def bytes_at(name: str) -> bytes:
    with default_storage.open(name) as file:
        return file.read()


def test_the_corpus_is_large_and_took_nothing_down() -> None:
    from tests.jobs import test_hostile_photos as others

    mine = len(REFUSED) + len(UNREADABLE) + len(READ)
    theirs = len(others.REFUSED) + len(others.BROKEN_INSIDE) + len(others.POLYGLOTS)
    assert mine + theirs >= 120
    assert NO_PHOTOS
    with io.BytesIO(JPEG) as file:
        assert DECODER.ask("probe", file, "image/jpeg")[0]["width_px"] == 1200


def big(mode: str = "RGB") -> Image.Image:
    """50 megapixels with something in them."""
    return PLAIN.convert(mode).resize((8200, 6150), Image.Resampling.NEAREST)


BIG: dict[str, Callable[[], bytes]] = {
    "JPEG": lambda: saved(big(), "JPEG", quality=40),
    "PNG": lambda: saved(big("L"), "PNG", compress_level=1),
    "WEBP": lambda: saved(big(), "WEBP", quality=10, method=0),
    "HEIF": lambda: saved(big(), "HEIF", quality=10, enc_params={"preset": "ultrafast"}),
}


@pytest.mark.parametrize("kind", BIG)
def test_fifty_megapixels_of_each_kind_are_read(kind: str) -> None:
    photo = stored(booked_scene(), BIG[kind]())

    inspection = inspect(photo)

    assert inspection.readable
    assert (inspection.width_px, inspection.height_px) == (8200, 6150)
    with Image.open(io.BytesIO(bytes_at(inspection.display_name))) as copy:
        assert 1600 <= max(copy.size) <= 2400
