"""Photos by resumable upload: who may send, what is acknowledged, and what survives a bad line."""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime, timedelta
from threading import Barrier, Thread
from uuid import uuid4

import pytest
from django.core.files.storage import default_storage
from django.db import IntegrityError, connection, transaction
from django.http import UnreadablePostError

from jobs.announce import photo_stored
from jobs.models import Photo, Upload
from jobs.uploads import receiving
from jobs.uploads.body import Body
from jobs.uploads.exclusive import alone_with
from jobs.uploads.protocol import BrokeOff
from tests.jobs.on_site_scene import Scene, booked_scene, stored
from tests.jobs.tus import Phone, checksum, told_of
from tests.pictures import loft_jpeg

pytestmark = pytest.mark.django_db

CONTENT = loft_jpeg(3)
LENGTH = len(CONTENT)


@pytest.fixture
def scene() -> Scene:
    return booked_scene()


@pytest.fixture
def phone(scene: Scene) -> Phone:
    return Phone(scene.installer)


def bytes_of(photo: Photo) -> bytes:
    with default_storage.open(photo.original_name) as file:
        return file.read()


# --- What is acknowledged


def test_a_photo_arrives_byte_for_byte_with_what_the_phone_said(scene, phone):
    sent_at = datetime.now(UTC) + timedelta(minutes=7)
    told = {
        "moment": "after",
        "point_label": "P2",
        "note": "by the tank",
        "client_key": uuid4(),
        "phone_at": "2026-11-16T09:30:00.500Z",
        "phone_taken_at": "2026-11-16T09:29:58Z",
        "phone_sent_at": sent_at.isoformat(),
        "sha256": hashlib.sha256(CONTENT).hexdigest(),
    }

    answer = phone.send_all(scene.visit, CONTENT, **told)

    photo = Photo.objects.get()
    assert answer.headers["Photo-Id"] == str(photo.pk)
    assert datetime.fromisoformat(answer.headers["Photo-Stored-At"]) == photo.received_at
    assert "Photo-Repeat" not in answer.headers
    assert bytes_of(photo) == CONTENT
    assert (photo.moment, photo.point_label, photo.note) == ("after", "P2", "by the tank")
    assert (photo.client_key, photo.sent_by) == (told["client_key"], scene.installer)
    assert photo.phone_taken_at == datetime(2026, 11, 16, 9, 29, 58, tzinfo=UTC)
    assert photo.phone_ahead == sent_at - Upload.objects.get().began_at


def test_the_phones_clock_is_compared_when_the_upload_begins(scene, phone):
    """`phone_sent_at` is told at the creation; the last byte may come hours later."""
    sent_at = datetime.now(UTC) + timedelta(minutes=7)
    url = phone.begin(scene.visit, LENGTH, phone_sent_at=sent_at.isoformat())
    began_at = datetime.now(UTC) - timedelta(hours=3)
    Upload.objects.update(began_at=began_at)

    phone.patch(url, 0, CONTENT)

    assert Photo.objects.get().phone_ahead == sent_at - began_at


def test_whatever_else_the_phone_told_is_handed_on(scene, phone):
    heard = []

    def listen(sender, photo, about, **_):
        heard.append((photo.pk, dict(about.more)))

    photo_stored.connect(listen)
    try:
        phone.send_all(scene.visit, CONTENT, gauge_mm="280", filename="a.jpg")
    finally:
        photo_stored.disconnect(listen)

    assert heard == [(Photo.objects.get().pk, {"gauge_mm": "280", "filename": "a.jpg"})]


def test_one_photo_in_two_uploads_is_stored_once_and_both_are_told_the_same(scene, phone):
    urls = [phone.begin(scene.visit, LENGTH) for _ in range(2)]
    answers = [phone.patch(url, 0, CONTENT) for url in urls]

    assert Photo.objects.count() == 1
    assert {answer.headers["Photo-Id"] for answer in answers} == {str(Photo.objects.get().pk)}
    assert [a.headers.get("Photo-Repeat") for a in answers] == [None, "true"]


