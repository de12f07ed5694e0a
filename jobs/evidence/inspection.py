"""Looking at a stored photo: what it says, how it looks, and small copies for pages."""

from __future__ import annotations

import io
from collections.abc import Sequence
from datetime import timedelta
from typing import Any

from django.db import transaction
from django.utils import timezone

from jobs.evidence.content_store import keep, open_kept
from jobs.evidence.decoding.client import GAVE_UP, MEMORY, PIXELS, CannotOpen, Seen, see
from jobs.evidence.doubts import Doubt, doubts_about_exif, doubts_about_looks
from jobs.evidence.erased_photos import ERASED_VERSION, still_kept
from jobs.evidence.likeness import doubts_about_likeness, remember
from jobs.models import Photo, PhotoInspection

INSPECTOR_VERSION = "4"
COPY_LIMIT_BYTES = 20_000_000
COPIES_FOLDER = "photo-copies"
WAITING_TOO_LONG = timedelta(minutes=5)
MOST_AT_ONCE = 500

WHY_UNREADABLE = {
    PIXELS: "The file claims more pixels than any phone's camera has.",
    MEMORY: "Opening the file would take more memory than a photo may.",
    GAVE_UP: "The file could not be opened within the time and memory a photo may take.",
}
DAMAGED = "The file can't be opened as a picture: it is damaged."


def inspect(photo: Photo) -> PhotoInspection:
    """Inspect a photo once by this version of the inspector; again gives the same row back.

    One that was erased is not looked at any more. One that can't be read stays stored, and its
    inspection says so.
    """
    done: PhotoInspection | None = photo.inspections.filter(
        inspector_version__in=(INSPECTOR_VERSION, ERASED_VERSION)
    ).last()
    if done is not None:
        return done
    seen: Seen | None = None
    try:
        with open_kept(photo.original_name) as file:
            seen = see(file, photo.media_type)
    except CannotOpen as error:
        found = _unreadable(error.trouble)
    else:
        found = _readable(photo, seen)
    with transaction.atomic():
        inspection, _ = PhotoInspection.objects.get_or_create(
            photo=photo, inspector_version=INSPECTOR_VERSION, defaults=found
        )
        if seen is not None:
            remember(photo, inspection, seen.look)
    return inspection


def _unreadable(trouble: str) -> dict[str, Any]:
    why = WHY_UNREADABLE.get(trouble, DAMAGED)
    doubt = Doubt("unreadable", f"{why} It is kept as it came; take the photo again.")
    return {"readable": False, "warnings": [doubt.to_dict()]}


def _readable(photo: Photo, seen: Seen) -> dict[str, Any]:
    doubts: Sequence[Doubt] = (
        *doubts_about_exif(seen.exif, photo.visit, photo.job.property, photo.phone_ahead),
        *doubts_about_looks(seen.look, seen.width_px, seen.height_px),
        *doubts_about_likeness(photo, seen.look),
    )
    return seen_facts(seen, doubts) | {
        "exif_latitude_deg": seen.exif.latitude_deg,
        "exif_longitude_deg": seen.exif.longitude_deg,
        "perceptual_hash": seen.look.hashes[0] if seen.look.can_be_compared else None,
    }


def seen_facts(seen: Seen, doubts: Sequence[Doubt]) -> dict[str, Any]:
    """What an inspection of any picture keeps: size, EXIF, doubts, and the two copies."""
    return {
        "readable": True,
        "width_px": seen.width_px,
        "height_px": seen.height_px,
        "exif_taken_at": seen.exif.taken_at,
        "exif_time_source": seen.exif.time_source,
        "device": seen.exif.device,
        "warnings": [doubt.to_dict() for doubt in doubts],
        "display_name": _keep_copy(seen.display),
        "thumb_name": _keep_copy(seen.thumb),
    }


def _keep_copy(jpeg: bytes) -> str:
    return keep(io.BytesIO(jpeg), COPIES_FOLDER, limit_bytes=COPY_LIMIT_BYTES).name


def waiting_photo_ids() -> list[int]:
    """Photos that this version should have inspected a while ago, the oldest first."""
    stale = timezone.now() - WAITING_TOO_LONG
    waiting = still_kept(Photo.objects.filter(received_at__lt=stale)).exclude(
        inspections__inspector_version=INSPECTOR_VERSION
    )
    return list(waiting.order_by("pk").values_list("pk", flat=True)[:MOST_AT_ONCE])
