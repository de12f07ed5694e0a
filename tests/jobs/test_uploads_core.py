"""The core of the tus protocol, rule by rule.

Published source: tus resumable upload protocol 1.0.0 (2016-03-25), https://tus.io/protocols. Each
test names the section whose MUST or SHOULD it holds the server to.
"""

from __future__ import annotations

import pytest

from jobs.models import Photo, Upload
from tests.jobs.on_site_scene import Scene, booked_scene
from tests.jobs.tus import Phone
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


def test_options_tells_version_extensions_and_largest_size(phone):
    """Requests, OPTIONS: Tus-Version MUST be there, the request needs no Tus-Resumable; headers
    Tus-Extension and Tus-Max-Size; Checksum: Tus-Checksum-Algorithm MUST be there, with sha1."""
    answer = phone.ask("OPTIONS", "/uploads/", Tus_Resumable=None)

    assert answer.status_code in (200, 204)
    assert answer.headers["Tus-Version"] == "1.0.0"
    assert answer.headers["Tus-Extension"].split(",") == [
        "creation", "creation-with-upload", "checksum", "termination", "expiration",
    ]  # fmt: skip
    assert int(answer.headers["Tus-Max-Size"]) >= 50_000_000
    assert "sha1" in answer.headers["Tus-Checksum-Algorithm"].split(",")


def test_options_ignores_a_version(phone):
    """Requests, OPTIONS: the server MUST ignore Tus-Resumable there."""
    assert phone.ask("OPTIONS", "/uploads/", Tus_Resumable="0.2.2").status_code in (200, 204)


@pytest.mark.parametrize("version", [None, "0.2.2", "2.0.0"])
def test_another_version_is_412_and_nothing_is_processed(scene, phone, version):
    """Headers, Tus-Resumable: 412 with Tus-Version, and the request MUST NOT be processed."""
    url = phone.begin(scene.visit, LENGTH)
    for answer in (
        phone.create(scene.visit, LENGTH, Tus_Resumable=version),
        phone.patch(url, 0, CONTENT, Tus_Resumable=version),
        phone.ask("DELETE", url, Tus_Resumable=version),
        phone.ask("HEAD", url, Tus_Resumable=version),
    ):
        assert answer.status_code == 412
        assert answer.headers["Tus-Version"] == "1.0.0"

    assert Upload.objects.count() == 1
    assert phone.offset(url) == 0


def test_every_answer_carries_the_version(scene, phone):
    """Headers, Tus-Resumable: in every response, refusals too."""
    url = phone.begin(scene.visit, LENGTH)
    answers = [
        phone.head(url),
        phone.patch(url, 0, CONTENT[:10]),
        phone.patch(url, 5, CONTENT[:10]),
        phone.ask("DELETE", url),
        phone.head(url),
        Phone(None).head(url),
    ]

    assert [a.status_code for a in answers] == [200, 204, 409, 204, 404, 401]
    assert {answer.headers["Tus-Resumable"] for answer in answers} == {"1.0.0"}


def test_head_tells_offset_and_length_and_is_not_cached(scene, phone):
    """Requests, HEAD: Upload-Offset always, even 0; Upload-Length when known; no-store."""
    url = phone.begin(scene.visit, LENGTH)
    nothing = phone.head(url)
    phone.patch(url, 0, CONTENT[:700])
    some = phone.head(url)

    assert (nothing.status_code, some.status_code) == (200, 200)
    assert nothing.headers["Upload-Offset"] == "0"
    assert some.headers["Upload-Offset"] == "700"
    assert some.headers["Upload-Length"] == str(LENGTH)
    assert some.headers["Cache-Control"] == "no-store"


def test_head_of_nothing_has_no_offset(phone):
    """Requests, HEAD: 404, 410 or 403 without Upload-Offset."""
    answer = phone.head("/uploads/00000000-0000-4000-8000-000000000000/")

    assert answer.status_code == 404
    assert "Upload-Offset" not in answer.headers


