"""The ledger over the API: Seals and proofs that can be checked with nothing but the answer."""

from __future__ import annotations

from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from rest_framework.test import APIClient

from compliance.ledger.seals import make_seal
from compliance.ledger.tree import leaf_hash, verify_consistency, verify_inclusion
from compliance.models import LedgerEntry
from jobs.models import Role
from tests.compliance.audited import let_auditors_see
from tests.compliance.scene import fitted, short_scene
from tests.factories import UserFactory

pytestmark = pytest.mark.django_db


def api(person: Any) -> APIClient:
    client = APIClient()
    client.force_authenticate(person)
    return client


def url(*parts: object) -> str:
    return "/api/v1/" + "/".join(str(part) for part in parts) + "/"


def proof_of(client: APIClient, entry: LedgerEntry) -> Any:
    return client.get(url("ledger/entries", entry.pk, "proof"))


def test_an_entry_is_proved_with_nothing_but_the_answer():
    scene, _ = short_scene()
    make_seal()
    entry = LedgerEntry.objects.filter(kind="jobs_depthreading").first()

    let_auditors_see(scene.job)
    body = proof_of(api(scene.person("auditor")), entry).json()

    seal = body["seal"]
    assert leaf_hash(body["payload"].encode()).hex() == body["leaf_hash"]
    assert verify_inclusion(
        body["position"],
        seal["tree_size"],
        bytes.fromhex(body["leaf_hash"]),
        [bytes.fromhex(node) for node in body["path"]],
        bytes.fromhex(seal["root_hash"]),
    )
    key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(seal["public_key"]))
    key.verify(bytes.fromhex(seal["signature"]), seal["signed_text"].encode())
    assert seal["root_hash"] in seal["signed_text"]


def test_a_fact_is_proved_by_its_kind_and_id():
    scene, assessment = short_scene()
    make_seal()
    client = api(scene.person("planner"))

    body = client.get(url("ledger/facts/compliance_assessment", assessment.pk, "proof")).json()

    assert (body["kind"], body["fact"]) == ("compliance_assessment", assessment.pk)


def test_an_edit_is_proved_to_whoever_sees_the_edited_row_and_to_nobody_else():
    scene, _ = short_scene()
    make_seal()
    edit = LedgerEntry.objects.filter(kind="jobs_jobevent").latest("id")

    body = proof_of(api(scene.person("planner")), edit).json()
    others = proof_of(api(UserFactory(role=Role.PLANNER)), edit)

    assert f'"row_id": {scene.job.pk},' in body["payload"]
    assert others.status_code == 404


def test_an_entry_of_others_does_not_exist():
    short_scene()
    make_seal()

    of_others = LedgerEntry.objects.filter(kind="compliance_assessment").get()
    response = proof_of(api(UserFactory(role=Role.AUDITOR)), of_others)

    assert response.status_code == 404


def test_an_entry_that_no_seal_covers_yet_says_so():
    scene, _ = short_scene()

    unsealed = LedgerEntry.objects.get(kind="compliance_assessment")
    response = proof_of(api(scene.person("planner")), unsealed)

    assert response.status_code == 400
    assert "No Seal covers this entry yet" in response.json()["detail"]


def test_one_seal_is_shown_to_continue_another():
    fitted()
    first = make_seal()
    fitted()
    second = make_seal()
    client = api(UserFactory(role=Role.AUDITOR))

    body = client.get(url("ledger/consistency"), {"first": first.pk, "second": second.pk}).json()

    assert verify_consistency(
        first.tree_size,
        second.tree_size,
        bytes.fromhex(body["first"]["root_hash"]),
        bytes.fromhex(body["second"]["root_hash"]),
        [bytes.fromhex(node) for node in body["path"]],
    )


@pytest.mark.parametrize(
    ("query", "field"),
    [
        ({}, "first"),
        ({"first": "none"}, "first"),
        ({"first": "SEAL", "second": "9999"}, "second"),
        ({"first": "LATER", "second": "SEAL"}, "first"),
    ],
)
def test_a_question_about_seals_that_cannot_be_is_refused(query: dict[str, str], field: str):
    fitted()
    seal = make_seal()
    fitted()
    known = {"SEAL": seal.pk, "LATER": make_seal().pk}
    asked = {name: known.get(value, value) for name, value in query.items()}

    response = api(UserFactory()).get(url("ledger/consistency"), asked)

    assert response.status_code == 400
    assert response.json()["errors"][0]["field"] == field


def test_the_seals_are_open_to_everybody_signed_in():
    fitted()
    seal = make_seal()

    for role in Role:
        rows = api(UserFactory(role=role)).get(url("ledger/seals")).json()["results"]
        assert [row["id"] for row in rows] == [seal.pk]
