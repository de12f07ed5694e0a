"""What a photo's EXIF says: when, where, with what. Tag numbers from CIPA DC-008 (Exif 2.32).

It runs in the decoding process too: no Django here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from typing import Any
from zoneinfo import ZoneInfo

from PIL import Image

LOCAL_ZONE = ZoneInfo("Europe/London")
"""The zone of a time that names none: phones write the clock on the wall."""

MAKE, MODEL, ORIENTATION = 0x010F, 0x0110, 0x0112
EXIF_IFD, GPS_IFD = 0x8769, 0x8825
CHANGED_AT, CHANGED_OFFSET = 0x0132, 0x9010
TAKEN_AT, TAKEN_OFFSET = 0x9003, 0x9011
DIGITISED_AT, DIGITISED_OFFSET = 0x9004, 0x9012
GPS_TIME, GPS_DATE = 7, 29

QUARTER = timedelta(minutes=15)
FIX_MAY_BE_OLD = timedelta(minutes=3)
"""A satellite fix is this much older than the photo at most, to tell the clock's zone by it
[common practice, no published source]."""

YEARS_OF_PHOTOS = range(1990, 2100)
"""A clock that was never set says 1970 or 0000; that is no time, and some can't be counted with."""

# Where the zone of a time came from.
BY_OFFSET, BY_GPS, ASSUMED = "offset", "gps", "assumed"


@dataclass(frozen=True, slots=True)
class ExifFacts:
    """present: whether the file has EXIF at all. taken_at: with zone. Position in degrees.

    time_source: "offset" if the file names the zone, "gps" if its satellite time does, "assumed"
    if the zone is taken to be LOCAL_ZONE, nothing without a time. orientation: 1 to 8.
    """

    present: bool = False
    taken_at: datetime | None = None
    time_source: str = ""
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    device: str = ""
    orientation: int = 1


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
    taken_at, source = _taken_at(details, exif, _satellite_time(place))
    latitude, longitude = _position(place)
    return ExifFacts(
        present=True,
        taken_at=taken_at,
        time_source=source,
        latitude_deg=latitude,
        longitude_deg=longitude,
        device=_device(exif.get(MAKE), exif.get(MODEL)),
        orientation=_orientation(exif.get(ORIENTATION)),
    )


def _taken_at(
    details: Mapping[int, Any], exif: Mapping[int, Any], satellite: datetime | None
) -> tuple[datetime | None, str]:
    """The best time the file tells: when it was taken, else digitised, else changed."""
    for written, offset in (
        (details.get(TAKEN_AT), details.get(TAKEN_OFFSET)),
        (details.get(DIGITISED_AT), details.get(DIGITISED_OFFSET)),
        (exif.get(CHANGED_AT), details.get(CHANGED_OFFSET)),
    ):
        at = _time(written)
        if at is None:
            continue
        zone = _zone(offset)
        if zone is not None:
            return at.replace(tzinfo=zone), BY_OFFSET
        zone = _zone_by(satellite, at)
        if zone is not None:
            return at.replace(tzinfo=zone), BY_GPS
        return at.replace(tzinfo=LOCAL_ZONE), ASSUMED
    return None, ""


def _time(written: Any) -> datetime | None:
    """A wall-clock time without a zone, or None for anything else."""
    if not isinstance(written, str):
        return None
    try:
        at = datetime.strptime(written.strip("\x00 "), "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None
    return at if at.year in YEARS_OF_PHOTOS else None


def _zone(offset: Any) -> timezone | None:
    if not isinstance(offset, str):
        return None
    try:
        named = datetime.strptime(offset.strip("\x00 "), "%z").utcoffset()
    except ValueError:
        return None
    return timezone(named) if named is not None else None


def _zone_by(satellite: datetime | None, at: datetime) -> timezone | None:
    """The zone that a clock on the wall showed, by the satellites' time of the same photo.

    Zones differ from UTC by whole quarters of an hour, from -12 to +14 hours.
    """
    if satellite is None:
        return None
    ahead = at.replace(tzinfo=UTC) - satellite
    whole = round(ahead / QUARTER) * QUARTER
    if abs(ahead - whole) > FIX_MAY_BE_OLD or not timedelta(hours=-12) <= whole <= timedelta(
        hours=14
    ):
        return None
    return timezone(whole)


def _satellite_time(place: Mapping[int, Any]) -> datetime | None:
    day = place.get(GPS_DATE)
    try:
        hours, minutes, seconds = (float(part) for part in place.get(GPS_TIME, ()))
        begin = datetime.strptime(str(day).strip("\x00 "), "%Y:%m:%d").replace(tzinfo=UTC)
        return begin + timedelta(hours=hours, minutes=minutes, seconds=seconds)
    except (TypeError, ValueError, ZeroDivisionError, OverflowError):
        return None


def _orientation(written: Any) -> int:
    return written if isinstance(written, int) and 1 <= written <= 8 else 1


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
