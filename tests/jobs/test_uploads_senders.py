"""Who may send photos by resumable upload, and what is refused for good, in words."""

from __future__ import annotations

import pytest
from django.test import Client
from rest_framework.authtoken.models import Token

from jobs.models import Photo, Upload
from jobs.uploads import receiving
from tests.factories import OperativeFactory, UserFactory
from tests.jobs.on_site_scene import Scene, booked_scene
from tests.jobs.tus import Phone, encoded, told_of
from tests.pictures import as_format, loft_jpeg

pytestmark = pytest.mark.django_db

CONTENT = loft_jpeg(3)
LENGTH = len(CONTENT)


@pytest.fixture
def scene() -> Scene:
    return booked_scene()


@pytest.fixture
def phone(scene: Scene) -> Phone:
    return Phone(scene.installer)


def test_a_stranger_is_asked_to_sign_in(scene):
    assert Phone(None).create(scene.visit, LENGTH).status_code == 401


@pytest.mark.parametrize("role", ["planner", "surveyor", "compliance_officer", "auditor"])
def test_nobody_sends_for_the_crew(scene, role):
    place = {"scheme": scene.job.scheme} if role == "auditor" else {"company": scene.job.company}

    assert Phone(UserFactory(role=role, **place)).create(scene.visit, LENGTH).status_code == 404
    assert not Upload.objects.exists()


def test_a_visit_of_another_crew_is_not_there(scene, phone):
    assert phone.create(booked_scene().visit, LENGTH).status_code == 404


def test_a_crew_mates_upload_is_not_there(scene, phone):
    mate = UserFactory(role="installer", company=scene.job.company)
    OperativeFactory(company=scene.job.company, crew=scene.visit.crew, user=mate)
    url = phone.begin(scene.visit, LENGTH)
    other = Phone(mate)

    statuses = {other.head(url).status_code, other.patch(url, 0, CONTENT).status_code}
    assert statuses | {other.ask("DELETE", url).status_code} == {404}
    assert phone.offset(url) == 0


def test_an_upload_to_a_visit_that_went_to_another_crew_is_not_there(scene, phone):
    url = phone.begin(scene.visit, LENGTH)
    scene.installer.operative.delete()

    assert phone.head(url).status_code == 404


def test_the_session_alone_is_not_enough_to_write(scene):
    """A page of somebody else's could make a signed-in browser send; it has no CSRF token."""
    phone = Phone(scene.installer, Client(enforce_csrf_checks=True))
    answers = [phone.create(scene.visit, LENGTH)]
    upload = receiving.begin_upload(scene.installer, LENGTH, encoded(told_of(scene.visit)))
    url = f"/uploads/{upload.pk}/"
    answers += [phone.patch(url, 0, CONTENT), phone.ask("DELETE", url)]
    answers.append(phone.ask("GET", url, X_HTTP_Method_Override="DELETE"))

    assert {answer.status_code for answer in answers} == {403}
    assert phone.head(url).status_code == 200


def test_a_session_with_its_csrf_token_may_write(scene):
    phone = Phone(scene.installer, Client(enforce_csrf_checks=True))
    token = "a" * 32
    phone.client.cookies["csrftoken"] = token
    url = phone.create(scene.visit, LENGTH, X_CSRFToken=token).headers["Location"]

    assert phone.patch(url, 0, CONTENT, X_CSRFToken=token).headers["Photo-Id"]


def test_a_token_is_enough_without_a_session(scene):
    key = Token.objects.create(user=scene.installer).key
    phone = Phone(None, Client(enforce_csrf_checks=True, headers={"Authorization": f"Token {key}"}))

    assert phone.send_all(scene.visit, CONTENT).headers["Photo-Id"]


# --- What is refused for good, and in words


@pytest.mark.parametrize(
    ("told", "field"),
    [
        ({"moment": "during"}, "moment"),
        ({"moment": ""}, "moment"),
        ({"point_label": "P" * 21}, "point_label"),
        ({"note": "n" * 201}, "note"),
        ({"client_key": "12"}, "client_key"),
        ({"phone_at": "yesterday"}, "phone_at"),
        ({"phone_sent_at": "2026-13-01T00:00:00Z"}, "phone_sent_at"),
        ({"sha256": "abc"}, "sha256"),
    ],
)
def test_metadata_that_can_not_be_are_refused_by_field(scene, phone, told, field):
    answer = phone.create(scene.visit, LENGTH, told=told_of(scene.visit, **told))

    assert answer.status_code == 422
    assert answer.headers["Content-Type"] == "application/problem+json"
    assert answer.json()["errors"][0]["field"] == field
    assert not Upload.objects.exists()


def test_no_photo_is_refused_at_its_first_piece(scene, phone):
    """Megabytes of a document are not taken in before it is told."""
    document = b"%PDF-1.7\n" + bytes(90_000)
    url = phone.begin(scene.visit, len(document))

    answer = phone.patch(url, 0, document[:1000])

    assert answer.status_code == 422
    assert "PDF document" in answer.json()["detail"]
    assert phone.offset(url) == 0


@pytest.mark.parametrize("repeat", [1, 2])
def test_a_broken_photo_is_refused_at_its_end_each_time(scene, phone, repeat):
    broken = as_format(CONTENT, "PNG")[:-12]
    url = phone.begin(scene.visit, len(broken))
    phone.patch(url, 0, broken[:50_000])

    answers = [phone.patch(url, 50_000, broken[50_000:]) for _ in range(repeat)]

    assert {answer.status_code for answer in answers} == {422}
    assert "broke off" in answers[-1].json()["detail"]
    assert not Photo.objects.exists()


def test_a_cancelled_visit_is_refused_for_good(scene, phone):
    """It is 404 for the crew, which no longer sees the visit."""
    url = phone.begin(scene.visit, LENGTH)
    type(scene.visit).objects.filter(pk=scene.visit.pk).update(status="cancelled")

    assert phone.patch(url, 0, CONTENT).status_code == 404


def test_a_flood_is_stopped(scene, phone, monkeypatch):
    monkeypatch.setattr(receiving, "MOST_UNFINISHED", 2)
    for _ in range(2):
        phone.begin(scene.visit, LENGTH)

    answer = phone.create(scene.visit, LENGTH)

    assert answer.status_code == 429
    assert answer.headers["Retry-After"]
