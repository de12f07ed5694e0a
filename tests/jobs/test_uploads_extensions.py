"""The extensions of the tus protocol: creation, creation with upload, checksum, termination,
expiration, rule by rule.

Published source: tus resumable upload protocol 1.0.0 (2016-03-25), https://tus.io/protocols. Each
test names the section whose MUST or SHOULD it holds the server to.
"""

from __future__ import annotations

import base64
import hashlib
import os
from datetime import UTC, timedelta
from email.utils import parsedate_to_datetime

import pytest
from django.core.files.storage import default_storage
from django.utils import timezone

from jobs.models import Photo, Upload
from jobs.tasks import clear_expired_uploads
from jobs.uploads import receiving
from jobs.uploads.pieces import FOLDER, arriving_piece, upload_ids_with_pieces
from tests.jobs.on_site_scene import Scene, booked_scene
from tests.jobs.tus import Phone, checksum, encoded, told_of
from tests.pictures import loft_jpeg

pytestmark = pytest.mark.django_db

CONTENT = loft_jpeg(3)
LENGTH = len(CONTENT)


@pytest.fixture
def scene() -> Scene:
    return booked_scene()


@pytest.fixture(autouse=True)
def empty_storage(settings, tmp_path) -> None:
    settings.MEDIA_ROOT = str(tmp_path)


@pytest.fixture
def phone(scene: Scene) -> Phone:
    return Phone(scene.installer)


def files_under_way() -> list[str]:
    folder = default_storage.path(FOLDER)
    return [name for _, _, names in os.walk(folder) for name in names]


# --- Creation


def test_creation_gives_an_address_at_offset_0(scene, phone):
    """Creation, POST: 201 with Location; the new resource has an implicit offset of 0."""
    answer = phone.create(scene.visit, LENGTH)

    assert answer.status_code == 201
    assert phone.offset(answer.headers["Location"]) == 0


def test_metadata_comes_back_as_it_was_sent(scene, phone):
    """Creation, POST: HEAD MUST include Upload-Metadata as specified by the client."""
    told = told_of(scene.visit, filename="Dachboden früh.jpg", gauge="80", flag="")
    url = phone.create(scene.visit, LENGTH, told=told).headers["Location"]

    assert phone.head(url).headers["Upload-Metadata"] == encoded(told)


def test_a_key_without_a_value_may_leave_out_the_blank(scene, phone):
    """Creation, Upload-Metadata: the value MAY be empty, and the space then left out."""
    metadata = f"{encoded(told_of(scene.visit))},flag"

    assert phone.create(scene.visit, LENGTH, Upload_Metadata=metadata).status_code == 201


@pytest.mark.parametrize(
    ("metadata", "why"),
    [
        ("visit", "a number is needed"),
        ("visit 12", "not Base64 of a number"),
        ("visit ***", "not Base64"),
        ("visit MQ==,visit MQ==", "a key twice"),
        (",", "an empty key"),
        (" MQ==", "a value without a key"),
        (f"note {base64.b64encode(bytes([255, 254])).decode()}", "not UTF-8"),
        (f"note {base64.b64encode(bytes(9)).decode()}", "a zero byte is no text"),
        ("filename " + "QUFB" * 3000, "too long"),
    ],
)
def test_metadata_that_break_the_rules_are_400(phone, scene, metadata, why):
    """Creation, Upload-Metadata: keys unique and not empty, values Base64."""
    assert phone.create(scene.visit, LENGTH, Upload_Metadata=metadata).status_code == 400, why
    assert not Upload.objects.exists()


@pytest.mark.parametrize("length", [None, "", "-5", "ten", "1e3"])
def test_creation_needs_a_length(scene, phone, length):
    """Creation, POST: Upload-Length, a non-negative integer."""
    assert phone.create(scene.visit, LENGTH, Upload_Length=length).status_code == 400


