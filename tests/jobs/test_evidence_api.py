"""The evidence endpoints: installers write on their own visits, others read, nothing twice."""

from __future__ import annotations

from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from rest_framework.test import APIClient

from jobs.evidence.cautions import CAUTIONS
from jobs.models import DepthReading, Handover, Photo, PreStartCheck
from tests.compliance.audited import let_auditors_see
from tests.factories import (
    DepthReadingFactory,
    HandoverFactory,
    PhotoFactory,
    PreStartCheckFactory,
    SchemeFactory,
    UserFactory,
)
from tests.jobs.on_site_scene import ALL_SAFE, Scene, booked_scene, scene_on_site
from tests.pictures import loft_jpeg

pytestmark = pytest.mark.django_db

ENDPOINTS = ("pre-start-checks", "photos", "depth-readings", "handovers")
FACTORIES = {
    "pre-start-checks": PreStartCheckFactory,
    "photos": PhotoFactory,
    "depth-readings": DepthReadingFactory,
    "handovers": HandoverFactory,
}
JPEG = loft_jpeg(1)


def client_of(user) -> APIClient:
    client = APIClient()
    client.force_authenticate(user)
    return client


def url(endpoint: str, pk: int | None = None) -> str:
    return f"/api/v1/{endpoint}/" + (f"{pk}/" if pk else "")


def body_for(endpoint: str, scene: Scene) -> dict:
    bodies = {
        "pre-start-checks": {"answers": ALL_SAFE},
        "photos": {
            "moment": "before",
            "point_label": "P1",
            "file": SimpleUploadedFile("x.jpg", JPEG, "text/html"),
        },
        "depth-readings": {
            "readings": [{"x_mm": 2000, "y_mm": 2000, "depth_mm": 280, "client_key": str(uuid4())}]
        },
        "handovers": {
            "signed_name": "A. Householder",
            "signature_svg": "M10 10 L300 200",
            "cautions_given": [c.code for c in CAUTIONS],
        },
    }
    return {"visit": scene.visit.pk, **bodies[endpoint]}


def send(client: APIClient, endpoint: str, body: dict, **headers):
    kind = "multipart" if endpoint == "photos" else "json"
    return client.post(url(endpoint), body, format=kind, headers=headers)


@pytest.mark.parametrize("endpoint", ENDPOINTS)
def test_the_installer_sends_a_record_and_reads_it_back(endpoint):
    scene = scene_on_site()
    client = client_of(scene.installer)

    answer = send(client, endpoint, body_for(endpoint, scene))

    assert answer.status_code == 201, answer.data
    record = answer.data["readings"][0] if endpoint == "depth-readings" else answer.data
    assert client.get(url(endpoint, record["id"])).json()["id"] == record["id"]
    listed = client.get(url(endpoint), {"visit": scene.visit.pk}).json()
    assert [row["id"] for row in listed["results"]] == [record["id"]]


@pytest.mark.parametrize("endpoint", ["pre-start-checks", "photos", "handovers"])
def test_the_same_key_again_gives_the_record_back_with_200(endpoint):
    scene = scene_on_site()
    client, key = client_of(scene.installer), str(uuid4())

    first = send(client, endpoint, {**body_for(endpoint, scene), "client_key": key})
    again = send(client, endpoint, {**body_for(endpoint, scene), "client_key": key})

    assert (first.status_code, again.status_code) == (201, 200)
    assert first.data["id"] == again.data["id"]


def test_readings_again_are_stored_once():
    scene = scene_on_site()
    client, body = client_of(scene.installer), body_for("depth-readings", scene)

    assert send(client, "depth-readings", body).status_code == 201
    assert send(client, "depth-readings", body).status_code == 200
    assert DepthReading.objects.count() == 1


def test_two_uploads_of_the_same_photo_under_different_keys_are_one():
    scene = scene_on_site()
    client = client_of(scene.installer)

    first = send(client, "photos", {**body_for("photos", scene), "client_key": str(uuid4())})
    again = send(client, "photos", {**body_for("photos", scene), "client_key": str(uuid4())})

    assert (first.status_code, again.status_code) == (201, 200)
    assert Photo.objects.count() == 1


def test_an_idempotency_key_replays_the_answer():
    scene = scene_on_site()
    client, key = client_of(scene.installer), str(uuid4())
    body = body_for("pre-start-checks", scene)

    send(client, "pre-start-checks", body, **{"Idempotency-Key": key})
    again = send(client, "pre-start-checks", body, **{"Idempotency-Key": key})

    assert again.headers["Idempotent-Replay"] == "true"
    assert PreStartCheck.objects.count() == 1


@pytest.mark.parametrize("endpoint", ENDPOINTS)
@pytest.mark.parametrize("role", ["planner", "surveyor", "compliance_officer", "auditor"])
def test_others_read_but_do_not_write(endpoint, role):
    scene = scene_on_site()
    record = FACTORIES[endpoint](visit=scene.visit)
    let_auditors_see(scene.job)
    who = {"scheme": scene.job.scheme} if role == "auditor" else {"company": scene.job.company}
    client = client_of(UserFactory(role=role, **who))

    assert client.get(url(endpoint, record.pk)).status_code == 200
    assert send(client, endpoint, body_for(endpoint, scene)).status_code == 403


