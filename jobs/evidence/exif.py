"""What a photo's EXIF says: when, where, with what. Tag numbers from CIPA DC-008 (Exif 2.32)."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from PIL import Image

LOCAL_ZONE = ZoneInfo("Europe/London")
"""The zone of a time that names none: phones write the clock on the wall."""

MAKE, MODEL, CHANGED_AT = 0x010F, 0x0110, 0x0132
EXIF_IFD, GPS_IFD = 0x8769, 0x8825
TAKEN_AT, TAKEN_OFFSET = 0x9003, 0x9011


@dataclass(frozen=True, slots=True)
class ExifFacts:
    """present: whether the file has EXIF at all. taken_at: with zone. Position in degrees."""

    present: bool = False
    taken_at: datetime | None = None
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    device: str = ""


def read_exif(image: Image.Image) -> ExifFacts:
    """The facts that could be read; whatever is malformed is left out, never an error."""
    try:
        exif = image.getexif()
        details = dict(exif.get_ifd(EXIF_IFD))
        place = dict(exif.get_ifd(GPS_IFD))
    except Exception:  # the parser meets bytes of every kind, and none may lose a photo
        return ExifFacts()
    if not (exif or details or place):
        return ExifFacts()
    taken = details.get(TAKEN_AT) or exif.get(CHANGED_AT)
    latitude, longitude = _position(place)
    return ExifFacts(
        present=True,
        taken_at=_time(taken, details.get(TAKEN_OFFSET)),
        latitude_deg=latitude,
        longitude_deg=longitude,
        device=_device(exif.get(MAKE), exif.get(MODEL)),
    )


def _time(written: Any, offset: Any) -> datetime | None:
    if not isinstance(written, str):
        return None
    text = written.strip("\x00 ")
    if isinstance(offset, str) and offset.strip("\x00 "):
        try:
            return datetime.strptime(f"{text} {offset.strip(chr(0) + ' ')}", "%Y:%m:%d %H:%M:%S %z")
        except ValueError:
            pass
    try:
        return datetime.strptime(text, "%Y:%m:%d %H:%M:%S").replace(tzinfo=LOCAL_ZONE)
    except ValueError:
        return None


def _position(place: Mapping[int, Any]) -> tuple[float | None, float | None]:
    latitude = _degrees(place.get(2), place.get(1), "S", 90)
    longitude = _degrees(place.get(4), place.get(3), "W", 180)
    if latitude is None or longitude is None or (latitude == 0 and longitude == 0):
        return None, None
    return latitude, longitude


def _degrees(parts: Any, hemisphere: Any, negative: str, limit: float) -> float | None:
    try:
        degrees, minutes, seconds = (float(part) for part in parts)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    value = degrees + minutes / 60 + seconds / 3600
    if not math.isfinite(value) or not 0 <= value <= limit:
        return None
    return -value if str(hemisphere).strip("\x00 ").upper() == negative else value


def _device(make: Any, model: Any) -> str:
    words = " ".join(str(part).strip("\x00 ") for part in (make, model) if part)
    printable = "".join(letter for letter in words if letter.isprintable())
    return " ".join(printable.split())[:80]
