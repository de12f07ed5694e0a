"""Arrivals, steps, variations, stops and leaving are in the ledger; verdicts show variations and
go by corrected times."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest
from django.urls import reverse

from compliance.gather import gather_evidence
from compliance.ledger.check import verify_ledger
from compliance.models import LedgerEntry
from tests.compliance.audited import let_auditors_see
from tests.compliance.scene import bare, fitted
from tests.factories import (
    A_MONDAY,
    ArrivalFactory,
    HandoverFactory,
    LeaveFactory,
    PreStartCheckFactory,
    StopWorkFactory,
    UserFactory,
    VariationFactory,
    VisitFactory,
    WorkStepFactory,
)

pytestmark = pytest.mark.django_db
PLACE = {"position_agreed": True, "latitude_deg": 52.61, "longitude_deg": -1.13}


def payload_of(fact) -> dict:
    entry = LedgerEntry.objects.get(kind=fact._meta.db_table, fact_id=fact.pk)
    return json.loads(entry.payload)["fact"]


@pytest.mark.parametrize(
    "factory", [ArrivalFactory, WorkStepFactory, VariationFactory, StopWorkFactory, LeaveFactory]
)
def test_each_enters_the_ledger_with_its_corrected_time(factory):
    fact = factory(phone_ahead=timedelta(minutes=7), phone_sent_at=A_MONDAY)

    told = payload_of(fact)

    assert told["phone_ahead"] == "00:07:00"
    assert told["corrected_at"]
    assert verify_ledger().sound


def test_who_opened_and_where_the_phone_was_enter_as_salted_hashes():
    arrival = ArrivalFactory(let_in_by="Alma Kettlewell", **PLACE)
    leave = LeaveFactory(**PLACE)

    for fact, names in (
        (arrival, ("let_in_by", "latitude_deg", "longitude_deg")),
        (leave, ("latitude_deg", "longitude_deg")),
    ):
        told = payload_of(fact)
        assert all(told[name].startswith("sha256:") for name in names)
        assert "salt" not in told
    assert "Kettlewell" not in str(payload_of(arrival))


def test_the_verdicts_page_shows_what_differs_from_the_plan(client):
    scene = fitted()
    VariationFactory(visit=scene.visit, reason="Boards beneath a carpet")
    client.force_login(UserFactory(role="compliance_officer", company=scene.company))

    page = client.get(reverse("verdict", args=[scene.job.pk])).content.decode()

    assert "Other than planned" in page and "Boards beneath a carpet" in page


def test_the_auditor_reads_the_steps_but_not_who_opened(client):
    scene = fitted()
    ArrivalFactory(visit=scene.visit, let_in_by="Alma Kettlewell", **PLACE)
    WorkStepFactory(visit=scene.visit, note="Trays short by two")
    let_auditors_see(scene.job)
    client.force_login(scene.person("auditor"))

    page = client.get(reverse("job", args=[scene.job.pk])).content.decode()

    assert "Trays short by two" in page
    assert "Alma Kettlewell" not in page and "52.61" not in page


def test_a_slow_clock_does_not_make_the_last_check_an_earlier_one():
    scene = bare()
    PreStartCheckFactory(visit=scene.visit, safe_to_start=True, checked_at=A_MONDAY)
    later = VisitFactory(
        job=scene.job,
        crew=scene.visit.crew,
        status="stopped",
        stop_reason="bats",
        left_at=A_MONDAY + timedelta(days=7),
        during=(A_MONDAY + timedelta(days=7), A_MONDAY + timedelta(days=7, hours=1)),
    )
    slow = -timedelta(days=30)
    unsafe = PreStartCheckFactory(
        visit=later,
        safe_to_start=False,
        checked_at=A_MONDAY + timedelta(days=7) + slow,
        phone_sent_at=A_MONDAY + timedelta(days=7) + slow,
        phone_ahead=slow,
    )

    assert gather_evidence(scene.job).pre_start_check == {
        "id": unsafe.pk,
        "safe_to_start": False,
    }


def test_the_rule_is_that_of_the_day_by_our_clock():
    scene = bare()
    ahead = timedelta(days=400)
    HandoverFactory(
        visit=scene.visit,
        signed_at=A_MONDAY + ahead,
        phone_sent_at=A_MONDAY + ahead,
        phone_ahead=ahead,
    )

    assert gather_evidence(scene.job).work_day == A_MONDAY.date().isoformat()
