"""A photo is stored as it came, once, and its row never exists without its bytes."""

from __future__ import annotations

import hashlib
import io
import os
from pathlib import Path
from uuid import uuid4

import pytest
from django.core.files.storage import default_storage

from jobs.errors import Conflict, Refused
from jobs.evidence import content_store, photos
from jobs.evidence.photos import store_photo
from jobs.models import Photo
from tests.jobs.on_site_scene import ARRIVED, Scene, booked_scene
from tests.pictures import as_format, loft_jpeg

pytestmark = pytest.mark.django_db


def send(scene: Scene, content: bytes, **fields) -> tuple[Photo, bool]:
    values = {"moment": "before", "point_label": "P1", "by": scene.installer, **fields}
    return store_photo(scene.visit, stream=io.BytesIO(content), **values)


def bytes_of(photo: Photo) -> bytes:
    with default_storage.open(photo.original_name) as file:
        return file.read()


def test_the_original_is_kept_byte_for_byte_under_its_hash():
    content = loft_jpeg(7)

    photo, created = send(booked_scene(), content, phone_taken_at=ARRIVED, note=" by the tank ")

    digest = hashlib.sha256(content).hexdigest()
    assert created
    assert (photo.sha256, photo.size_bytes, photo.media_type) == (
        digest,
        len(content),
        "image/jpeg",
    )
    assert photo.original_name == f"photos/{digest[:2]}/{digest}"
    assert bytes_of(photo) == content
    assert (photo.note, photo.phone_taken_at) == ("by the tank", ARRIVED)


@pytest.mark.parametrize(
    ("kind", "media_type"),
    [("PNG", "image/png"), ("WEBP", "image/webp"), ("HEIF", "image/heic")],
)
def test_other_photo_formats_are_told_by_their_bytes(kind, media_type):
    photo, _ = send(booked_scene(), as_format(loft_jpeg(1), kind))

    assert photo.media_type == media_type


def test_the_same_photo_sent_twice_is_stored_once():
    scene, content = booked_scene(), loft_jpeg(8)
    first, _ = send(scene, content)

    second, created = send(scene, content, moment="after")

    assert (second, created) == (first, False)
    assert Photo.objects.count() == 1


def test_the_same_key_gives_the_photo_back_and_another_photo_under_it_is_refused():
    scene, key = booked_scene(), uuid4()
    first, _ = send(scene, loft_jpeg(8), client_key=key)

    assert send(scene, loft_jpeg(8), client_key=key) == (first, False)
    with pytest.raises(Conflict, match="another photo") as refusal:
        send(scene, loft_jpeg(9), client_key=key)
    assert refusal.value.field == "client_key"


def test_two_jobs_each_have_their_row_over_the_same_bytes():
    content = loft_jpeg(8)

    one, _ = send(booked_scene(), content)
    other, created = send(booked_scene(), content)

    assert created
    assert one.original_name == other.original_name


def test_a_photo_that_the_phone_kept_is_taken_in_after_the_visit():
    scene = booked_scene(status="done")

    assert send(scene, loft_jpeg(1))[1]


def test_a_cancelled_visit_takes_none():
    with pytest.raises(Conflict, match="cancelled"):
        send(booked_scene(status="cancelled"), loft_jpeg(1))


@pytest.mark.parametrize(
    ("fields", "field", "why"),
    [
        ({"moment": "during"}, "moment", "no such moment"),
        ({"point_label": "P" * 21}, "point_label", "longer than the column"),
        ({"note": "n" * 201}, "note", "longer than the column"),
    ],
)
def test_words_that_cannot_be_are_refused_by_field(fields, field, why):
    with pytest.raises(Refused) as refusal:
        send(booked_scene(), loft_jpeg(1), **fields)

    assert refusal.value.field == field, why
    assert not Photo.objects.exists()


def test_a_file_over_the_limit_is_refused_while_it_is_read(monkeypatch):
    monkeypatch.setattr(photos, "PHOTO_LIMIT_BYTES", 50_000)

    with pytest.raises(Refused, match="larger than"):
        send(booked_scene(), loft_jpeg(1))

    assert not Photo.objects.exists()
    assert not os.listdir(default_storage.path(content_store.INCOMING))


def test_bytes_and_folders_are_on_disk_before_the_row(monkeypatch):
    """What was acknowledged survives a power cut: fsync of file and folders, then the row."""
    acts: list[str] = []
    plain_fsync = os.fsync

    def noted_fsync(handle: int) -> None:
        plain_fsync(handle)
        acts.append("folder" if Path(f"/proc/self/fd/{handle}").resolve().is_dir() else "file")

    plain_create = Photo.objects.create

    def noted_create(**fields):
        acts.append("row")
        return plain_create(**fields)

    monkeypatch.setattr(content_store.os, "fsync", noted_fsync)
    monkeypatch.setattr(Photo.objects, "create", noted_create)

    send(booked_scene(), loft_jpeg(31))

    row = acts.index("row")
    assert "file" in acts[:row]
    assert acts[:row].count("folder") >= 3
    assert acts[row:] == ["row"]


@pytest.mark.parametrize("broken", ["os.fsync", "os.replace"])
def test_no_row_when_the_disk_fails(monkeypatch, broken):
    def fail(*args):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(content_store.os, broken.removeprefix("os."), fail)

    with pytest.raises(OSError, match="No space"):
        send(booked_scene(), loft_jpeg(32))

    assert not Photo.objects.exists()


def test_bytes_without_a_row_do_no_harm(monkeypatch):
    """The process died between the two: sending again gives a row over the bytes there."""
    scene, content = booked_scene(), loft_jpeg(33)

    def die(**fields):
        raise SystemExit

    with monkeypatch.context() as patched:
        patched.setattr(Photo.objects, "create", die)
        with pytest.raises(SystemExit):
            send(scene, content)
    assert not Photo.objects.exists()

    photo, created = send(scene, content)

    assert created
    assert bytes_of(photo) == content


def test_half_written_bytes_under_the_name_are_replaced():
    scene, content = booked_scene(), loft_jpeg(34)
    digest = hashlib.sha256(content).hexdigest()
    half = Path(default_storage.path(f"photos/{digest[:2]}/{digest}"))
    half.parent.mkdir(parents=True, exist_ok=True)
    half.write_bytes(content[:1000])

    photo, _ = send(scene, content)

    assert bytes_of(photo) == content
