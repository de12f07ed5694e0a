"""The index of perceptual hashes: one row a photo, made anew by every version of the inspector.

No evidence: what an inspection found stands in its own row, which is never changed. A photo has
a row if its newest inspection has a hash; before version 4 of the inspector it could also have
been too plain to be found.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import connection, models

from jobs.models.evidence import Photo, PhotoInspection
from jobs.models.jobs import Job

BANDS = 4
BAND_BITS = 16
BAND_MASK = (1 << BAND_BITS) - 1
SURE_RADIUS = 7
"""So many of the 64 bits may differ, and the hash is found for certain. Seven can't spoil all four
bands by two bits or more, so one band differs by one bit at most, and looking for 17 keys in each
band finds it (multi-index hashing; Norouzi, Punjani and Fleet, "Fast Exact Search in Hamming
Space", 2014)."""
RADIUS = 10
"""And so many at most: of hashes 8, 9 and 10 bits away 96, 88 and 78 in 100 show up at the same
cost, if the bits fall anywhere alike; a closer look at the pictures tells the right ones."""


@dataclass(frozen=True, slots=True)
class Near:
    """A stored photo whose hash is near one that was asked for. distance: bits that differ."""

    photo_id: int
    distance: int


class PhotoHashQuerySet(models.QuerySet[Any]):
    def near(self, hashes: Sequence[int], *, not_of_job: int, most: int) -> list[Near]:
        """Photos of other jobs with a hash at most RADIUS bits from one of these; nearest first."""
        with connection.cursor() as cursor:
            cursor.execute(NEAR, self.parameters(hashes, not_of_job=not_of_job, most=most))
            return [Near(*row) for row in cursor.fetchall()]

    @staticmethod
    def parameters(hashes: Sequence[int], *, not_of_job: int, most: int) -> list[Any]:
        """What NEAR is asked with: for each band keys, the hash each belongs to, and RADIUS."""
        asked: list[Any] = []
        for band in range(BANDS):
            pairs = sorted({(key, value) for value in hashes for key in _keys(value, band)})
            asked += [[key for key, _ in pairs], [value for _, value in pairs], RADIUS]
        return [*asked, not_of_job, most]


def _keys(value: int, band: int) -> Iterable[int]:
    """The band of a hash, and all that differ from it by one bit."""
    key = value >> band * BAND_BITS & BAND_MASK
    yield key
    for bit in range(BAND_BITS):
        yield key ^ 1 << bit


def _of_band(band: int) -> str:
    return f"""
        SELECT h.photo_id, h.job_id, bit_count((h.value # asked.value)::bit(64)) AS distance
        FROM unnest(%s::integer[], %s::bigint[]) AS asked(key, value)
        JOIN jobs_photohash h ON h.band_{band} = asked.key
        WHERE bit_count((h.value # asked.value)::bit(64)) <= %s
    """


NEAR = f"""
    SELECT photo_id, min(distance) AS distance
    FROM ({" UNION ALL ".join(_of_band(band) for band in range(BANDS))}) AS near
    WHERE job_id <> %s
    GROUP BY photo_id
    ORDER BY distance, photo_id
    LIMIT %s
"""


def _band(number: int) -> models.GeneratedField:
    """16 of the 64 bits, the lowest first. The database works it out."""
    shifted = models.F("value").bitrightshift(number * BAND_BITS)
    return models.GeneratedField(
        expression=shifted.bitand(BAND_MASK), output_field=models.IntegerField(), db_persist=True
    )


class PhotoHash(models.Model):
    """What a photo looks like in 64 bits, signed, and its four bands to be found by."""

    photo = models.OneToOneField(
        Photo, on_delete=models.CASCADE, primary_key=True, related_name="look"
    )
    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="photo_hashes")
    inspection = models.ForeignKey(PhotoInspection, on_delete=models.CASCADE, related_name="+")
    value = models.BigIntegerField()
    band_0 = _band(0)
    band_1 = _band(1)
    band_2 = _band(2)
    band_3 = _band(3)

    objects = PhotoHashQuerySet.as_manager()

    class Meta:
        # All that a search reads stands in the index.
        indexes = [
            models.Index(
                fields=[f"band_{band}"],
                include=["value", "job", "photo"],
                name=f"photo_hash_{band}",
            )
            for band in range(BANDS)
        ]