def test_creation_without_a_length_is_not_offered(scene, phone):
    """Creation, POST: creation-defer-length is not among our extensions."""
    answer = phone.create(scene.visit, LENGTH, Upload_Length=None, Upload_Defer_Length="1")

    assert answer.status_code == 400
    assert answer.json()["errors"][0]["field"] == "Upload-Defer-Length"


def test_more_than_the_largest_size_is_413(scene, phone):
    """Creation, POST: MUST be 413 beyond Tus-Max-Size."""
    most = int(phone.ask("OPTIONS", "/uploads/").headers["Tus-Max-Size"])

    assert phone.create(scene.visit, most + 1).status_code == 413
    assert phone.create(scene.visit, most).status_code == 201


def test_nothing_is_no_photo(scene, phone):
    answer = phone.create(scene.visit, 0)

    assert answer.status_code == 422
    assert "is empty" in answer.json()["detail"]


# --- Creation With Upload


def test_creation_may_bring_the_first_bytes(scene, phone):
    """Creation With Upload: Upload-Offset MUST tell what was accepted."""
    answer = phone.create(scene.visit, LENGTH, CONTENT[:5000])

    assert (answer.status_code, answer.headers["Upload-Offset"]) == (201, "5000")
    done = phone.patch(answer.headers["Location"], 5000, CONTENT[5000:])
    assert done.headers["Photo-Id"] == str(Photo.objects.get().pk)


def test_creation_may_bring_the_whole(scene, phone):
    """Creation With Upload: the entirety in the body of the POST."""
    answer = phone.create(scene.visit, LENGTH, CONTENT, Upload_Checksum=checksum(CONTENT))

    assert answer.status_code == 201
    assert answer.headers["Upload-Offset"] == str(LENGTH)
    assert answer.headers["Photo-Id"] == str(Photo.objects.get().pk)


def test_a_body_of_another_type_creates_nothing(scene, phone):
    """Creation With Upload: Content-Type MUST be application/offset+octet-stream."""
    answer = phone.create(scene.visit, LENGTH, CONTENT, content_type="image/jpeg")

    assert answer.status_code == 415
    assert not Upload.objects.exists()


@pytest.mark.parametrize(
    ("headers", "status"),
    [({"Upload_Checksum": checksum(b"other")}, 460), ({"Upload_Length": LENGTH - 1}, 413)],
)
def test_a_refused_first_body_creates_nothing(scene, phone, headers, status):
    assert phone.create(scene.visit, LENGTH, CONTENT, **headers).status_code == status
    assert not Upload.objects.exists()
    assert files_under_way() == []


# --- Checksum


@pytest.mark.parametrize("algorithm", ["sha1", "sha256"])
def test_a_right_checksum_is_204(scene, phone, algorithm):
    """Checksum: at least sha1 MUST be supported; 204 if the checksums match."""
    url = phone.begin(scene.visit, LENGTH)
    piece = CONTENT[:4000]

    answer = phone.patch(url, 0, piece, Upload_Checksum=checksum(piece, algorithm))

    assert (answer.status_code, answer.headers["Upload-Offset"]) == (204, "4000")


def test_the_protocols_own_example():
    """Checksum, Example: sha1 of "hello world" is Kq5sNclPz7QV2+lfQIuc6R7oRu0=."""
    assert checksum(b"hello world", "sha1") == "sha1 Kq5sNclPz7QV2+lfQIuc6R7oRu0="


@pytest.mark.parametrize("algorithm", ["sha1", "sha256"])
def test_a_wrong_checksum_is_460_and_the_chunk_is_discarded(scene, phone, algorithm):
    """Checksum: 460, the chunk MUST be discarded and the offset MUST NOT be updated."""
    url = phone.begin(scene.visit, LENGTH)
    phone.patch(url, 0, CONTENT[:1000])
    damaged = bytes([CONTENT[1000] ^ 1]) + CONTENT[1001:]

    answer = phone.patch(url, 1000, damaged, Upload_Checksum=checksum(CONTENT[1000:], algorithm))

    assert answer.status_code == 460
    assert phone.offset(url) == 1000
    assert len(files_under_way()) == 1
    assert phone.patch(url, 1000, CONTENT[1000:]).headers["Photo-Id"]


