"""Photos are handed out to those who may see them, and nothing in them can run."""

from __future__ import annotations

import pytest
from asgiref.sync import async_to_sync
from django.test import AsyncRequestFactory
from django.urls import reverse

from jobs.evidence.inspection import inspect
from jobs.pages.photos import photo as photo_page
from tests.compliance.audited import let_auditors_see
from tests.factories import PhotoFactory, SchemeFactory, UserFactory
from tests.jobs.on_site_scene import scene_on_site, stored
from tests.pictures import as_format, loft_jpeg

pytestmark = pytest.mark.django_db

SIZES = ("original", "display", "thumb")


def address(pk: int, size: str) -> str:
    return reverse("photo", args=[pk, size])


def body_of(response) -> bytes:
    return b"".join(response.streaming_content)


@pytest.mark.parametrize("size", SIZES)
def test_each_size_comes_as_a_picture_that_nothing_can_run_in(client, size):
    scene = scene_on_site()
    content = loft_jpeg(1)
    photo = stored(scene, content)
    inspect(photo)
    client.force_login(scene.installer)

    response = client.get(address(photo.pk, size))

    assert response.status_code == 200
    assert response["Content-Type"] == "image/jpeg"
    assert response["X-Content-Type-Options"] == "nosniff"
    assert response["Content-Security-Policy"] == "default-src 'none'; sandbox"
    assert "private" in response["Cache-Control"]
    kind = "attachment" if size == "original" else "inline"
    assert response["Content-Disposition"].startswith(kind)
    if size == "original":
        assert body_of(response) == content


def test_an_original_keeps_its_own_type_and_ending(client):
    scene = scene_on_site()
    photo = stored(scene, as_format(loft_jpeg(1), "HEIF"))
    client.force_login(scene.installer)

    response = client.get(address(photo.pk, "original"))

    assert response["Content-Type"] == "image/heic"
    assert response["Content-Disposition"].endswith('before-original.heic"')


def test_a_copy_that_the_browser_has_is_not_sent_again(client):
    scene = scene_on_site()
    photo = stored(scene, loft_jpeg(1))
    client.force_login(scene.installer)
    etag = client.get(address(photo.pk, "original"))["ETag"]

    again = client.get(address(photo.pk, "original"), headers={"If-None-Match": etag})

    assert again.status_code == 304


@pytest.mark.parametrize(
    ("size", "why"),
    [("display", "not inspected yet"), ("thumb", "not inspected yet"), ("huge", "no such size")],
)
def test_a_size_that_is_not_there_is_a_404(client, size, why):
    scene = scene_on_site()
    photo = stored(scene, loft_jpeg(1))
    client.force_login(scene.installer)

    assert client.get(address(photo.pk, size)).status_code == 404, why


@pytest.mark.parametrize("role", ["planner", "surveyor", "compliance_officer", "auditor"])
def test_who_may_see_the_job_sees_its_photos(client, role):
    scene = scene_on_site()
    photo = stored(scene, loft_jpeg(1))
    let_auditors_see(scene.job)
    who = {"scheme": scene.job.scheme} if role == "auditor" else {"company": scene.job.company}
    client.force_login(UserFactory(role=role, **who))

    assert client.get(address(photo.pk, "original")).status_code == 200


@pytest.mark.parametrize("role", ["planner", "installer", "auditor", "platform_admin"])
def test_everybody_else_gets_a_404(client, role):
    photo = PhotoFactory()
    who = {"scheme": SchemeFactory()} if role == "auditor" else {}
    client.force_login(UserFactory(role=role, **who))

    assert client.get(address(photo.pk, "original")).status_code == 404


def test_another_crew_of_the_company_gets_a_404(client):
    photo = PhotoFactory()
    client.force_login(UserFactory(role="installer", company=photo.job.company))

    assert client.get(address(photo.pk, "original")).status_code == 404


def test_a_stranger_signs_in_first(client):
    assert client.get(address(PhotoFactory().pk, "thumb")).status_code == 302


def test_the_asynchronous_server_sends_the_same_bytes():
    content = loft_jpeg(1) * 9  # more than one piece
    scene = scene_on_site()
    photo = stored(scene, content)
    request = AsyncRequestFactory().get(address(photo.pk, "original"))
    request.user = scene.installer

    async def sent() -> bytes:
        return b"".join([chunk async for chunk in response.streaming_content])

    response = photo_page(request, photo.pk, "original")

    assert async_to_sync(sent)() == content
