"""What the on-site pages and the job's story show of photos and readings."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.urls import reverse
from django.utils import timezone

from calculations.drawing import PhotoPoint, draw_evidence
from jobs.evidence.clock import NO_TIME, ToldTime, told_time
from jobs.evidence.order_of_work import LAYING, OrderOfWork, Step
from jobs.evidence.site_record import SiteRecord, engine_reading
from jobs.models import DepthReading, Photo, PhotoInspection, Visit

MOST_PLACES_LISTED = 4
PAGES = {"loft": "on_site_arrival"}
"""Steps whose page has another name than their own."""
TITLES = {"before": "Before photos", "after": "After photos", "other": "Other photos"}


@dataclass(frozen=True, slots=True)
class WorkRow:
    """A step with the address of its page; no address once nothing more can be sent there.

    points: labels of photo points still missing, for the phone to count without signal.
    """

    step: Step
    url: str
    points: str = ""


def work_rows(record: SiteRecord, work: OrderOfWork) -> list[WorkRow]:
    visit = record.visit
    return [
        WorkRow(step, step_url(visit, step) if _takes(visit, step) else "", _missing(record, step))
        for step in work.steps
    ]


def missing_rows(record: SiteRecord, work: OrderOfWork) -> list[WorkRow]:
    """The rows of what is not there yet besides the handover itself."""
    return [row for row in work_rows(record, work) if row.step in work.missing_steps]


def _missing(record: SiteRecord, step: Step) -> str:
    if step.key not in ("before", "after"):
        return ""
    return " ".join(point.label for point in record.points_missing(step.key))


def step_url(visit: Visit, step: Step) -> str:
    if step.key in ("before", "after"):
        return reverse("on_site_photos", args=[visit.pk, step.key])
    if step.key in LAYING:
        return reverse("on_site_step", args=[visit.pk, step.key])
    return reverse(PAGES.get(step.key, f"on_site_{step.key}"), args=[visit.pk])


def _takes(visit: Visit, step: Step) -> bool:
    if visit.status == Visit.Status.DONE:
        return step.key not in ("arrival", "loft", "check", "handover")
    if visit.status == Visit.Status.STOPPED:
        return step.key == "leave"
    return True


@dataclass(frozen=True, slots=True)
class ShownPhoto:
    """A photo as a page shows it; `url` is empty until its small copies are made."""

    photo: Photo
    inspection: PhotoInspection | None

    @classmethod
    def of(cls, photo: Photo) -> ShownPhoto:
        rows = list(photo.inspections.all())
        return cls(photo, rows[-1] if rows else None)

    def _address(self, size: str, name: str) -> str:
        return reverse("photo", args=[self.photo.pk, size]) if name else ""

    @property
    def url(self) -> str:
        return self._address("display", self.inspection.display_name) if self.inspection else ""

    @property
    def thumb_url(self) -> str:
        return self._address("thumb", self.inspection.thumb_name) if self.inspection else ""

    @property
    def full_url(self) -> str:
        return self.url

    @property
    def original_url(self) -> str:
        return reverse("photo", args=[self.photo.pk, "original"])

    @property
    def alt(self) -> str:
        point = self.photo.point_label or "no point"
        return f"{self.photo.get_moment_display()} photo at {point}"

    @property
    def taken(self) -> ToldTime | None:
        """When the camera says it was taken, by our clock, with the source."""
        said = self.inspection.exif_taken_at if self.inspection else None
        if said is None:
            return None
        ahead = self.photo.phone_ahead or NO_TIME
        return ToldTime(said - ahead, "EXIF", said, ahead)

    @property
    def taken_at(self) -> datetime | None:
        return self.taken.at if self.taken else None

    @property
    def taken_source(self) -> str:
        return self.taken.words if self.taken else ""

    @property
    def note(self) -> str:
        return self.photo.note

    @property
    def warnings(self) -> list[str]:
        said = [row["text"] for row in self.inspection.warnings] if self.inspection else []
        if self.photo.phone_taken_at is None:
            return said
        doubt = told_time(self.photo, "phone_taken_at").doubt
        return [*said, doubt] if doubt else said

    @property
    def resembled(self) -> frozenset[int]:
        """Keys of photos that show the same; the reader need not be allowed to see them."""
        rows = self.inspection.warnings if self.inspection else []
        return frozenset(row["photo"] for row in rows if "photo" in row)

    @property
    def state(self) -> str:
        """What has become of it, for who sent it."""
        at = f"{timezone.localtime(self.photo.received_at):%H:%M}"
        if self.inspection is None:
            return f"Stored at the office {at}, being looked at"
        return f"Stored at the office {at}"


@dataclass(frozen=True, slots=True)
class PointWithPhotos:
    """A photo point and what was taken there. label is empty for photos without a point."""

    label: str
    why: str
    photos: tuple[ShownPhoto, ...]


@dataclass(frozen=True, slots=True)
class PhotoStep:
    """One moment's photo points on the drawing, with the photos so far."""

    moment: str
    title: str
    svg: str
    points: tuple[PointWithPhotos, ...]
    missing: int
    waiting: bool

    @classmethod
    def of(cls, record: SiteRecord, moment: str) -> PhotoStep:
        shown = [ShownPhoto.of(photo) for photo in record.photos_at(moment)]
        wanted = record.points_at(moment)
        return cls(
            moment=moment,
            title=TITLES[moment],
            svg=draw_evidence(record.loft, (), wanted) if record.loft and wanted else "",
            points=tuple(points_with_photos(wanted, shown, any_other=True)),
            missing=len(record.points_missing(moment)),
            waiting=any(photo.inspection is None for photo in shown),
        )


