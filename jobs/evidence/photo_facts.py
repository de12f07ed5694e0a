"""When and where a photo was taken, each answer with its source: EXIF, phone clock, our clock."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from jobs.evidence.clock import NO_TIME, ToldTime, told_time
from jobs.evidence.doubts import distance_m
from jobs.models import Photo, PhotoInspection, Property

STORED = "Stored at the office"
ZONES = {"assumed": "time zone assumed", "gps": "time zone by its satellite time"}


@dataclass(frozen=True, slots=True)
class PhotoTime:
    """what: taken, saved on the phone, stored at the office. zone: how its time zone is known."""

    what: str
    told: ToldTime
    zone: str = ""


@dataclass(frozen=True, slots=True)
class PhotoFacts:
    """times: in the order of trust for when it was taken. place: in words, with its source.

    away_m: from the home [m]; None where either place is not known.
    """

    times: tuple[PhotoTime, ...]
    place: str
    device: str
    away_m: float | None = None

    @property
    def taken(self) -> PhotoTime:
        return self.times[0]


def photo_facts(photo: Photo, inspection: PhotoInspection | None, home: Property) -> PhotoFacts:
    """What is known of a photo's time and place. It is stored at the office at the latest."""
    return PhotoFacts(
        times=tuple(_times(photo, inspection)),
        place=_place(inspection, home),
        device=inspection.device if inspection else "",
        away_m=_away_m(inspection, home),
    )


def _times(photo: Photo, inspection: PhotoInspection | None) -> Iterator[PhotoTime]:
    ahead = photo.phone_ahead or NO_TIME
    told = photo.phone_sent_at is not None
    if inspection is not None and inspection.exif_taken_at is not None:
        said = inspection.exif_taken_at
        words = ToldTime(said - ahead, "EXIF", said, ahead, checked=told)
        yield PhotoTime("Taken", words, ZONES.get(inspection.exif_time_source, ""))
    if photo.phone_taken_at is not None:
        yield PhotoTime("Saved on the phone", told_time(photo, "phone_taken_at"))
    yield PhotoTime(STORED, ToldTime(photo.received_at, "our clock", photo.received_at))


def _place(inspection: PhotoInspection | None, home: Property) -> str:
    if inspection is None or inspection.exif_latitude_deg is None:
        return "not told (no position in the EXIF)"
    away_m = _away_m(inspection, home)
    if away_m is None:
        at = f"{inspection.exif_latitude_deg:.4f}, {inspection.exif_longitude_deg:.4f}"
        return f"{at} (EXIF); the home’s own place is not known"
    return f"{metres(away_m)} from the home (EXIF)"


def metres(away_m: float) -> str:
    return f"{away_m:.0f} m" if away_m < 1000 else f"{away_m / 1000:.1f} km"


def _away_m(inspection: PhotoInspection | None, home: Property) -> float | None:
    at = (inspection.exif_latitude_deg, inspection.exif_longitude_deg) if inspection else (None,)
    known = (*at, home.latitude_deg, home.longitude_deg)
    return None if None in known else distance_m(*known)  # type: ignore[arg-type]