def test_patches_add_up_to_the_photo(scene, phone):
    """Requests, PATCH: 204 with the new offset, the sum of the old one and what came."""
    url = phone.begin(scene.visit, LENGTH)
    offset = 0
    for size in (1, 999, 20_000, LENGTH - 21_000):
        answer = phone.patch(url, offset, CONTENT[offset : offset + size])
        offset += size
        assert answer.status_code == 204
        assert answer.headers["Upload-Offset"] == str(offset)

    photo = Photo.objects.get()
    assert answer.headers["Photo-Id"] == str(photo.pk)
    assert photo.size_bytes == LENGTH


@pytest.mark.parametrize("wrong", [0, 699, 701, 10_000_000])
def test_another_offset_is_409_and_changes_nothing(scene, phone, wrong):
    """Requests, PATCH: MUST be 409 without modifying the upload."""
    url = phone.begin(scene.visit, LENGTH)
    phone.patch(url, 0, CONTENT[:700])

    assert phone.patch(url, wrong, CONTENT[700:900]).status_code == 409
    assert phone.offset(url) == 700


@pytest.mark.parametrize("kind", ["", "image/jpeg", "application/octet-stream", "multipart/form"])
def test_another_content_type_is_415(scene, phone, kind):
    """Requests, PATCH: Content-Type MUST be application/offset+octet-stream, otherwise 415."""
    url = phone.begin(scene.visit, LENGTH)

    assert phone.patch(url, 0, CONTENT, content_type=kind).status_code == 415
    assert phone.offset(url) == 0


@pytest.mark.parametrize("offset", [None, "", "-1", "+5", "1.5", "none", "٣", "9" * 40])
def test_an_offset_that_is_no_number_is_400(scene, phone, offset):
    """Headers, Upload-Offset: MUST be a non-negative integer."""
    url = phone.begin(scene.visit, LENGTH)
    answer = phone.patch(url, 0, CONTENT, Upload_Offset=offset and offset.encode().decode("latin1"))

    assert answer.status_code == 400
    assert answer.json()["errors"][0]["field"] == "Upload-Offset"


def test_patch_of_nothing_is_404(phone):
    """Requests, PATCH: 404 against a resource that does not exist."""
    answer = phone.patch("/uploads/00000000-0000-4000-8000-000000000000/", 0, b"abc")

    assert answer.status_code == 404


def test_more_than_was_announced_is_refused_unread(scene, phone):
    """The new offset can't pass Upload-Length."""
    url = phone.begin(scene.visit, 1000)

    assert phone.patch(url, 0, CONTENT[:1001]).status_code == 413
    assert phone.offset(url) == 0
    assert not Photo.objects.exists()


@pytest.mark.parametrize("dressed_as", ["POST", "GET", "PUT"])
def test_method_override_is_the_method(scene, phone, dressed_as):
    """Headers, X-HTTP-Method-Override: MUST be interpreted as the method; the actual is ignored."""
    url = phone.begin(scene.visit, LENGTH)
    sent = {"content_type": "application/offset+octet-stream", "Upload_Offset": 0}

    patched = phone.ask(dressed_as, url, CONTENT[:50], X_HTTP_Method_Override="PATCH", **sent)
    dropped = phone.ask(dressed_as, url, X_HTTP_Method_Override="DELETE")

    assert (patched.status_code, patched.headers["Upload-Offset"]) == (204, "50")
    assert dropped.status_code == 204
    assert phone.head(url).status_code == 404


def test_a_repeat_after_the_end_finds_the_same_photo(scene, phone):
    """The answer was lost on the way: HEAD, and an empty PATCH at the end, give it again."""
    first = phone.send_all(scene.visit, CONTENT)
    url = f"/uploads/{Upload.objects.get().pk}/"

    again = phone.head(url)
    empty = phone.patch(url, LENGTH, b"")

    assert again.headers["Upload-Offset"] == str(LENGTH)
    for answer in (again, empty):
        assert answer.headers["Photo-Id"] == first.headers["Photo-Id"]
        assert answer.headers["Photo-Stored-At"] == first.headers["Photo-Stored-At"]
    assert phone.patch(url, 0, CONTENT).status_code == 409
    assert Photo.objects.count() == 1


def test_other_methods_are_405(scene, phone):
    url = phone.begin(scene.visit, LENGTH)

    assert {phone.ask(method, url).status_code for method in ("GET", "PUT", "POST")} == {405}
    assert {phone.ask(m, "/uploads/").status_code for m in ("GET", "PUT", "DELETE")} == {405}