@pytest.mark.parametrize("endpoint", ENDPOINTS)
@pytest.mark.parametrize("role", ["planner", "installer", "compliance_officer", "auditor"])
def test_another_companys_or_schemes_records_are_not_there(endpoint, role):
    record = FACTORIES[endpoint]()
    who = {"scheme": SchemeFactory()} if role == "auditor" else {}
    client = client_of(UserFactory(role=role, **who))

    assert client.get(url(endpoint, record.pk)).status_code == 404
    assert client.get(url(endpoint)).json()["results"] == []


@pytest.mark.parametrize("endpoint", ENDPOINTS)
def test_another_crews_visit_takes_nothing(endpoint):
    scene = scene_on_site()
    stranger = UserFactory(role="installer", company=scene.job.company)

    answer = send(client_of(stranger), endpoint, body_for(endpoint, scene))

    assert answer.status_code == 400
    assert answer.json()["errors"][0]["field"] == "visit"


@pytest.mark.parametrize("endpoint", ENDPOINTS)
def test_platform_admins_find_nothing_and_strangers_sign_in(endpoint):
    admin = client_of(UserFactory(role="platform_admin"))

    assert admin.get(url(endpoint)).status_code == 404
    assert APIClient().get(url(endpoint)).status_code == 401


@pytest.mark.parametrize("endpoint", ENDPOINTS)
@pytest.mark.parametrize("method", ["put", "patch", "delete"])
def test_evidence_has_no_way_to_be_changed(endpoint, method):
    scene = scene_on_site()
    record = FACTORIES[endpoint](visit=scene.visit)

    assert getattr(client_of(scene.installer), method)(url(endpoint, record.pk)).status_code == 405


@pytest.mark.parametrize(
    ("endpoint", "change", "field", "why"),
    [
        ("pre-start-checks", {"answers": {}}, "answers.ppe", "nothing answered"),
        ("pre-start-checks", {"answers": "yes"}, "answers", "not question by question"),
        ("pre-start-checks", {"client_key": "7"}, "client_key", "no UUID"),
        ("pre-start-checks", {"checked_at": "yesterday"}, "checked_at", "no time"),
        ("photos", {"file": SimpleUploadedFile("x.jpg", b"")}, "file", "empty"),
        ("photos", {"file": SimpleUploadedFile("x.jpg", b"<svg/>")}, "file", "a drawing"),
        ("photos", {"moment": "during"}, "moment", "no such moment"),
        ("depth-readings", {"readings": []}, "readings", "none"),
        ("depth-readings", {"readings": [{"x_mm": 1, "y_mm": 1}]}, "readings[0].depth_mm", "gap"),
        (
            "depth-readings",
            {"readings": [{"x_mm": 1, "y_mm": 1, "depth_mm": -3}]},
            "readings[0].depth_mm",
            "less than nothing",
        ),
        ("handovers", {"signed_name": ""}, "signed_name", "nobody"),
        ("handovers", {"signature_svg": "M0 0 <script>"}, "signature_svg", "no strokes"),
        ("handovers", {"cautions_given": []}, "cautions_given", "none told"),
        ("handovers", {"visit": 0}, "visit", "no such visit"),
    ],
)
def test_bad_input_names_the_field(endpoint, change, field, why):
    scene = scene_on_site()

    answer = send(client_of(scene.installer), endpoint, {**body_for(endpoint, scene), **change})

    assert answer.status_code == 400, why
    assert answer.headers["Content-Type"].startswith("application/problem+json")
    assert answer.json()["errors"][0]["field"] == field


def test_a_handover_before_the_check_is_a_conflict():
    scene = booked_scene()

    answer = send(client_of(scene.installer), "handovers", body_for("handovers", scene))

    assert answer.status_code == 409
    assert not Handover.objects.exists()


def test_an_auditor_gets_neither_name_nor_strokes():
    scene = scene_on_site()
    record = HandoverFactory(visit=scene.visit)
    let_auditors_see(scene.job)
    auditor = UserFactory(role="auditor", scheme=scene.job.scheme)

    told = client_of(auditor).get(url("handovers", record.pk)).json()

    assert (told["signed_name"], told["signature_svg"]) == (None, None)
    assert told["cautions_given"] == record.cautions_given


def test_a_photo_says_what_the_inspection_found(django_capture_on_commit_callbacks):
    scene = scene_on_site()
    client = client_of(scene.installer)
    with django_capture_on_commit_callbacks(execute=True):
        sent = send(client, "photos", body_for("photos", scene))
    assert sent.data["inspection"] is None

    told = client.get(url("photos", sent.data["id"])).json()

    assert told["inspection"]["readable"]
    assert {"code", "text"} == set(told["inspection"]["warnings"][0])
    assert told["urls"]["thumb"].endswith(f"/photos/{sent.data['id']}/thumb/")


@pytest.mark.parametrize(
    ("endpoint", "queries"),
    [("pre-start-checks", 2), ("photos", 3), ("depth-readings", 2), ("handovers", 2)],
)
def test_a_list_costs_the_same_however_long(endpoint, queries, django_assert_num_queries):
    """One of them is the note that its evidence was opened."""
    scene = scene_on_site()
    placed = {"area": scene.area} if endpoint == "depth-readings" else {}
    for _ in range(5):
        FACTORIES[endpoint](visit=scene.visit, **placed)
    client = client_of(scene.installer)

    with django_assert_num_queries(queries):
        assert len(client.get(url(endpoint)).json()["results"]) == 5
