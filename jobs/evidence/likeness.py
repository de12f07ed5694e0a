"""Photos that show the same as another: found by near hashes, confirmed by a closer look.

A photo taken twice for two jobs, or the "before" picture sent as "after", perhaps made smaller,
brighter or cropped on the way.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import lru_cache
from typing import Any

from django.db.models import QuerySet

from jobs.evidence.alignment import Sample, show_the_same
from jobs.evidence.content_store import open_kept
from jobs.evidence.decoding.client import CannotOpen, grey_sample
from jobs.evidence.doubts import Doubt
from jobs.evidence.looks import Look, distance
from jobs.models import Photo, PhotoHash, PhotoInspection
from jobs.models.photo_hashes import Near

SAME_JOB_BITS = 12
"""Within a job few photos are compared, so more of them may be looked at closely."""
UNSEEN_BITS = 3
"""So near a hash decides by itself where the other's small copy is lost."""
MOST_COMPARED = 12
SAMPLES_KEPT = 256
"""Samples of 12 kB that a process keeps: photos of one loft, or of like lofts, come together."""


def doubts_about_likeness(photo: Photo, look: Look) -> Iterator[Doubt]:
    """The same picture as one of another moment of this job, or as one of another job."""
    if not look.can_be_compared:
        yield Doubt(
            "not_compared", "It is too blurred or too plain to be compared with other photos."
        )
        return
    twin = first_alike(_near_in_job(photo, look), look.sample)
    if twin is not None:
        other = twin.photo.get_moment_display().lower()
        yield Doubt(
            "like_other_moment",
            f"It looks the same as the {other} picture at {twin.photo.point_label or 'no point'}.",
            twin.photo_id,
        )
    stranger = first_alike(_near_elsewhere(photo, look), look.sample)
    if stranger is not None:
        yield Doubt(
            "like_other_job", "It looks the same as a photo of another job.", stranger.photo_id
        )


def stored_alike(look: Look, job_id: int) -> tuple[PhotoInspection | None, PhotoInspection | None]:
    """The stored photo of this job, and the one of another job, that show the same as a picture
    that is no photo of a visit; None where there is none, or it says too little to be compared."""
    if not look.can_be_compared:
        return None, None
    own = PhotoHash.objects.filter(job_id=job_id).select_related("inspection__photo")
    elsewhere = PhotoHash.objects.near(look.hashes, not_of_job=job_id, most=MOST_COMPARED)
    return (
        first_alike(_nearest_of(own, look), look.sample),
        first_alike(_of_photos(elsewhere), look.sample),
    )


def remember(photo: Photo, inspection: PhotoInspection, look: Look) -> None:
    """Let later photos find this one; one that says too little is not found."""
    if look.can_be_compared:
        PhotoHash.objects.update_or_create(
            photo=photo,
            defaults={"job_id": photo.job_id, "inspection": inspection, "value": look.hashes[0]},
        )
    else:
        PhotoHash.objects.filter(photo=photo).delete()


Candidate = tuple[PhotoInspection, int]


def _near_in_job(photo: Photo, look: Look) -> list[Candidate]:
    rows = PhotoHash.objects.filter(job_id=photo.job_id).exclude(photo_id=photo.pk)
    rows = rows.exclude(photo__moment=photo.moment).select_related("inspection__photo")
    return _nearest_of(rows, look)


def _nearest_of(rows: QuerySet[Any], look: Look) -> list[Candidate]:
    found = [(row.inspection, nearest(look, row.value)) for row in rows.order_by("pk")]
    near = [(inspection, bits) for inspection, bits in found if bits <= SAME_JOB_BITS]
    return sorted(near, key=lambda candidate: candidate[1])[:MOST_COMPARED]


def _near_elsewhere(photo: Photo, look: Look) -> list[Candidate]:
    return _of_photos(
        PhotoHash.objects.near(look.hashes, not_of_job=photo.job_id, most=MOST_COMPARED)
    )


def _of_photos(near: list[Near]) -> list[Candidate]:
    rows = PhotoHash.objects.select_related("inspection").in_bulk([one.photo_id for one in near])
    return [(rows[one.photo_id].inspection, one.distance) for one in near if one.photo_id in rows]


def nearest(look: Look, value: int) -> int:
    """How many bits the nearest of a look's hashes is away from a stored one."""
    return min(distance(guessed, value) for guessed in look.hashes)


def first_alike(candidates: Iterable[tuple[Any, int]], sample: Sample) -> Any:
    """The first inspection (with a `thumb_name`) whose picture shows the same, of (inspection,
    bits that its hash differs by); None where none does."""
    for inspection, bits in candidates:
        try:
            alike = show_the_same(sample, _sample_of_copy(inspection.thumb_name))
        except (OSError, CannotOpen):
            alike = bits <= UNSEEN_BITS
        if alike:
            return inspection
    return None


@lru_cache(maxsize=SAMPLES_KEPT)
def _sample_of_copy(name: str) -> Sample:
    """Of a small copy. Its name is the hash of its bytes, so what was read once stays true."""
    with open_kept(name) as file:
        return grey_sample(file)
