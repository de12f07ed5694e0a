"""Looking at a stored photo: what it says, how it looks, and small copies for pages."""

from __future__ import annotations

import io
from collections.abc import Sequence
from datetime import timedelta
from typing import Any

from django.utils import timezone

from jobs.evidence.content_store import keep, open_kept
from jobs.evidence.doubts import (
    Doubt,
    doubts_about_exif,
    doubts_about_likeness,
    doubts_about_looks,
)
from jobs.evidence.looks import perceptual_hash
from jobs.evidence.pictures import DISPLAY_PX, THUMB_PX, Picture, Unreadable, as_jpeg, read_picture
from jobs.models import Photo, PhotoInspection

INSPECTOR_VERSION = "1"
COPY_LIMIT_BYTES = 20_000_000
COPIES_FOLDER = "photo-copies"
WAITING_TOO_LONG = timedelta(minutes=5)
MOST_AT_ONCE = 500


def inspect(photo: Photo) -> PhotoInspection:
    """Inspect a photo once by this version of the inspector; again gives the same row back.

    A photo that can't be read stays stored; its inspection says so.
    """
    done: PhotoInspection | None = photo.inspections.filter(
        inspector_version=INSPECTOR_VERSION
    ).first()
    if done is not None:
        return done
    try:
        with open_kept(photo.original_name) as file:
            picture = read_picture(file, photo.media_type)
    except Unreadable:
        found = _unreadable()
    else:
        found = _readable(photo, picture)
    inspection, _ = PhotoInspection.objects.get_or_create(
        photo=photo, inspector_version=INSPECTOR_VERSION, defaults=found
    )
    return inspection


def _unreadable() -> dict[str, Any]:
    doubt = Doubt(
        "unreadable",
        "The file can't be opened as a picture: it is damaged. It is kept as it came; take the "
        "photo again.",
    )
    return {"readable": False, "warnings": [doubt.to_dict()]}


def _readable(photo: Photo, picture: Picture) -> dict[str, Any]:
    hash_value = perceptual_hash(picture.image)
    doubts: Sequence[Doubt] = (
        *doubts_about_exif(picture.exif, photo.visit, photo.job.property),
        *doubts_about_looks(picture.image, picture.width_px, picture.height_px),
        *doubts_about_likeness(photo, picture.image, hash_value),
    )
    return {
        "readable": True,
        "width_px": picture.width_px,
        "height_px": picture.height_px,
        "exif_taken_at": picture.exif.taken_at,
        "exif_latitude_deg": picture.exif.latitude_deg,
        "exif_longitude_deg": picture.exif.longitude_deg,
        "device": picture.exif.device,
        "perceptual_hash": hash_value,
        "warnings": [doubt.to_dict() for doubt in doubts],
        "display_name": _copy(picture, DISPLAY_PX),
        "thumb_name": _copy(picture, THUMB_PX),
    }


def _copy(picture: Picture, longest_px: int) -> str:
    jpeg = as_jpeg(picture.image, longest_px)
    return keep(io.BytesIO(jpeg), COPIES_FOLDER, limit_bytes=COPY_LIMIT_BYTES).name


def waiting_photo_ids() -> list[int]:
    """Photos that this version should have inspected a while ago, the oldest first."""
    stale = timezone.now() - WAITING_TOO_LONG
    waiting = Photo.objects.filter(received_at__lt=stale).exclude(
        inspections__inspector_version=INSPECTOR_VERSION
    )
    return list(waiting.order_by("pk").values_list("pk", flat=True)[:MOST_AT_ONCE])
