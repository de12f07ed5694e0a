"""What the inspection reads from a photo and which doubts it raises; it never discards one."""

from __future__ import annotations

import io
from datetime import UTC, datetime, timedelta

import pytest
from django.core.files.storage import default_storage
from django.db import connection
from django.test.utils import CaptureQueriesContext
from PIL import Image

from jobs.evidence.doubts import distance_m
from jobs.evidence.inspection import INSPECTOR_VERSION, inspect, waiting_photo_ids
from jobs.models import Photo, PhotoHash, PhotoInspection
from jobs.tasks import inspect_photo
from tests.factories import PhotoFactory
from tests.jobs.on_site_scene import ARRIVED, Scene, booked_scene, scene_on_site, stored
from tests.pictures import (
    LATITUDE,
    LONGITUDE,
    as_format,
    blurred,
    darkened,
    loft_jpeg,
    loft_jpeg_at,
    saved,
)

pytestmark = pytest.mark.django_db

DURING = ARRIVED + timedelta(minutes=20)


def inspected(scene: Scene, content: bytes, **fields) -> PhotoInspection:
    return inspect(Photo.objects.get(pk=stored(scene, content, **fields).pk))


def doubts(inspection: PhotoInspection) -> list[str]:
    return [warning["code"] for warning in inspection.warnings]


def test_time_place_and_device_are_read_and_nothing_is_doubted():
    inspection = inspected(scene_on_site(), loft_jpeg_at(DURING))

    assert inspection.readable
    assert doubts(inspection) == []
    assert (inspection.width_px, inspection.height_px) == (1200, 900)
    assert inspection.exif_taken_at == DURING
    assert inspection.exif_latitude_deg == pytest.approx(LATITUDE, abs=1e-5)
    assert inspection.exif_longitude_deg == pytest.approx(LONGITUDE, abs=1e-5)
    assert inspection.device == "Invented Invented Phone 1"


def test_a_time_without_zone_is_the_clock_on_the_wall():
    """In July London is an hour ahead of UTC."""
    noon = datetime(2026, 7, 1, 12, 0)

    inspection = inspected(scene_on_site(), loft_jpeg(taken_at=noon))

    assert inspection.exif_taken_at == datetime(2026, 7, 1, 11, 0, tzinfo=UTC)


@pytest.mark.parametrize("kind", ["PNG", "WEBP", "HEIF"])
def test_every_format_gets_its_copies(kind):
    inspection = inspected(scene_on_site(), as_format(loft_jpeg(1), kind))

    assert inspection.readable
    assert inspection.display_name and inspection.thumb_name


@pytest.mark.parametrize("orientation", [3, 6, 8])
def test_copies_stand_upright_and_say_nothing_of_place_or_person(orientation):
    content = loft_jpeg_at(DURING, orientation=orientation)

    inspection = inspected(scene_on_site(), content)

    upright = (900, 1200) if orientation in (6, 8) else (1200, 900)
    assert (inspection.width_px, inspection.height_px) == upright
    for name, longest in ((inspection.display_name, 1200), (inspection.thumb_name, 320)):
        with default_storage.open(name) as file, Image.open(file) as copy:
            assert max(copy.size) == longest
            assert (copy.size[0] > copy.size[1]) == (upright[0] > upright[1])
            assert not copy.getexif()
            assert not {"exif", "comment", "icc_profile"} & set(copy.info)


@pytest.mark.parametrize(
    ("content", "doubt", "words"),
    [
        (loft_jpeg_at(DURING - timedelta(days=3)), "before_visit", "3 days before the visit"),
        (loft_jpeg_at(DURING - timedelta(hours=3)), "before_visit", "3 hours before the visit"),
        (loft_jpeg_at(DURING + timedelta(days=1)), "after_visit", "20 hours after the visit"),
        (loft_jpeg_at(DURING, latitude_deg=52.70), "far_away", "7.8 km from the property"),
        (as_format(loft_jpeg(1), "JPEG"), "no_exif", "no EXIF"),
        (loft_jpeg(1), "no_time", "does not say when"),
        (darkened(loft_jpeg(1)), "dark", "too dark"),
        (blurred(loft_jpeg(1)), "blurred", "blurred"),
        (saved(Image.open(io.BytesIO(loft_jpeg(1))).resize((320, 240)), "JPEG"), "small", "320"),
    ],
)
def test_each_doubt_gives_its_reason_and_discards_nothing(content, doubt, words):
    inspection = inspected(scene_on_site(), content)

    reasons = {warning["code"]: warning["text"] for warning in inspection.warnings}
    assert words in reasons[doubt]
    assert inspection.readable
    assert Photo.objects.filter(pk=inspection.photo_id).exists()


