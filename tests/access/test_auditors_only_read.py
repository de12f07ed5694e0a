"""An auditor reads. What it writes are rounds, what it finds and measures in them, and its word on
answers; every address by which it could write anything is named here, so that a new one is seen.
"""

from __future__ import annotations

import inspect
import json

import pytest

from compliance.models import EvidenceAccess
from jobs.models import Role
from tests.access import registry
from tests.access.addresses import SAFE, Address
from tests.access.test_every_address import ENDPOINTS, PAGES
from tests.access.visitor import Visitor, undone
from tests.access.worlds import World

pytestmark = pytest.mark.django_db

ROUNDS = {
    "audit_round_new",
    "audit_round_seal",
    "audit_round_draw",
    "audit_round_close",
    "audit_round_give_up",
    "audit_round_widen",
    "follow_up_ask",
    "audit_series_resume",
    "api_audit_round-list",
    "api_audit_round-seal",
    "api_audit_round-draw",
    "api_audit_round-close",
    "api_audit_round-give-up",
    "api_audit_round-widen",
    "api_audit_follow_up-list",
    "api_audit_series-resume",
}
FINDINGS = {
    "finding_draft_new",
    "finding_draft",
    "finding_draft_discard",
    "drafts_release",
    "round_release",
    "job_read",
    "finding_reply",
    "finding",  # the page of both sides; the answer's form is the compliance officer's
    "api_finding-list",
    "api_finding_draft-list",
    "api_finding_draft-detail",
    "api_drafts_release",
    "api_job_read-list",
    "api_finding_reply-list",
}
REMEASUREMENTS = {"remeasure", "api_remeasurement-list"}
# That a page sent ahead is shown now: a line of the log of openings, and nothing else.
SHOWN = {"drawn_job_shown"}
# How far this auditor has looked, for nobody else; the log of openings is written by reading.
MARKS = {"api_drawn_job_seen"}
# The paper is made again and compared with the one that was issued; nothing is kept of it.
COMPARED = {"certificate_again"}
# The address it signs in with itself.
OWN_ACCOUNT = {"account_address"}


def writes(address: Address) -> bool:
    """Whether an auditor could write by this address, as its code says."""
    if address.is_api:
        return Role.AUDITOR in address.write_roles and bool(address.methods - set(SAFE))
    return Role.AUDITOR in address.read_roles and "POST" in inspect.getsource(
        inspect.unwrap(address.view)
    )


def test_auditors_write_rounds_findings_and_remeasurements_and_nothing_else() -> None:
    found = {address.name for address in [*PAGES, *ENDPOINTS] if writes(address)}

    assert found == ROUNDS | FINDINGS | REMEASUREMENTS | SHOWN | MARKS | COMPARED | OWN_ACCOUNT


EVIDENCE = [
    ("/audit/drawn/{drawn}/", "audit reading"),
    ("/audit/drawn/{drawn}/measure/", "measuring again"),
    ("/findings/{finding}/", "finding"),
    ("/findings/files/{answer_file}/", "file of the answer"),
    ("/jobs/{job}/", ""),
    ("/jobs/{job}/compare/", ""),
    ("/proof/jobs/{job}/", "verdict"),
    ("/photos/{photo}/original/", ""),
    ("/proof/packs/evidence.zip?job={reference}", "evidence pack"),
    ("/api/v1/drawn-jobs/{drawn}/sheet/", "order of the pairs"),
    ("/api/v1/photos/{photo}/", ""),
    ("/api/v1/depth-readings/{measured}/", ""),
]


@pytest.mark.parametrize(("address", "what"), EVIDENCE, ids=[row[0] for row in EVIDENCE])
def test_what_an_auditor_opens_is_logged_and_the_company_reads_it(
    address: str, what: str, worlds: dict[str, World], visitors: dict[str, Visitor]
) -> None:
    own = worlds["own"]
    named = ("drawn", "finding", "answer_file", "job", "photo", "measured")
    ids = {name: getattr(own, name).pk for name in named}
    url = address.format(**ids, reference=own.job.reference)
    last = EvidenceAccess.objects.latest("pk").pk

    with undone():
        answer = visitors["auditor"].client.get(url)
        assert answer.status_code == 200
        if answer.streaming:
            b"".join(answer.streaming_content)
        rows = EvidenceAccess.objects.filter(pk__gt=last, job=own.job)
        assert any(row.what.startswith(what) for row in rows)
        listed = visitors["planner"].client.get("/api/v1/evidence-openings/").text
        told = {row["id"] for row in json.loads(listed)["results"]}
        assert {row.pk for row in rows} <= told


def test_an_auditor_reads_no_job_that_is_in_no_sealed_population(
    worlds: dict[str, World], visitors: dict[str, Visitor]
) -> None:
    own, auditor = worlds["own"], visitors["auditor"]
    for job in (own.booked_job, own.draft_job, own.shortfall.job):
        for url in (f"/jobs/{job.pk}/", f"/proof/jobs/{job.pk}/", f"/api/v1/jobs/{job.pk}/"):
            assert auditor.ask("GET", url).status == 404, url
    assert registry.OF_OTHER_JOB.get("auditor") is None
