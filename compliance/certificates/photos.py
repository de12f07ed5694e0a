"""The small photos of the annex: which are shown, what is said of each, and their very bytes.

Printed are the small copies that the inspection made: without position, device or any other word
of the file. The contents name each by its SHA-256, so that made again the same bytes are printed.
"""

from __future__ import annotations

import base64
import hashlib
from contextlib import suppress
from dataclasses import dataclass

from django.utils import timezone

from compliance.models import Assessment
from jobs.errors import Conflict
from jobs.evidence.content_store import open_kept
from jobs.models import Photo, PhotoInspection

MOST_PHOTOS = 12
"""What stays readable on half a page; the others are kept with the job."""
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


def photos_shown(assessment: Assessment) -> tuple[PhotoLine, ...]:
    """Of the photos a verdict rests on those that are printed, point by point.

    One whose small copy was not made yet, or is gone, is left out.
    """
    ids = [photo["id"] for photo in assessment.inputs["photos"] if photo["moment"] in MOMENTS]
    photos = list(Photo.objects.filter(pk__in=ids).prefetch_related("inspections").order_by("pk"))
    lines = []
    for photo in _chosen(photos):
        with suppress(OSError):
            line = _line(photo)
            if line is not None:
                lines.append(line)
    return tuple(lines)


def _chosen(photos: list[Photo]) -> list[Photo]:
    """The newest of each point and moment, then others while there is room; in order of points."""
    newest = {(photo.point_label, photo.moment): photo for photo in photos}
    first = list(newest.values())[:MOST_PHOTOS]
    others = [photo for photo in reversed(photos) if photo not in first]
    chosen = [*first, *others[: MOST_PHOTOS - len(first)]]
    return sorted(chosen, key=lambda p: (p.point_label or "~", MOMENTS.index(p.moment), p.pk))


def _line(photo: Photo) -> PhotoLine | None:
    inspection = _inspection_of(photo)
    if inspection is None or not inspection.thumb_name:
        return None
    with open_kept(inspection.thumb_name) as file:
        sha256 = hashlib.sha256(file.read()).hexdigest()
    place = f"at point {photo.point_label}" if photo.point_label else "at no point"
    when = f"{photo.get_moment_display()} the work"
    taken = _when(photo)
    said = f", {taken}" if taken else ""
    return PhotoLine(
        point=photo.point_label,
        moment=photo.moment,
        caption=f"{photo.point_label or 'No point'}, {photo.moment}"
        + (f", {taken}" if taken else ""),
        alt=f"Photo of the loft {place}. {when}{said}.",
        copy=inspection.thumb_name,
        copy_sha256=sha256,
        original_sha256=photo.sha256,
        width_px=inspection.width_px or 4,
        height_px=inspection.height_px or 3,
    )


def _inspection_of(photo: Photo) -> PhotoInspection | None:
    """The newest readable one. A photo that no task has inspected yet is not printed."""
    done = [one for one in photo.inspections.all() if one.readable]
    return done[-1] if done else None


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
