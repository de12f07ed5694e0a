"""The visit as it goes, over the API: the shapes a phone sends, once stored, known again."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.utils import timezone
from rest_framework.test import APIClient

from jobs.evidence.work_points import points_of
from jobs.models import Arrival, DepthReading, PreStartCheck, WorkStep
from tests.compliance.audited import let_auditors_see
from tests.factories import ArrivalFactory, LeaveFactory, UserFactory, VisitFactory
from tests.jobs.on_site_scene import ALL_SAFE, Scene, booked_scene, scene_on_site

pytestmark = pytest.mark.django_db
SEVEN = timedelta(minutes=7)


def from_phone(scene: Scene, **fields: Any) -> dict[str, Any]:
    """What the phone puts beside every record; its clock is seven minutes fast."""
    now = timezone.now() + SEVEN
    clock = {"phone_at": now - timedelta(minutes=1), "phone_sent_at": now}
    told = {name: at.isoformat() for name, at in clock.items()}
    return {"visit": scene.visit.pk, "client_key": str(uuid4()), **told, **fields}


def send(scene: Scene, area: str, body: dict[str, Any]) -> Any:
    client = APIClient()
    client.force_authenticate(scene.installer)
    return client.post(f"/api/v1/{area}/", body, format="json")


def bodies(scene: Scene) -> dict[str, dict[str, Any]]:
    crew = [str(pk) for pk in scene.visit.crew.operatives.values_list("pk", flat=True)]
    answers = {point.code: "yes" for point in points_of("eaves")}
    return {
        "arrivals": {"operative_ids": crew, "let_in_by": "a son", "loft_ready": True},
        "work-steps": {"step": "eaves", "outcome": "done", "answers": answers},
        "variations": {
            "kind": "deck_found", "meaning": "less_depth", "reason": "boards", "area": "",
            "photo_key": "",
        },
        "stop-works": {"stop_reason": "wasps", "found": ["damaged_wiring"]},
        "leaves": {"loft_closed": True, "site_clear": True},
    }  # fmt: skip


AREAS = ("arrivals", "work-steps", "variations", "stop-works", "leaves")


@pytest.mark.parametrize("area", AREAS)
def test_a_record_is_stored_once_with_its_time_corrected(area):
    scene = scene_on_site()
    VisitFactory(job=scene.job)
    body = from_phone(scene, **bodies(scene)[area])

    first, again = send(scene, area, body), send(scene, area, body)

    assert (first.status_code, again.status_code) == (201, 200), first.data
    assert first.data["id"] == again.data["id"]
    assert first.data["received_at"]
    corrected = first.data["corrected_at"]
    minute_ago = timezone.now() - timedelta(minutes=1)
    assert abs(datetime.fromisoformat(corrected) - minute_ago) < timedelta(seconds=30)


@pytest.mark.parametrize("area", AREAS)
def test_another_crews_visit_is_none_of_theirs(area):
    scene, other = scene_on_site(), scene_on_site()
    body = from_phone(other, **bodies(scene)[area])

    assert send(scene, area, body).status_code == 400


@pytest.mark.parametrize("area", AREAS)
@pytest.mark.parametrize("role", ["planner", "surveyor", "compliance_officer"])
def test_only_installers_write(area, role):
    scene = scene_on_site()
    client = APIClient()
    client.force_authenticate(UserFactory(role=role, company=scene.job.company))

    answer = client.post(f"/api/v1/{area}/", from_phone(scene), format="json")

    assert answer.status_code == 403


@pytest.mark.parametrize("area", AREAS)
def test_records_are_not_edited(area):
    client = APIClient()
    client.force_authenticate(scene_on_site().installer)

    assert client.patch(f"/api/v1/{area}/1/", {}, format="json").status_code == 405
    assert client.delete(f"/api/v1/{area}/1/").status_code == 405


@pytest.mark.parametrize(
    ("area", "fields", "field", "why"),
    [
        ("arrivals", {"operative_ids": []}, "operative_ids", "nobody came"),
        ("arrivals", {"position_agreed": True, "latitude_deg": 91, "longitude_deg": 0},
         "latitude_deg", "off the Earth"),
        ("work-steps", {"answers": {}}, "answers.trays", "a point left open"),
        ("variations", {"reason": ""}, "reason", "no reason"),
        ("stop-works", {"stop_reason": ""}, "stop_reason", "no reason"),
        ("leaves", {"loft_closed": False}, "note", "left open"),
    ],
)  # fmt: skip
def test_a_refusal_names_the_field(area, fields, field, why):
    scene = scene_on_site()
    VisitFactory(job=scene.job)

    answer = send(scene, area, from_phone(scene, **{**bodies(scene)[area], **fields}))

    assert answer.status_code == 400
    assert answer.data["errors"][0]["field"] == field, why


def test_a_position_without_consent_is_not_kept():
    scene = booked_scene()
    place = {"latitude_deg": 52.6, "longitude_deg": -1.1, "position_agreed": False}

    send(scene, "arrivals", from_phone(scene, **bodies(scene)["arrivals"], **place))

    assert Arrival.objects.get().latitude_deg is None


@pytest.mark.parametrize(
    ("area", "factory"), [("arrivals", ArrivalFactory), ("leaves", LeaveFactory)]
)
def test_who_opened_and_where_the_phone_was_is_not_the_auditors(area, factory):
    scene = booked_scene()
    record = factory(visit=scene.visit, position_agreed=True, latitude_deg=52.6, longitude_deg=-1.1)
    let_auditors_see(scene.job)
    client = APIClient()
    client.force_authenticate(UserFactory(role="auditor", scheme=scene.job.scheme))

    told = client.get(f"/api/v1/{area}/{record.pk}/").json()

    assert told["latitude_deg"] is None
    assert told.get("let_in_by") is None


def test_the_present_endpoints_take_the_phones_clock_too():
    scene = booked_scene()
    check = from_phone(scene, answers=ALL_SAFE)
    assert send(scene, "pre-start-checks", check).status_code == 201
    reading = {"x_mm": 4000, "y_mm": 3000, "depth_mm": 285, "allowance": "", "area": ""}

    body = from_phone(scene, readings=[reading])
    first, again = send(scene, "depth-readings", body), send(scene, "depth-readings", body)

    assert (first.status_code, again.status_code) == (201, 200), first.data
    for record, said in (
        (PreStartCheck.objects.get(), "checked_at"),
        (DepthReading.objects.get(), "measured_at"),
    ):
        assert getattr(record, said) - record.corrected_at == record.phone_ahead
        assert abs(record.phone_ahead - SEVEN) < timedelta(seconds=10)


def test_steps_are_found_by_visit_and_kind(django_assert_max_num_queries):
    scene = scene_on_site()
    send(scene, "work-steps", from_phone(scene, **bodies(scene)["work-steps"]))
    client = APIClient()
    client.force_authenticate(scene.installer)

    with django_assert_max_num_queries(6):
        found = client.get("/api/v1/work-steps/", {"visit": scene.visit.pk, "step": "eaves"})

    assert [row["id"] for row in found.json()["results"]] == [WorkStep.objects.get().pk]
