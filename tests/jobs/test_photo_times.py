"""When a photo was taken, by its EXIF, and where its time zone comes from.

Tags and formats: CIPA DC-008-2019 (Exif 2.32), sections 4.6.5 and 4.6.6: DateTimeOriginal
(0x9003), OffsetTimeOriginal (0x9011), DateTimeDigitized (0x9004), OffsetTimeDigitized (0x9012),
DateTime (0x0132), OffsetTime (0x9010), GPSTimeStamp (7) and GPSDateStamp (29), both UTC.
"""

from __future__ import annotations

import io
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from jobs.evidence.doubts import doubts_about_exif
from jobs.evidence.exif import ASSUMED, BY_GPS, BY_OFFSET, ExifFacts, read_exif
from jobs.evidence.inspection import inspect
from jobs.models import Photo
from tests.jobs.on_site_scene import ARRIVED, scene_on_site, stored
from tests.pictures import loft_jpeg_at

WINTER, SUMMER = "2026:01:15 12:00:00", "2026:07:01 12:00:00"
IN_LONDON = datetime(2026, 7, 1, 11, tzinfo=UTC)  # what SUMMER is there


def facts(
    main: dict[int, Any] | None = None,
    details: dict[int, Any] | None = None,
    place: dict[int, Any] | None = None,
) -> ExifFacts:
    """What is read from a JPEG with these tags."""
    exif = Image.Exif()
    exif[0x010F] = "Invented"
    exif.update(main or {})
    exif.get_ifd(0x8769).update(details or {})
    exif.get_ifd(0x8825).update(place or {})
    file = io.BytesIO()
    Image.new("RGB", (8, 8)).save(file, "JPEG", exif=exif)
    with Image.open(file) as image:
        return read_exif(image)


def satellites(hours: int, minutes: int, seconds: int, day: str = "2026:07:01") -> dict[int, Any]:
    return {7: tuple(IFDRational(part, 1) for part in (hours, minutes, seconds)), 29: day}


@pytest.mark.parametrize(
    ("tags", "taken_at", "source"),
    [
        ({0x9003: SUMMER, 0x9011: "+02:00"}, datetime(2026, 7, 1, 10, tzinfo=UTC), BY_OFFSET),
        ({0x9003: SUMMER, 0x9011: "-03:30"}, datetime(2026, 7, 1, 15, 30, tzinfo=UTC), BY_OFFSET),
        ({0x9003: SUMMER, 0x9011: "Z"}, datetime(2026, 7, 1, 12, tzinfo=UTC), BY_OFFSET),
        ({0x9004: SUMMER, 0x9012: "+01:00"}, datetime(2026, 7, 1, 11, tzinfo=UTC), BY_OFFSET),
        ({0x9003: SUMMER}, IN_LONDON, ASSUMED),
        ({0x9003: WINTER}, datetime(2026, 1, 15, 12, tzinfo=UTC), ASSUMED),
        ({0x9003: SUMMER, 0x9011: "   :  "}, IN_LONDON, ASSUMED),
        ({0x9003: "    :  :     :  :  ", 0x9004: SUMMER}, IN_LONDON, ASSUMED),
        ({0x9003: "0000:00:00 00:00:00"}, None, ""),
        ({0x9003: "1970:01:01 00:00:00"}, None, ""),
        ({0x9003: "0001:01:01 00:00:00", 0x9011: "+14:00"}, None, ""),
        ({0x9003: "9999:12:31 23:59:59", 0x9011: "-12:00"}, None, ""),
        ({0x9003: "yesterday"}, None, ""),
        ({}, None, ""),
    ],
)  # fmt: skip
def test_the_time_and_where_its_zone_comes_from(tags, taken_at, source):
    found = facts(details=tags)

    assert (found.taken_at, found.time_source) == (taken_at, source)


def test_the_time_of_the_last_change_stands_in_for_the_taking():
    found = facts(main={0x0132: SUMMER}, details={0x9010: "+01:00"})

    assert (found.taken_at, found.time_source) == (datetime(2026, 7, 1, 11, tzinfo=UTC), BY_OFFSET)


@pytest.mark.parametrize(
    ("gps", "taken_at", "source"),
    [
        (satellites(9, 59, 30), datetime(2026, 7, 1, 10, tzinfo=UTC), BY_GPS),
        (satellites(6, 30, 10), datetime(2026, 7, 1, 6, 30, tzinfo=UTC), BY_GPS),
        (satellites(22, 0, 0, "2026:06:30"), datetime(2026, 6, 30, 22, tzinfo=UTC), BY_GPS),
        (satellites(9, 53, 0), IN_LONDON, ASSUMED),
        (satellites(9, 59, 30, "2026:05:01"), IN_LONDON, ASSUMED),
        ({7: (IFDRational(1, 0),) * 3, 29: "2026:07:01"}, IN_LONDON, ASSUMED),
        ({**satellites(10, 0, 0), 29: "today"}, IN_LONDON, ASSUMED),
    ],
    ids=["two hours ahead", "half an hour more", "before midnight", "fix seven minutes old",
         "two months apart", "divided by nothing", "no day"],
)  # fmt: skip
def test_satellites_tell_the_zone_where_no_offset_does(gps, taken_at, source):
    found = facts(details={0x9003: SUMMER}, place=gps)

    assert (found.taken_at, found.time_source) == (taken_at, source)


def test_the_device_is_printable_words():
    found = facts(main={0x010F: "Inv\u202eented\x07", 0x0110: "A\x00\nB" + "x" * 200})

    assert found.device.isprintable()
    assert len(found.device) <= 80


@pytest.mark.django_db
def test_the_source_is_kept_with_the_time():
    photo = stored(scene_on_site(), loft_jpeg_at(ARRIVED))

    inspection = inspect(Photo.objects.get(pk=photo.pk))

    assert (inspection.exif_taken_at, inspection.exif_time_source) == (ARRIVED, BY_OFFSET)


@pytest.mark.django_db
@pytest.mark.parametrize(("ahead", "doubted"), [(timedelta(0), True), (timedelta(days=2), False)])
def test_a_phone_whose_clock_is_off_is_not_doubted_for_it(ahead, doubted):
    """The camera goes by the phone's clock; what the phone was ahead is taken off."""
    scene = scene_on_site()
    taken = ExifFacts(True, ARRIVED + timedelta(days=2), BY_OFFSET)

    found = list(doubts_about_exif(taken, scene.visit, scene.job.property, ahead))

    assert [doubt.code for doubt in found] == (["after_visit"] if doubted else [])
