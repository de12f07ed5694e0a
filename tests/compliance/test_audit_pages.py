"""The auditor's pages and the company's side, clicked through; and the same over the API."""

from __future__ import annotations

import hashlib
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone
from rest_framework.test import APIClient

from compliance.models import AuditRound
from tests.compliance.scene import certified_scene
from tests.factories import UserFactory

pytestmark = pytest.mark.django_db

NONCE = hashlib.sha256(b"another secret").hexdigest()
COMMITMENT = hashlib.sha256(bytes.fromhex(NONCE)).hexdigest()


@pytest.fixture
def job():
    scene, _ = certified_scene()
    scene.job.scheme.companies.add(scene.company)
    return scene.job


@pytest.fixture
def auditor(client, job):
    person = UserFactory(role="auditor", scheme=job.scheme)
    client.force_login(person)
    return person


def typed(**changes) -> dict[str, str]:
    today = timezone.localdate()
    return {
        "name": "Autumn",
        "period_from": (today - timedelta(days=3)).isoformat(),
        "period_to": today.isoformat(),
        "plan": "acceptance",
        "level": "II",
        "severity": "normal",
        "aql": "4.0",
        "confidence_percent": "95",
        "defective_percent": "10",
        "nonce_commitment": COMMITMENT,
    } | changes


@pytest.fixture
def drawn(client, auditor):
    client.post(reverse("audit_round_new"), typed())
    record = AuditRound.objects.get()
    client.post(reverse("audit_round_seal", args=[record.pk]))
    client.post(reverse("audit_round_draw", args=[record.pk]), {"nonce_hex": NONCE})
    record.refresh_from_db()
    return record


def test_a_round_is_begun_sealed_drawn_and_explained(client, drawn):
    shown = client.get(reverse("audit_round", args=[drawn.pk]))

    assert drawn.state == "drawn"
    for words in (COMMITMENT, NONCE, drawn.population_sha256, "the same jobs", "to be read"):
        assert words in shown.text


def test_a_period_the_wrong_way_round_is_told_on_the_form(client, auditor):
    shown = client.post(reverse("audit_round_new"), typed(period_to="2020-01-01"))

    assert "cannot end before it begins" in shown.text
    assert 'value="Autumn"' in shown.text
    assert not AuditRound.objects.exists()


def test_a_wrong_secret_is_refused_in_words(client, auditor):
    client.post(reverse("audit_round_new"), typed())
    record = AuditRound.objects.get()
    client.post(reverse("audit_round_seal", args=[record.pk]))

    address = reverse("audit_round_draw", args=[record.pk])
    shown = client.post(address, {"nonce_hex": "cd" * 32}, follow=True)

    assert "not the secret" in shown.text


def test_the_list_of_rounds_costs_a_fixed_number_of_queries(
    client, auditor, django_assert_max_num_queries
):
    for n in range(3):
        sent = typed(name=f"Round {n}", nonce_commitment=f"{n}" * 64)
        client.post(reverse("audit_round_new"), sent)

    with django_assert_max_num_queries(12):
        shown = client.get(reverse("audit_home"))

    assert shown.text.count("Round ") >= 3


def test_the_whole_round_over_the_api(job):
    api = APIClient()
    api.force_authenticate(UserFactory(role="auditor", scheme=job.scheme))
    today = timezone.localdate().isoformat()
    sent = {"name": "By API", "period_from": today, "period_to": today}
    base = "/api/v1/audit-rounds/"

    begun = api.post(base, sent | {"nonce_commitment": COMMITMENT})
    address = f"{base}{begun.data['id']}/"
    sealed = api.post(f"{address}seal/")
    drawn = api.post(f"{address}draw/", {"nonce_hex": NONCE})
    sample = api.get("/api/v1/drawn-jobs/", {"round": begun.data["id"]}).data["results"]
    found = api.post("/api/v1/findings/", {"drawn_job": sample[0]["id"], "severity": "sound"})
    outcome = api.get(f"{address}outcome/")
    closed = api.post(f"{address}close/")

    assert [r.status_code for r in (begun, sealed, drawn, found, outcome, closed)] == [
        201, 200, 200, 201, 200, 200,
    ]  # fmt: skip
    assert sample[0]["job_reference"] == job.reference
    assert outcome.data["accepted"] is True
    assert closed.data["state"] == "closed"


def test_a_part_of_a_page_is_no_page_for_signing_in(client, drawn):
    client.logout()
    address = reverse("audit_round", args=[drawn.pk])

    whole, part = client.get(address), client.get(address, headers={"HX-Request": "true"})

    assert (whole.status_code, part.status_code) == (302, 401)


def test_another_schemes_auditor_finds_no_round(drawn):
    api = APIClient()
    api.force_authenticate(UserFactory(role="auditor"))

    assert api.get(f"/api/v1/audit-rounds/{drawn.pk}/").status_code == 404
    assert api.get("/api/v1/audit-rounds/").data["results"] == []


def test_a_refused_act_on_a_round_keeps_the_secret_and_the_reason(client, auditor):
    client.post(reverse("audit_round_new"), typed())
    record = AuditRound.objects.get()
    client.post(reverse("audit_round_seal", args=[record.pk]))
    wrong, reason = "ab" * 32, {"reason": "The secret is lost"}

    page = client.post(reverse("audit_round_draw", args=[record.pk]), {"nonce_hex": wrong})
    assert page.status_code == 422
    assert page.context["draw_form"]["nonce_hex"].value() == wrong

    client.post(reverse("audit_round_draw", args=[record.pk]), {"nonce_hex": NONCE})
    page = client.post(reverse("audit_round_give_up", args=[record.pk]), reason).text
    assert reason["reason"] in page.partition("<h1>")[0]
