"""Rules, assessments, shortfalls, certificates and the ledger over the API."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from rest_framework.test import APIClient

from compliance.assess import assess_job
from compliance.models import Assessment, Certificate, Shortfall
from jobs.models import Nation, Role, Visit
from tests.compliance.audited import let_auditors_see
from tests.compliance.scene import bare, certified_scene, fitted, short_scene
from tests.factories import CompanyFactory, UserFactory

pytestmark = pytest.mark.django_db

LISTS = ("depth-rules", "assessments", "shortfalls", "certificates", "ledger/seals")


def api(person: Any | None = None) -> APIClient:
    client = APIClient()
    if person is not None:
        client.force_authenticate(person)
    return client


def url(*parts: object) -> str:
    return "/api/v1/" + "/".join(str(part) for part in parts) + "/"


# --- Reading


@pytest.mark.parametrize("name", [name for name in LISTS if name != "ledger/seals"])
def test_a_stranger_is_asked_to_sign_in(name: str):
    assert api().get(url(name)).status_code == 401


@pytest.mark.parametrize("name", ["assessments", "shortfalls", "certificates"])
def test_a_list_holds_the_companys_own_and_nothing_else(name: str):
    scene, _ = short_scene()
    certified_scene(company=scene.company)
    short_scene()
    certified_scene()

    rows = api(scene.person("planner")).get(url(name)).json()["results"]

    own = set(scene.company.jobs.values_list("pk", flat=True))
    assert {row["job"] for row in rows} <= own
    assert len(rows) == {"assessments": 2}.get(name, 1)


@pytest.mark.parametrize("name", ["assessments", "shortfalls", "certificates"])
def test_others_objects_do_not_exist(name: str):
    scene, _ = short_scene()
    _, certificate = certified_scene()
    row = {
        "assessments": Assessment.objects.first(),
        "shortfalls": Shortfall.objects.first(),
        "certificates": certificate,
    }[name]
    key = row.code if name == "certificates" else row.pk

    for outsider in (UserFactory(role=Role.COMPLIANCE_OFFICER), UserFactory(role=Role.AUDITOR)):
        assert api(outsider).get(url(name, key)).status_code == 404


def test_the_schemes_auditor_reads_and_writes_nothing():
    scene, certificate = certified_scene()
    let_auditors_see(scene.job)
    auditor = api(scene.person("auditor"))

    assert auditor.get(url("certificates", certificate.code)).json()["current"]
    assert auditor.post(url("certificates", certificate.code, "withdraw")).status_code == 403
    assert auditor.post(url("assessments"), {"job": scene.job.pk}).status_code == 403


@pytest.mark.parametrize("name", ["assessments", "shortfalls", "certificates"])
def test_a_list_costs_the_same_number_of_queries_however_long(
    name: str, django_assert_max_num_queries
):
    company = CompanyFactory()
    for _ in range(4):
        short_scene(company=company)
        certified_scene(company=company)
    client = api(UserFactory(role=Role.COMPLIANCE_OFFICER, company=company))

    with django_assert_max_num_queries(3):
        client.get(url(name))


@pytest.mark.parametrize(
    ("name", "query", "count"),
    [
        ("assessments", {"verdict": "short"}, 1),
        ("assessments", {"verdict": "meets", "latest": "true"}, 1),
        ("assessments", {"job": 999999}, 0),
        ("shortfalls", {"open": "true"}, 1),
        ("shortfalls", {"open": "false"}, 0),
        ("shortfalls", {"due_before": "2020-01-01"}, 0),
        ("certificates", {"current": "true"}, 1),
        ("certificates", {"current": "false"}, 0),
        ("depth-rules", {"nation": "scotland"}, 1),
    ],
)
def test_a_list_is_filtered(name: str, query: dict[str, Any], count: int):
    scene, _ = short_scene()
    certified_scene(company=scene.company)

    rows = api(scene.person("compliance_officer")).get(url(name), query).json()["results"]

    assert len(rows) == count


# --- Assessments


def test_an_assessment_comes_with_its_arithmetic_and_inputs():
    scene, assessment = short_scene()

    body = api(scene.person("planner")).get(url("assessments", assessment.pk)).json()

    assert body["verdict"] == "short"
    assert body["arithmetic"]["depths"]["steps"][0]["label"] == "Readings"
    assert len(body["inputs"]["readings"]) == 9


def test_a_job_is_assessed_on_demand_and_again_for_nothing():
    scene = fitted()
    client = api(scene.person("compliance_officer"))

    first = client.post(url("assessments"), {"job": scene.job.pk}).json()
    second = client.post(url("assessments"), {"job": scene.job.pk}).json()

    assert first["verdict"] == "meets"
    assert second["id"] == first["id"]


def test_an_assessment_says_whether_it_can_be_reached_again():
    scene, assessment = short_scene()

    let_auditors_see(scene.job)
    body = api(scene.person("auditor")).get(url("assessments", assessment.pk, "rerun")).json()

    assert body["agrees"] is True
    assert body["engine_then"] == body["engine_now"]
    assert "figure by figure" in body["in_words"]


# --- Shortfalls


def test_a_shortfall_is_given_an_owner_and_a_call_back():
    scene, _ = short_scene()
    planner = scene.person("planner")
    client, key = api(planner), Shortfall.objects.get().pk
    starts_at = timezone.now() + timedelta(days=200)

    owned = client.post(url("shortfalls", key, "owner"), {"owner": planner.pk})
    sent = client.post(
        url("shortfalls", key, "call-back"),
        {"crew": scene.visit.crew_id, "starts_at": starts_at.isoformat(), "hours": 2},
    )

    assert owned.json()["owner"] == planner.pk
    assert sent.status_code == 201
    assert Visit.objects.get(pk=sent.json()["call_back"]).kind == "call_back"


BAD_CALL_BACKS = [
    ({}, 400, "crew", "nothing said"),
    ({"crew": 0}, 400, "crew", "no such crew"),
    ({"hours": 0}, 400, "hours", "no time"),
    ({"hours": 40}, 400, "hours", "too long"),
    ({"starts_at": "2020-01-06T09:00:00Z"}, 400, "starts_at", "in the past"),
    ({"starts_at": "soon"}, 400, "starts_at", "no time at all"),
]


@pytest.mark.parametrize(
    ("changed", "status", "field", "reason"), BAD_CALL_BACKS, ids=[row[3] for row in BAD_CALL_BACKS]
)
def test_a_call_back_that_cannot_be_is_refused_at_its_field(
    changed: dict[str, Any], status: int, field: str, reason: str
):
    scene, _ = short_scene()
    good = {
        "crew": scene.visit.crew_id,
        "starts_at": (timezone.now() + timedelta(days=200)).isoformat(),
        "hours": 2,
    }

    response = api(scene.person("planner")).post(
        url("shortfalls", Shortfall.objects.get().pk, "call-back"),
        good | changed if changed else {},
    )

    assert response.status_code == status
    assert response["Content-Type"].startswith("application/problem+json")
    assert field in {error["field"] for error in response.json()["errors"]}


def test_nobody_closes_or_edits_a_shortfall_by_hand():
    scene, _ = short_scene()
    client, key = api(scene.person("compliance_officer")), Shortfall.objects.get().pk

    for method in ("put", "patch", "delete"):
        assert getattr(client, method)(url("shortfalls", key), {}).status_code == 405


# --- Certificates


def test_a_certificate_is_issued_once():
    scene = fitted()
    assess_job(scene.job.pk)
    client = api(scene.person("compliance_officer"))

    first = client.post(url("certificates"), {"job": scene.job.pk})
    second = client.post(url("certificates"), {"job": scene.job.pk})

    assert first.status_code == 201
    assert second.json()["code"] == first.json()["code"]
    assert first.json()["check_address"].endswith(f"/check/{first.json()['code']}/")


@pytest.mark.parametrize("make", [lambda: short_scene()[0], bare], ids=["short", "unproven"])
def test_no_certificate_for_what_is_not_proven(make):
    scene = make()
    assess_job(scene.job.pk)

    response = api(scene.person("compliance_officer")).post(
        url("certificates"), {"job": scene.job.pk}
    )

    assert response.status_code == 409
    assert not Certificate.objects.exists()


def test_a_certificate_is_withdrawn_with_a_reason_and_stays():
    scene, certificate = certified_scene()
    client = api(scene.person("compliance_officer"))

    bare_answer = client.post(url("certificates", certificate.code, "withdraw"), {})
    body = client.post(
        url("certificates", certificate.code, "withdraw"), {"reason": "opened up"}
    ).json()
    again = client.post(url("certificates", certificate.code, "withdraw"), {"reason": "again"})

    assert bare_answer.json()["errors"][0]["field"] == "reason"
    assert (body["current"], body["withdrawal_reason"]) == (False, "opened up")
    assert again.status_code == 409


def test_a_planner_neither_issues_nor_withdraws():
    scene, certificate = certified_scene()
    client = api(scene.person("planner"))

    assert client.post(url("certificates"), {"job": scene.job.pk}).status_code == 403
    assert client.post(url("certificates", certificate.code, "withdraw")).status_code == 403


def test_the_signed_file_is_handed_out():
    scene, certificate = certified_scene()

    response = api(scene.person("planner")).get(url("certificates", certificate.code, "pdf"))

    assert response["Content-Type"] == "application/pdf"
    assert response.content.startswith(b"%PDF")


def test_nobody_edits_or_deletes_a_certificate():
    scene, certificate = certified_scene()
    client = api(scene.person("compliance_officer"))

    for method in ("put", "patch", "delete"):
        assert getattr(client, method)(url("certificates", certificate.code)).status_code == 405


# --- Rules


def test_a_rule_is_proposed_and_approved_by_another(django_capture_on_commit_callbacks):
    officer = UserFactory(role=Role.COMPLIANCE_OFFICER)
    given = {
        "nation": "wales",
        "starts_on": (timezone.localdate() + timedelta(days=30)).isoformat(),
        "min_depth_mm": 300,
        "source": "Invented for a test",
        "source_kind": "common_practice",
    }

    made = api(officer).post(url("depth-rules"), given)
    own = api(officer).post(url("depth-rules", made.json()["id"], "approve"))
    admin = api(UserFactory(role=Role.PLATFORM_ADMIN))
    unseen = admin.post(url("depth-rules", made.json()["id"], "approve"))
    with django_capture_on_commit_callbacks(execute=True):
        admin.post(url("depth-rules", made.json()["id"], "preview"))
    admin.get(url("depth-rules", made.json()["id"], "preview"))
    approved = admin.post(url("depth-rules", made.json()["id"], "approve"))

    assert (made.status_code, made.json()["approved"]) == (201, False)
    assert own.status_code == unseen.status_code == 400
    assert approved.json()["approved"]


def test_a_rule_for_a_taken_day_is_a_conflict():
    client = api(UserFactory(role=Role.COMPLIANCE_OFFICER))
    given = {
        "nation": "wales",
        "starts_on": (timezone.localdate() + timedelta(days=30)).isoformat(),
        "min_depth_mm": 300,
        "source": "Invented for a test",
        "source_kind": "common_practice",
    }

    assert client.post(url("depth-rules"), given).status_code == 201
    assert client.post(url("depth-rules"), given).status_code == 409


@pytest.mark.parametrize("role", [Role.PLANNER, Role.INSTALLER, Role.AUDITOR])
def test_others_read_the_rules_only(role: str):
    client = api(UserFactory(role=role))

    nations = {rule["nation"] for rule in client.get(url("depth-rules")).json()["results"]}
    assert nations == set(Nation.values)
    assert client.post(url("depth-rules"), {}).status_code == 403