@pytest.mark.parametrize("known_by", ["client_key", "sha256"])
def test_a_known_photo_need_not_be_sent_again(scene, phone, known_by):
    photo = stored(scene, CONTENT)
    told = (
        {"client_key": photo.client_key} if known_by == "client_key" else {"sha256": photo.sha256}
    )

    answer = phone.create(scene.visit, LENGTH, told=told_of(scene.visit, **told))

    assert answer.status_code == 201
    assert answer.headers["Upload-Offset"] == str(LENGTH)
    assert answer.headers["Photo-Id"] == str(photo.pk)
    assert answer.headers["Photo-Repeat"] == "true"
    assert phone.head(answer.headers["Location"]).headers["Photo-Id"] == str(photo.pk)


@pytest.mark.parametrize("differs_in", ["length", "sha256"])
def test_a_known_key_with_another_photo_is_refused(scene, phone, differs_in):
    photo = stored(scene, CONTENT)
    told = told_of(scene.visit, client_key=photo.client_key)
    if differs_in == "sha256":
        told["sha256"] = "0" * 64

    answer = phone.create(scene.visit, LENGTH + (differs_in == "length"), told=told)

    assert answer.status_code == 422
    assert "another photo" in answer.json()["detail"]


def test_bytes_that_are_not_those_announced_are_refused(scene, phone):
    answer = phone.send_all(scene.visit, CONTENT, sha256="0" * 64)

    assert answer.status_code == 422
    assert not Photo.objects.exists()


def test_a_whole_upload_without_its_photo_can_not_be(scene, phone):
    """Held by the database: an offset at the end is an acknowledgement."""
    phone.begin(scene.visit, LENGTH)

    with pytest.raises(IntegrityError, match="whole_upload_has_its_photo"), transaction.atomic():
        Upload.objects.update(offset_bytes=LENGTH)
    with pytest.raises(IntegrityError, match="upload_within_its_length"), transaction.atomic():
        Upload.objects.update(offset_bytes=LENGTH + 1)


def test_a_server_that_dies_before_the_commit_has_acknowledged_nothing(scene, phone, monkeypatch):
    """The last piece is not counted without the photo's row; sent again, it makes the photo."""
    url = phone.begin(scene.visit, LENGTH)
    phone.patch(url, 0, CONTENT[:9000])
    with monkeypatch.context() as patched:
        patched.setattr(receiving, "record_photo", die)
        with pytest.raises(SystemExit):
            phone.patch(url, 9000, CONTENT[9000:])

    assert phone.offset(url) == 9000
    assert "Photo-Id" not in phone.head(url).headers
    assert phone.patch(url, 9000, CONTENT[9000:]).headers["Photo-Id"]
    assert bytes_of(Photo.objects.get()) == CONTENT


def die(*_, **__):
    raise SystemExit


def test_pieces_are_fsynced_before_they_count(scene, phone, monkeypatch):
    acts: list[str] = []
    plain_fsync, plain_move = receiving.Piece.seal, receiving._move_offset
    monkeypatch.setattr(
        receiving.Piece, "seal", lambda piece: (plain_fsync(piece), acts.append("stored"))[0]
    )
    monkeypatch.setattr(
        receiving, "_move_offset", lambda *a, **f: (acts.append("counted"), plain_move(*a, **f))[1]
    )
    url = phone.begin(scene.visit, LENGTH)

    phone.patch(url, 0, CONTENT[:9000])

    assert acts == ["stored", "counted"]


def test_with_object_storage_the_pieces_are_objects(scene, settings):
    """The same way with a storage that is no folder; its objects stand in for those of S3."""
    remote = {"BACKEND": "django.core.files.storage.InMemoryStorage"}
    settings.STORAGES = {**settings.STORAGES, "default": remote}
    phone = Phone(scene.installer)
    url = phone.begin(scene.visit, LENGTH)
    for at in range(0, 30_000, 10_000):
        assert phone.patch(url, at, CONTENT[at : at + 10_000]).status_code == 204
    folder = f"partial/{Upload.objects.get().pk}"
    under_way = default_storage.listdir(folder)[1]

    answer = phone.patch(url, 30_000, CONTENT[30_000:])

    assert len(under_way) == 3
    assert answer.headers["Photo-Id"] == str(Photo.objects.get().pk)
    assert bytes_of(Photo.objects.get()) == CONTENT
    assert default_storage.listdir(folder)[1] == []


