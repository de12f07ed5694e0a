"""The small photos of the annex: which are shown, what is said of each, and their very bytes.

Printed are the small copies that the inspection made: without position, device or any other word
of the file. The contents name each by its SHA-256, so that made again the same bytes are printed.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.utils import timezone

from compliance.models import Assessment
from jobs.errors import Conflict
from jobs.evidence.content_store import open_kept
from jobs.evidence.erased_photos import is_erased
from jobs.evidence.inspection import inspect
from jobs.models import Photo, PhotoInspection

ROOM = 12
"""What stays readable on half a page. Of each point and moment one is shown, beyond that too."""
MOMENTS = (Photo.Moment.BEFORE, Photo.Moment.AFTER)


class PictureLost(Conflict):
    """A small copy that a certificate prints is gone, or is another."""


@dataclass(frozen=True, slots=True)
class PhotoLine:
    """One small photo. copy: where its bytes lie; sizes in pixels; both hashes are SHA-256."""

    point: str
    moment: str
    caption: str
    alt: str
    copy: str
    copy_sha256: str
    original_sha256: str
    width_px: int
    height_px: int


def looked_at(assessment: Assessment) -> list[Photo] | None:
    """The photos that may be printed, each inspected now unless it was.

    None where one turns out to be no picture: the verdict counted it, so it is out of date.
    Inspecting is what a task does soon after a photo came; doing it twice does no harm.

    Raises:
        PictureLost: the bytes of a photo are gone.
        OSError: storage or the process that opens photos can't be reached.
    """
    photos = photos_of(assessment)
    new = [photo for photo in photos if not photo.inspections.all()]  # type: ignore[attr-defined]
    if new:
        for photo in new:
            _inspect(photo)
        photos = photos_of(assessment)
    return photos if all(_newest(photo).readable for photo in photos) else None


def photos_of(assessment: Assessment) -> list[Photo]:
    """Those of before and after that a verdict rests on, with their inspections."""
    ids = [photo["id"] for photo in assessment.inputs["photos"] if photo["moment"] in MOMENTS]
    return list(Photo.objects.filter(pk__in=ids).prefetch_related("inspections").order_by("pk"))


def photos_shown(photos: Iterable[Photo]) -> tuple[PhotoLine, ...]:
    """Of a verdict's photos those that are printed, point by point.

    The newest of each point and moment, however many, then others while there is room. Left out
    is one that was erased or not inspected (see `looked_at`).

    Raises:
        PictureLost: a small copy is gone.
    """
    return tuple(_line(photo) for photo in _chosen([p for p in photos if _copy_of(p)]))


def refuse_without_pictures(assessment: Assessment, shown: Sequence[PhotoLine]) -> None:
    """The annex shows what the rule asks for, or there is no certificate.

    Raises:
        PictureLost: too few can be shown, such as after an erasure.
    """
    rule = assessment.rule
    least = {"before": rule.least_before_photos, "after": rule.least_after_photos}
    for moment, count in least.items():
        have = sum(1 for photo in shown if photo.moment == moment)
        _refuse_missing(have < count, f"{count} taken {moment} the work, and {have} can be shown")
    if rule.photos_at_points:
        rests_on = {(p["point"], p["moment"]) for p in assessment.inputs["photos"]}
        gone = rests_on - {(photo.point, photo.moment) for photo in shown}
        at = ", ".join(sorted({point for point, moment in gone if moment in MOMENTS and point}))
        _refuse_missing(bool(at), f"those at {at}, which can't be shown")


def _refuse_missing(missing: bool, which: str) -> None:
    if missing:
        raise PictureLost(
            f"A certificate shows the photos that its rule asks for: {which}.",
            field="job",
            remedy="Photos that were erased or lost have to be taken again.",
        )


def _inspect(photo: Photo) -> None:
    try:
        inspect(photo)
    except FileNotFoundError as error:
        raise _lost(photo, "The photo") from error


def _newest(photo: Photo) -> PhotoInspection:
    return list(photo.inspections.all())[-1]  # type: ignore[attr-defined]


def _chosen(photos: list[Photo]) -> list[Photo]:
    """Those of `photos_shown`, in order of points."""
    newest = {(photo.point_label, photo.moment): photo for photo in photos}
    first = list(newest.values())
    others = [photo for photo in reversed(photos) if photo not in first]
    chosen = [*first, *others[: max(0, ROOM - len(first))]]
    return sorted(chosen, key=lambda p: (*_in_order(p.point_label), MOMENTS.index(p.moment), p.pk))


def _in_order(point: str) -> tuple[int, str]:
    """P2 before P10, and what was taken at no point last."""
    return (len(point) or 99, point)


def _line(photo: Photo) -> PhotoLine:
    inspection = _copy_of(photo)
    assert inspection is not None
    try:
        with open_kept(inspection.thumb_name) as file:
            sha256 = hashlib.sha256(file.read()).hexdigest()
    except FileNotFoundError as error:
        raise _lost(photo, "The small copy of the photo") from error
    place = f"at point {photo.point_label}" if photo.point_label else "at no point"
    when = f"{photo.get_moment_display()} the work"
    taken = _when(photo)
    said = f", {taken}" if taken else ""
    return PhotoLine(
        point=photo.point_label,
        moment=photo.moment,
        caption=f"{photo.point_label or 'No point'}, {photo.moment}{said}",
        alt=f"Photo of the loft {place}. {when}{said}.",
        copy=inspection.thumb_name,
        copy_sha256=sha256,
        original_sha256=photo.sha256,
        width_px=inspection.width_px or 4,
        height_px=inspection.height_px or 3,
    )


def _lost(photo: Photo, what: str) -> PictureLost:
    return PictureLost(
        f"{what} at {photo.point_label or 'no point'} ({photo.moment}) is not in storage.",
        field="job",
        remedy="Bring the stored files back from the backup, or take the photo again.",
    )


def _copy_of(photo: Photo) -> PhotoInspection | None:
    """The newest inspection with its small copy, unless the photo was erased or unreadable."""
    if not photo.inspections.all():  # type: ignore[attr-defined]
        return None
    newest = _newest(photo)
    kept = newest.readable and newest.thumb_name and not is_erased(newest)
    return newest if kept else None


def _when(photo: Photo) -> str:
    if photo.corrected_at is None:
        return ""
    at = timezone.localtime(photo.corrected_at)
    return f"{at.day} {at:%b %Y, %H:%M}"


def picture_svg(photo: PhotoLine) -> str:
    """The JPEG as it is kept, in an SVG of its shape: so it reaches the sheet unchanged.

    Raises:
        PictureLost: the copy is gone, such as by an erasure, or its bytes are others.
    """
    which = f"The small photo at {photo.point or 'no point'} ({photo.moment})"
    try:
        with open_kept(photo.copy) as file:
            jpeg = file.read()
    except OSError as error:
        raise PictureLost(
            f"{which} is not kept any more.",
            remedy="The signed file itself is kept and stays valid; it shows the photo.",
        ) from error
    if hashlib.sha256(jpeg).hexdigest() != photo.copy_sha256:
        raise PictureLost(
            f"{which} was changed.",
            remedy="Have the records verified: manage.py verify_ledger.",
        )
    shape = f'width="{photo.width_px}" height="{photo.height_px}"'
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        f'viewBox="0 0 {photo.width_px} {photo.height_px}"><image {shape} '
        f'xlink:href="data:image/jpeg;base64,{base64.b64encode(jpeg).decode()}"/></svg>'
    )