def points_with_photos(
    wanted: Iterable[PhotoPoint], shown: Sequence[ShownPhoto], *, any_other: bool = False
) -> Iterable[PointWithPhotos]:
    """Each point with its photos; then the rest, which lie at no point (always if `any_other`)."""
    labels = set()
    for point in wanted:
        labels.add(point.label)
        here = tuple(photo for photo in shown if photo.photo.point_label == point.label)
        yield PointWithPhotos(point.label, point.why, here)
    rest = tuple(photo for photo in shown if photo.photo.point_label not in labels)
    if rest or any_other:
        yield PointWithPhotos("", "Anything else worth showing", rest)


@dataclass(frozen=True, slots=True)
class WantedPlace:
    """A place that still wants a reading, in millimetres and in words."""

    area: str
    x_mm: float
    y_mm: float
    why: str

    @property
    def x_words(self) -> str:
        return f"{self.x_mm / 1000:.2f} m"

    @property
    def y_words(self) -> str:
        return f"{self.y_mm / 1000:.2f} m"


@dataclass(frozen=True, slots=True)
class ReadingsStep:
    """The drawing with the readings so far, where more are wanted, and the list."""

    svg: str
    wanted_json: str
    wanted: tuple[WantedPlace, ...]
    readings: tuple[DepthReading, ...]

    @classmethod
    def of(cls, record: SiteRecord) -> ReadingsStep:
        wanted = record.still_to_measure
        places = [{"area": p.area, "x": p.x_mm, "y": p.y_mm} for p in wanted]
        return cls(
            svg=readings_drawing(record),
            wanted_json=json.dumps(places),
            wanted=tuple(
                WantedPlace(p.area, p.x_mm, p.y_mm, p.why) for p in wanted[:MOST_PLACES_LISTED]
            ),
            readings=tuple(reversed(record.readings)),
        )


def readings_drawing(record: SiteRecord) -> str:
    if record.loft is None:
        return ""
    depth_mm = record.target.depth_mm if record.target else None
    readings = [engine_reading(row) for row in record.readings]
    return draw_evidence(record.loft, readings, (), depth_mm, wanted=record.still_to_measure)