# --- A bad line


class BreaksOff:
    """A request whose body ends in the middle."""

    META = {"CONTENT_LENGTH": "50000"}
    headers: dict[str, str] = {}

    def __init__(self, content: bytes) -> None:
        self.content = content

    def read(self, size: int) -> bytes:
        if not self.content:
            raise UnreadablePostError("the line broke")
        chunk, self.content = self.content[:size], self.content[size:]
        return chunk


def test_what_came_before_a_break_is_kept(scene, phone):
    """Requests, PATCH of the tus protocol: store as much of the received data as possible."""
    url = phone.begin(scene.visit, LENGTH)
    upload = Upload.objects.get()

    with pytest.raises(BrokeOff):
        receiving.go_on(upload, 0, Body.of(BreaksOff(CONTENT[:20_000])))  # type: ignore[arg-type]

    assert phone.offset(url) == 20_000
    phone.patch(url, 20_000, CONTENT[20_000:])
    assert bytes_of(Photo.objects.get()) == CONTENT


def test_a_broken_body_with_a_checksum_is_dropped_whole(scene, phone):
    """Nothing says whether what came is right."""
    from jobs.uploads.protocol import read_checksum

    url = phone.begin(scene.visit, LENGTH)
    told = read_checksum({"Upload-Checksum": checksum(CONTENT)})

    with pytest.raises(BrokeOff):
        receiving.go_on(Upload.objects.get(), 0, Body.of(BreaksOff(CONTENT[:20_000]), told))  # type: ignore[arg-type]

    assert phone.offset(url) == 0


def test_a_long_body_counts_piece_by_piece(scene, phone, monkeypatch):
    monkeypatch.setattr("jobs.uploads.body.PIECE_BYTES", 8000)
    monkeypatch.setattr("jobs.uploads.body.CHUNK_BYTES", 3000)
    url = phone.begin(scene.visit, LENGTH)

    with pytest.raises(BrokeOff):
        receiving.go_on(Upload.objects.get(), 0, Body.of(BreaksOff(CONTENT[:20_000])))  # type: ignore[arg-type]

    pieces = list(Upload.objects.get().pieces.values_list("starts_at_byte", "size_bytes"))
    assert pieces == [(0, 9000), (9000, 9000), (18_000, 2000)]
    phone.patch(url, 20_000, CONTENT[20_000:])
    assert bytes_of(Photo.objects.get()) == CONTENT


def test_a_second_request_to_the_same_upload_is_423(scene, phone):
    url = phone.begin(scene.visit, LENGTH)

    with alone_with(Upload.objects.get().pk):
        patched, dropped = phone.patch(url, 0, CONTENT), phone.ask("DELETE", url)
        assert phone.offset(url) == 0

    assert (patched.status_code, dropped.status_code) == (423, 423)
    assert int(patched.headers["Retry-After"]) > 0
    assert phone.patch(url, 0, CONTENT).status_code == 204


@pytest.mark.django_db(transaction=True)
def test_the_same_bytes_from_two_sides_at_once_make_one_photo(scene, monkeypatch):
    monkeypatch.setattr("jobs.evidence.photos._enqueue_inspection", lambda photo_id: None)
    url = Phone(scene.installer).begin(scene.visit, LENGTH)
    together, answers = Barrier(3), []

    def send() -> None:
        try:
            mine = Phone(scene.installer)
            together.wait(timeout=30)
            answers.append(mine.patch(url, 0, CONTENT))
        finally:
            connection.close()

    senders = [Thread(target=send) for _ in range(3)]
    for sender in senders:
        sender.start()
    for sender in senders:
        sender.join()

    assert sorted(a.status_code for a in answers)[0] == 204
    assert {a.status_code for a in answers} <= {204, 409, 423}
    assert [a.status_code for a in answers].count(204) == 1
    assert bytes_of(Photo.objects.get()) == CONTENT
