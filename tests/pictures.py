"""Photos for tests: drawn, with EXIF; and files that only pretend to be photos."""

from __future__ import annotations

import io
import struct
import zlib
from datetime import datetime
from typing import Any

import pillow_heif
from PIL import Image, ImageFilter

from deploy.demo.pictures import Snapshot, draw_loft_photo

pillow_heif.register_heif_opener()

LATITUDE, LONGITUDE = 52.63, -1.13  # of the property that tests/factories.py makes


def loft_jpeg(seed: int = 1, **shows: Any) -> bytes:
    """A drawn photo of a loft; `shows` are fields of `Snapshot`."""
    return draw_loft_photo(Snapshot(seed, **{"depth_mm": 80, **shows}))


def loft_jpeg_at(taken_at: datetime, seed: int = 1, **shows: Any) -> bytes:
    """A drawn photo taken at the property at that time."""
    place = {"latitude_deg": LATITUDE, "longitude_deg": LONGITUDE}
    return loft_jpeg(seed, taken_at=taken_at, **{**place, **shows})


def as_format(jpeg: bytes, kind: str, **options: Any) -> bytes:
    """The same picture as PNG, WEBP, HEIF and so on."""
    with Image.open(io.BytesIO(jpeg)) as image:
        return saved(image.convert("RGB").resize((900, 675)), kind, **options)


def saved(image: Image.Image, kind: str, **options: Any) -> bytes:
    file = io.BytesIO()
    image.save(file, kind, **options)
    return file.getvalue()


def blurred(jpeg: bytes, radius: float = 9) -> bytes:
    with Image.open(io.BytesIO(jpeg)) as image:
        return saved(image.filter(ImageFilter.GaussianBlur(radius)), "JPEG")


def darkened(jpeg: bytes) -> bytes:
    with Image.open(io.BytesIO(jpeg)) as image:
        return saved(image.point(lambda level: level // 12), "JPEG")


def png_chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def png_claiming(width: int, height: int, data: bytes = b"") -> bytes:
    """A PNG whose header claims a size, whatever its data holds."""
    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + png_chunk(b"IHDR", header)
        + png_chunk(b"IDAT", zlib.compress(data))
        + png_chunk(b"IEND", b"")
    )


def jpeg_claiming(width: int, height: int) -> bytes:
    """A real JPEG whose frame header is made to claim another size."""
    jpeg = bytearray(saved(Image.new("RGB", (64, 64), "grey"), "JPEG"))
    at = jpeg.index(b"\xff\xc0")
    jpeg[at + 5 : at + 9] = struct.pack(">HH", height, width)
    return bytes(jpeg)
