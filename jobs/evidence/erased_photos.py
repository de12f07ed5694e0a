"""Photos whose bytes were erased: the row, its SHA-256 and its place in every proof stay."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils import timezone

from jobs.models import Photo, PhotoHash, PhotoInspection

ERASED_VERSION = "erased"
"""The inspector's version of the row that says so; it is always a photo's newest."""


def still_kept(photos: QuerySet[Photo]) -> QuerySet[Photo]:
    """Those whose bytes were not erased."""
    erased = PhotoInspection.objects.filter(photo=OuterRef("pk"), inspector_version=ERASED_VERSION)
    return photos.exclude(Exists(erased))


def is_erased(inspection: PhotoInspection | None) -> bool:
    """Whether a photo's newest inspection says that it was erased."""
    return inspection is not None and inspection.inspector_version == ERASED_VERSION


def mark_erased(photos: Iterable[Photo]) -> list[str]:
    """Say of each that it was erased, and forget what it looked like.

    Returns the names of stored files that no other photo needs; who calls has them removed once
    the transaction is committed.
    """
    erased = list(photos)
    day = timezone.localdate()
    said = f"This photo was erased on {day:%-d %b %Y}. Its SHA-256 is kept."
    PhotoInspection.objects.bulk_create(
        PhotoInspection(
            photo=photo,
            inspector_version=ERASED_VERSION,
            readable=True,
            warnings=[{"code": "erased", "text": said}],
        )
        for photo in erased
    )
    PhotoHash.objects.filter(photo__in=erased).delete()
    return _no_longer_needed(erased)


def _no_longer_needed(erased: list[Photo]) -> list[str]:
    names = {photo.original_name for photo in erased}
    for row in PhotoInspection.objects.filter(photo__in=erased):
        names |= {row.display_name, row.thumb_name}
    names.discard("")
    kept = still_kept(Photo.objects.all())
    needed = set(kept.filter(original_name__in=names).values_list("original_name", flat=True))
    copies = PhotoInspection.objects.filter(
        Q(display_name__in=names) | Q(thumb_name__in=names), photo__in=kept
    )
    for copy in copies:
        needed |= {copy.display_name, copy.thumb_name}
    return sorted(names - needed)