@pytest.mark.parametrize("minutes", [-59, 0, 5 * 60])
def test_a_little_early_or_late_is_no_doubt(minutes):
    inspection = inspected(scene_on_site(), loft_jpeg_at(ARRIVED + timedelta(minutes=minutes)))

    assert doubts(inspection) == []


def test_an_after_picture_that_is_the_before_picture_is_doubted():
    scene = scene_on_site()
    before = inspected(scene, loft_jpeg_at(DURING, 5))
    again = as_format(loft_jpeg_at(DURING, 5), "JPEG", quality=60)

    after = inspected(scene, again, moment="after")

    likeness = [w for w in after.warnings if w["code"] == "like_other_moment"]
    assert [w["photo"] for w in likeness] == [before.photo_id]
    assert "before picture at P1" in likeness[0]["text"]


def test_the_same_loft_before_and_after_is_not_doubted():
    scene = scene_on_site()
    inspected(scene, loft_jpeg_at(DURING, 5))

    after = inspected(scene, loft_jpeg_at(DURING, 5, moment="after", depth_mm=280), moment="after")

    assert doubts(after) == []


def test_a_photo_of_another_job_is_doubted_without_naming_the_job():
    first = scene_on_site()
    inspected(first, loft_jpeg_at(DURING, 6))

    copy = inspected(scene_on_site(), as_format(loft_jpeg_at(DURING, 6), "JPEG", quality=50))

    reason = next(w["text"] for w in copy.warnings if w["code"] == "like_other_job")
    assert reason == "It looks the same as a photo of another job."


def test_a_lost_small_copy_of_another_photo_stops_no_inspection():
    first = inspected(scene_on_site(), loft_jpeg_at(DURING, 6))
    default_storage.delete(first.thumb_name)

    copy = inspected(scene_on_site(), as_format(loft_jpeg_at(DURING, 6), "JPEG", quality=50))

    assert "like_other_job" in doubts(copy)


def test_pictures_too_blurred_to_compare_say_so_and_are_like_no_other():
    """Of so blurred a picture nothing is left but where it is lighter, as in any other loft."""
    first = inspected(scene_on_site(), blurred(loft_jpeg_at(DURING, 6), radius=60))

    other = inspected(scene_on_site(), blurred(loft_jpeg_at(DURING, 6), radius=60))

    assert "not_compared" in doubts(first)
    assert "not_compared" in doubts(other)
    assert "like_other_job" not in doubts(other)
    assert not PhotoHash.objects.exists()


def test_a_blurred_copy_of_a_photo_of_another_job_is_still_found():
    inspected(scene_on_site(), loft_jpeg_at(DURING, 6))

    copy = inspected(scene_on_site(), blurred(loft_jpeg_at(DURING, 6)))

    assert "like_other_job" in doubts(copy)
    assert "blurred" in doubts(copy)


def test_a_picture_without_any_shape_has_no_hash():
    inspection = inspected(scene_on_site(), saved(Image.new("RGB", (900, 700), "grey"), "JPEG"))

    assert inspection.perceptual_hash is None
    assert "not_compared" in doubts(inspection)


def test_inspecting_twice_gives_the_same_row():
    photo = stored(scene_on_site(), loft_jpeg(1))

    inspect_photo(photo.pk)
    inspect_photo(photo.pk)

    assert photo.inspections.count() == 1
    assert photo.inspections.get().inspector_version == INSPECTOR_VERSION


def test_a_second_inspection_costs_one_query():
    photo = stored(scene_on_site(), loft_jpeg(1))
    inspect(photo)

    with CaptureQueriesContext(connection) as queries:
        inspect(photo)

    assert len(queries) == 1


def test_storing_starts_the_inspection_on_commit(django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True):
        photo = stored(scene_on_site(), loft_jpeg(2))

    assert photo.inspections.get().readable


def test_a_broker_that_is_down_loses_neither_photo_nor_inspection(
    monkeypatch, django_capture_on_commit_callbacks
):
    def down(*args):
        raise ConnectionError("broker is down")

    monkeypatch.setattr(inspect_photo, "delay", down)
    with django_capture_on_commit_callbacks(execute=True):
        fresh = stored(booked_scene(), loft_jpeg(2))
    old = PhotoFactory(received_at=datetime(2026, 1, 1, tzinfo=UTC))

    assert not fresh.inspections.exists()
    assert waiting_photo_ids() == [old.pk]


def test_distance_by_great_circle():
    """On a sphere of 6 371.009 km a degree of latitude is pi R / 180, a quarter pi R / 2."""
    assert distance_m(52, -1, 53, -1) / 1000 == pytest.approx(111.195, abs=0.001)
    assert distance_m(0, 0, 0, 90) / 1000 == pytest.approx(10_007.56, abs=0.01)
    assert distance_m(60, 0, 60, 2e-3) == pytest.approx(distance_m(0, 0, 0, 1e-3), rel=1e-6)