@pytest.mark.parametrize("told", ["md5 rL0Y20zC+Fzt72VPzMSk2A==", "SHA1 AAAA", "sha1 AAAA", "sha1"])
def test_an_unknown_or_malformed_checksum_is_400(scene, phone, told):
    """Checksum: 400 if the algorithm is not supported; nothing is updated."""
    url = phone.begin(scene.visit, LENGTH)

    assert phone.patch(url, 0, CONTENT, Upload_Checksum=told).status_code == 400
    assert phone.offset(url) == 0


# --- Termination


def test_an_unfinished_upload_is_dropped_with_its_bytes(scene, phone):
    """Termination, DELETE: 204, resources freed, later requests 404 or 410."""
    url = phone.begin(scene.visit, LENGTH)
    phone.patch(url, 0, CONTENT[:3000])

    assert phone.ask("DELETE", url).status_code == 204
    assert files_under_way() == []
    assert {phone.head(url).status_code, phone.ask("DELETE", url).status_code} == {404}
    assert phone.patch(url, 3000, CONTENT[3000:]).status_code == 404


def test_a_finished_upload_is_dropped_and_its_photo_stays(scene, phone):
    """Termination, DELETE: completed uploads too. What was acknowledged is evidence and stays."""
    phone.send_all(scene.visit, CONTENT)

    assert phone.ask("DELETE", f"/uploads/{Upload.objects.get().pk}/").status_code == 204
    assert Photo.objects.get().sha256 == hashlib.sha256(CONTENT).hexdigest()


# --- Expiration


def test_when_an_upload_expires_is_told_and_moves_on(scene, phone, monkeypatch):
    """Expiration: Upload-Expires in the POST and in every PATCH response, as an HTTP date."""
    created = phone.create(scene.visit, LENGTH)
    later = timezone.now() + timedelta(hours=5)
    monkeypatch.setattr(receiving.timezone, "now", lambda: later)
    patched = phone.patch(created.headers["Location"], 0, CONTENT[:1000])

    first = parsedate_to_datetime(created.headers["Upload-Expires"])
    then = parsedate_to_datetime(patched.headers["Upload-Expires"])
    assert created.headers["Upload-Expires"].endswith(" GMT")
    assert first > timezone.now().astimezone(UTC) + timedelta(days=6)
    assert timedelta(hours=4) < then - first < timedelta(hours=6)


def test_an_expired_upload_is_410_and_can_not_be_gone_on_with(scene, phone):
    """Expiration: 410 SHOULD be used where the server keeps track."""
    url = phone.begin(scene.visit, LENGTH)
    Upload.objects.update(expires_at=timezone.now() - timedelta(seconds=1))

    assert phone.head(url).status_code == 410
    assert "Upload-Offset" not in phone.head(url).headers
    assert phone.patch(url, 0, CONTENT).status_code == 410


def test_the_beat_takes_away_what_has_expired_and_leaves_the_rest(scene, phone):
    old, finished, fresh = (phone.begin(scene.visit, LENGTH) for _ in range(3))
    phone.patch(old, 0, CONTENT[:2000])
    phone.patch(finished, 0, CONTENT)
    phone.patch(fresh, 0, CONTENT[:3000])
    Upload.objects.exclude(pk=fresh.split("/")[-2]).update(expires_at=timezone.now())
    with arriving_piece(timezone.now().strftime("%f"), 0) as lost:  # type: ignore[arg-type]
        lost.write(b"of a process that died")
        lost.seal()

    assert clear_expired_uploads() == 2

    assert [str(upload.pk) for upload in Upload.objects.all()] == [fresh.split("/")[-2]]
    assert upload_ids_with_pieces() == [fresh.split("/")[-2]]
    assert phone.offset(fresh) == 3000
    assert Photo.objects.count() == 1
