"""What speaks against a photo as proof, each with its reason. A doubt never discards anything.

The limits are common practice with no published source; a person weighs what they say.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.utils import timezone

from jobs.evidence.exif import ExifFacts
from jobs.evidence.looks import Look
from jobs.models import Property, Visit

BEFORE_VISIT = timedelta(hours=1)
AFTER_VISIT = timedelta(hours=6)
FAR_M = 1000.0
LEAST_PIXELS = 400_000
EARTH_RADIUS_M = 6_371_009.0


@dataclass(frozen=True, slots=True)
class Doubt:
    """code: which doubt. text: the reason in words. photo: the other photo, where there is one."""

    code: str
    text: str
    photo: int | None = None

    def to_dict(self) -> dict[str, Any]:
        row: dict[str, Any] = {"code": self.code, "text": self.text}
        return row | ({"photo": self.photo} if self.photo is not None else {})


def doubts_about_exif(
    exif: ExifFacts, visit: Visit, home: Property, phone_ahead: timedelta | None = None
) -> Iterator[Doubt]:
    """No EXIF; a time outside the visit; a position away from the property.

    phone_ahead: how far the phone's clock, by which the camera goes, was ahead of ours.
    """
    yield from doubts_about_what_is_told(exif, home)
    if exif.taken_at is not None:
        yield from _doubts_about_time(exif.taken_at - (phone_ahead or timedelta()), visit)


def doubts_about_what_is_told(exif: ExifFacts, home: Property) -> Iterator[Doubt]:
    """No EXIF, no time, or a position away from the property: of whatever visit, or of none."""
    if not exif.present:
        yield Doubt(
            "no_exif",
            "The file says nothing about when and where it was taken (no EXIF): it was sent "
            "through another app, or the camera leaves it out.",
        )
        return
    if exif.taken_at is None:
        yield Doubt("no_time", "The file does not say when it was taken.")
    if exif.latitude_deg is not None and exif.longitude_deg is not None:
        yield from _doubts_about_place(exif.latitude_deg, exif.longitude_deg, home)


def _doubts_about_time(taken_at: datetime, visit: Visit) -> Iterator[Doubt]:
    begins = min(visit.during.lower, visit.arrived_at or visit.during.lower)
    ends = max(visit.during.upper, visit.left_at or visit.during.upper)
    said = timezone.localtime(taken_at)
    if taken_at < begins - BEFORE_VISIT:
        yield Doubt(
            "before_visit",
            f"The camera says {said:%-d %b %Y %H:%M}, {how_long(begins - taken_at)} before the "
            "visit.",
        )
    elif taken_at > ends + AFTER_VISIT:
        yield Doubt(
            "after_visit",
            f"The camera says {said:%-d %b %Y %H:%M}, {how_long(taken_at - ends)} after the visit.",
        )


def _doubts_about_place(latitude: float, longitude: float, home: Property) -> Iterator[Doubt]:
    if home.latitude_deg is None or home.longitude_deg is None:
        return
    away_m = distance_m(latitude, longitude, home.latitude_deg, home.longitude_deg)
    if away_m > FAR_M:
        yield Doubt(
            "far_away", f"It was taken {away_m / 1000:.1f} km from the property, by its EXIF."
        )


def distance_m(latitude: float, longitude: float, to_latitude: float, to_longitude: float) -> float:
    """Great-circle distance [m] between two positions [degrees], haversine formula on a sphere
    of the Earth's mean radius 6 371 009 m; good to about 0.5 %.
    """
    north, to_north = math.radians(latitude), math.radians(to_latitude)
    east = math.radians(to_longitude - longitude)
    half = (
        math.sin((to_north - north) / 2) ** 2
        + math.cos(north) * math.cos(to_north) * math.sin(east / 2) ** 2
    )
    return 2 * EARTH_RADIUS_M * math.asin(min(1.0, math.sqrt(half)))


def doubts_about_looks(look: Look, width_px: int, height_px: int) -> Iterator[Doubt]:
    """Too small, too dark or too blurred to prove anything."""
    if width_px * height_px < LEAST_PIXELS:
        yield Doubt("small", f"It is only {width_px} by {height_px} pixels: details can't be read.")
    if look.is_too_dark:
        yield Doubt("dark", "It is too dark to make anything out.")
    elif look.is_blurred:
        yield Doubt("blurred", "It is blurred: neither joists nor a gauge can be read.")


def how_long(length: timedelta) -> str:
    """Such as "3 hours" or "12 days"."""
    hours = length.total_seconds() / 3600
    if hours < 48:
        return f"{hours:.0f} hour{'' if round(hours) == 1 else 's'}"
    return f"{hours / 24:.0f} days"
