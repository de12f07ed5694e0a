"""The pages of proof: who opens them, what they say, what their buttons do."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone

from compliance.assess import assess_job
from compliance.ledger.seals import make_seal
from compliance.models import Assessment, Certificate, DepthRule, EvidenceAccess, Seal, Shortfall
from jobs.models import Job, Role, Visit
from tests.compliance.audited import let_auditors_see
from tests.compliance.scene import bare, call_back, certified_scene, fitted, short_scene
from tests.factories import CompanyFactory, UserFactory

pytestmark = pytest.mark.django_db

OPENED_UP = {"kind": "other", "reason": "opened up"}

LISTS = ("verdict_list", "shortfall_list", "certificate_list")


def sign_in(client: Any, person: Any) -> Any:
    client.force_login(person)
    return person


def text_of(response: Any) -> str:
    return " ".join(response.content.decode().split())


def test_the_home_says_what_needs_a_hand(client):
    scene, _ = short_scene()
    assess_job(bare(company=scene.company).job.pk)
    certified_scene(company=scene.company)
    short_scene()  # another company's
    sign_in(client, scene.person("compliance_officer"))

    response = client.get(reverse("proof"))

    sentences = [(item.count, item.sentence) for item in response.context["items"]]
    assert (1, "short loft has no call-back booked") in sentences
    assert (1, "loft lacks evidence") in sentences
    assert {f["label"]: f["value"] for f in response.context["figures"]} == {
        "Meet their rule": 1,
        "Short": 1,
        "Unproven": 1,
        "Shortfalls open": 1,
        "Valid certificates": 1,
    }


def test_the_start_page_of_a_compliance_officer_is_proof(client):
    sign_in(client, UserFactory(role=Role.COMPLIANCE_OFFICER))

    assert client.get(reverse("home")).url == reverse("proof")


@pytest.mark.parametrize("name", LISTS)
def test_a_list_shows_the_companys_own_and_nothing_else(client, name: str):
    scene, _ = short_scene()
    certified_scene(company=scene.company)
    short_scene()
    certified_scene()
    sign_in(client, scene.person("planner"))

    page = client.get(reverse(name)).context["page"]

    assert {row.job.company_id for row in page} == {scene.company.pk}
    assert len(page) == {"verdict_list": 2}.get(name, 1)


@pytest.mark.parametrize("name", LISTS)
def test_a_list_costs_the_same_number_of_queries_however_long(
    client, name: str, django_assert_max_num_queries
):
    company = CompanyFactory()
    for _ in range(4):
        short_scene(company=company)
        certified_scene(company=company)
    sign_in(client, UserFactory(role=Role.COMPLIANCE_OFFICER, company=company))
    client.get(reverse(name))

    with django_assert_max_num_queries(9):
        client.get(reverse(name))


FILTERS = [
    ("verdict_list", {"verdict": "short"}, 1),
    ("verdict_list", {"verdict": "unproven"}, 0),
    ("verdict_list", {"nation": "scotland"}, 0),
    ("verdict_list", {"search": "no such street"}, 0),
    ("verdict_list", {"scheme": "999999"}, 2),
    ("verdict_list", {"order": "-deficit"}, 2),
    ("verdict_list", {"order": "'; DROP TABLE"}, 2),
    ("shortfall_list", {"show": "late"}, 0),
    ("shortfall_list", {"show": "waiting"}, 1),
    ("shortfall_list", {"show": "closed"}, 0),
    ("certificate_list", {"show": "withdrawn"}, 0),
    ("certificate_list", {"show": "current"}, 1),
]


@pytest.mark.parametrize(("name", "query", "count"), FILTERS)
def test_a_list_is_narrowed(client, name: str, query: dict[str, str], count: int):
    scene, _ = short_scene()
    certified_scene(company=scene.company)
    sign_in(client, scene.person("compliance_officer"))

    assert len(client.get(reverse(name), query).context["page"]) == count


def test_a_certificate_is_found_by_its_code(client):
    scene, certificate = certified_scene()
    certified_scene(company=scene.company)
    sign_in(client, scene.person("compliance_officer"))

    page = client.get(reverse("certificate_list"), {"search": certificate.code.lower()})

    assert [row.code for row in page.context["page"]] == [certificate.code]


def test_a_verdict_shows_every_step_of_its_arithmetic(client):
    scene, assessment = short_scene()
    sign_in(client, scene.person("compliance_officer"))

    words = text_of(client.get(reverse("verdict", args=[scene.job.pk])))

    for step in assessment.arithmetic["depths"]["steps"]:
        assert step["label"] in words
        assert step["expression"].replace("&", "&amp;") in words
    assert assessment.inputs_sha256 in words
    assert "<svg" in words


def test_an_unproven_verdict_says_what_is_missing(client):
    scene = bare()
    assessment = assess_job(scene.job.pk)
    sign_in(client, scene.person("compliance_officer"))

    words = text_of(client.get(reverse("verdict", args=[scene.job.pk])))

    assert all(sentence in words for sentence in assessment.missing)


def test_opening_a_verdict_is_noted(client):
    scene, _ = short_scene()
    let_auditors_see(scene.job)
    auditor = sign_in(client, scene.person("auditor"))

    client.get(reverse("verdict", args=[scene.job.pk]))

    noted = EvidenceAccess.objects.get()
    assert (noted.job, noted.person, noted.what) == (scene.job, auditor, "verdict 1")


def test_an_earlier_assessment_stays_readable(client):
    scene, first = short_scene()
    sign_in(client, scene.person("compliance_officer"))

    call_back(scene, (290.0,))
    assess_job(scene.job.pk)

    shown = client.get(reverse("verdict_number", args=[scene.job.pk, 1])).context["verdict"]

    assert shown.assessment == first
    assert client.get(reverse("verdict_number", args=[scene.job.pk, 7])).status_code == 404


def test_a_job_without_verdict_says_so(client):
    scene = fitted()
    sign_in(client, scene.person("compliance_officer"))

    assert "not judged yet" in text_of(client.get(reverse("verdict", args=[scene.job.pk])))


def test_the_officer_issues_and_withdraws(client):
    scene = fitted()
    assess_job(scene.job.pk)
    sign_in(client, scene.person("compliance_officer"))

    client.post(reverse("certificate_issue", args=[scene.job.pk]))
    assert Certificate.objects.current().get().job == scene.job
    client.post(reverse("certificate_withdraw", args=[scene.job.pk]), OPENED_UP)
    assert Certificate.objects.get().withdrawal.reason == OPENED_UP["reason"]
    page = client.get(reverse("verdict", args=[scene.job.pk]))
    assert "nothing but a person’s decision issues another" in text_of(page)


def test_withdrawing_without_a_reason_is_refused_in_words(client):
    scene, certificate = certified_scene()
    sign_in(client, scene.person("compliance_officer"))

    page = client.post(reverse("certificate_withdraw", args=[scene.job.pk]), follow=True)

    assert "Say why the certificate is withdrawn." in text_of(page)
    assert Certificate.objects.get(pk=certificate.pk).is_current


def test_issuing_for_a_short_loft_is_refused_in_words(client):
    scene, _ = short_scene()
    sign_in(client, scene.person("compliance_officer"))

    page = client.post(reverse("certificate_issue", args=[scene.job.pk]), follow=True)

    assert "no verdict that meets its rule" in text_of(page)


def test_a_planner_sends_a_call_back(client):
    scene, _ = short_scene()
    sign_in(client, scene.person("planner"))
    day = timezone.localdate() + timedelta(days=200)

    client.post(
        reverse("call_back", args=[scene.job.pk]),
        {
            "day": day.isoformat(),
            "time": "09:00",
            "hours": "2",
            "crew": scene.visit.crew_id,
            "note": "Bring two rolls.",
        },
    )

    visit = Visit.objects.get(kind="call_back")
    assert (visit.job, visit.note) == (scene.job, "Bring two rolls.")
    assert Shortfall.objects.get().call_back == visit


def test_a_crew_goes_back_for_missing_evidence_too(client):
    scene = bare()
    assess_job(scene.job.pk)
    sign_in(client, scene.person("compliance_officer"))
    day = timezone.localdate() + timedelta(days=200)
    given = {"day": day.isoformat(), "time": "09:00", "hours": "1", "crew": scene.visit.crew_id}

    client.post(reverse("call_back", args=[scene.job.pk]), given)

    assert Visit.objects.get(kind="call_back").job == scene.job


def test_a_call_back_in_the_past_is_refused_and_keeps_what_was_typed(client):
    scene, _ = short_scene()
    sign_in(client, scene.person("planner"))
    given = {"day": "2020-01-06", "time": "09:00", "hours": "2", "crew": scene.visit.crew_id}

    page = client.post(reverse("call_back", args=[scene.job.pk]), given)

    assert "has passed" in text_of(page)
    assert page.context["form"]["hours"].value() == "2"
    assert not Visit.objects.filter(kind="call_back").exists()


def test_the_officer_sets_an_owner(client):
    scene, _ = short_scene()
    planner = scene.person("planner")
    sign_in(client, scene.person("compliance_officer"))

    client.post(reverse("shortfall_owner", args=[scene.job.pk]), {"owner": planner.pk})

    assert Shortfall.objects.get().owner == planner
    page = text_of(client.get(reverse("verdict", args=[scene.job.pk])))
    assert f'<option value="{planner.pk}" selected>' in page


def test_a_certificate_that_was_superseded_names_the_one_in_its_place(client):
    scene, former = certified_scene()
    sign_in(client, scene.person("compliance_officer"))
    client.post(reverse("certificate_withdraw", args=[scene.job.pk]), OPENED_UP)
    url = reverse("certificate", args=[former.code])
    assert "Superseded" not in text_of(client.get(url))

    client.post(reverse("certificate_issue", args=[scene.job.pk]))

    page = text_of(client.get(url))
    assert "Superseded" in page
    newer = Certificate.objects.current().get()
    assert reverse("certificate", args=[newer.code]) in page


def test_assessing_again_without_new_evidence_changes_nothing(client):
    scene, _ = short_scene()
    sign_in(client, scene.person("planner"))

    page = client.post(reverse("assess_again", args=[scene.job.pk]), follow=True)

    assert page.redirect_chain
    assert Assessment.objects.count() == 1


def test_a_rule_is_proposed_by_one_and_approved_by_another(
    client, django_capture_on_commit_callbacks
):
    officer = sign_in(client, UserFactory(role=Role.COMPLIANCE_OFFICER))
    day = timezone.localdate() + timedelta(days=60)
    given = {
        "nation": "wales",
        "starts_on": day.isoformat(),
        "min_depth_mm": "300",
        "conductivity_w_mk": "0.044",
        "m2_per_reading": "5",
        "least_readings_per_area": "4",
        "least_before_photos": "2",
        "least_after_photos": "2",
        "source": "Invented for a test",
        "source_kind": "common_practice",
    }

    client.post(reverse("rule_propose"), given)
    rule = DepthRule.objects.get(starts_on=day)
    page = client.post(reverse("rule_approve", args=[rule.pk]), follow=True)
    assert "second person" in text_of(page)

    sign_in(client, UserFactory(role=Role.PLATFORM_ADMIN))
    assert "and approve" in text_of(client.get(reverse("rule_list")))
    assert "Approve this rule?" not in text_of(client.get(reverse("rule", args=[rule.pk])))
    with django_capture_on_commit_callbacks(execute=True):
        client.post(reverse("rule_preview", args=[rule.pk]))
    assert "Approve this rule?" in text_of(client.get(reverse("rule", args=[rule.pk])))
    client.post(reverse("rule_approve", args=[rule.pk]))
    rule.refresh_from_db()
    assert rule.proposed_by == officer
    assert rule.approved_at


def test_a_rule_that_cannot_be_keeps_what_was_typed(client):
    sign_in(client, UserFactory(role=Role.COMPLIANCE_OFFICER))

    page = client.post(reverse("rule_propose"), {"nation": "wales", "min_depth_mm": "300"})

    assert page.status_code == 200
    assert page.context["form"]["min_depth_mm"].value() == "300"
    assert "starts_on" in page.context["form"].errors


def test_the_ledger_is_sealed_on_demand(client):
    fitted()
    make_seal()
    fitted()
    sign_in(client, UserFactory(role=Role.COMPLIANCE_OFFICER))

    client.post(reverse("ledger_seal"))
    page = client.get(reverse("ledger"))

    assert Seal.objects.count() == 2
    assert Seal.objects.first().root_hex in text_of(page)


def test_the_signed_file_is_handed_out_and_noted(client):
    scene, certificate = certified_scene()
    person = sign_in(client, scene.person("planner"))

    response = client.get(reverse("certificate_pdf", args=[certificate.code]))

    assert response["Content-Type"] == "application/pdf"
    assert response.content.startswith(b"%PDF-1.7")
    assert EvidenceAccess.objects.get().person == person


def test_the_jobs_story_tells_verdict_shortfall_and_certificate(client):
    scene, certificate = certified_scene()
    short, _ = short_scene(company=scene.company)
    sign_in(client, scene.person("planner"))

    assert certificate.code in text_of(client.get(reverse("job", args=[scene.job.pk])))
    words = text_of(client.get(reverse("job", args=[short.job.pk])))
    assert "A layer is missing" in words
    assert "Every step of the arithmetic" in words


PAGES_OF_A_JOB = ("verdict", "call_back")
ACTS_ON_A_JOB = (
    "assess_again",
    "certificate_issue",
    "certificate_withdraw",
    "shortfall_owner",
    "call_back",
)


@pytest.mark.parametrize("name", PAGES_OF_A_JOB)
def test_other_companies_find_nothing(client, name: str):
    scene, _ = short_scene()
    sign_in(client, UserFactory(role=Role.COMPLIANCE_OFFICER))

    assert client.get(reverse(name, args=[scene.job.pk])).status_code == 404


@pytest.mark.parametrize("name", ACTS_ON_A_JOB)
@pytest.mark.parametrize("role", ["surveyor", "installer", "auditor", "platform_admin"])
def test_acts_are_for_the_office_alone(client, name: str, role: str):
    scene, _ = short_scene()
    sign_in(client, scene.person(role))

    assert client.post(reverse(name, args=[scene.job.pk])).status_code == 404


@pytest.mark.parametrize("name", [n for n in ACTS_ON_A_JOB if n != "call_back"])
def test_acts_take_no_get(client, name: str):
    scene, _ = short_scene()
    sign_in(client, scene.person("compliance_officer"))

    assert client.get(reverse(name, args=[scene.job.pk])).status_code == 405


def test_a_planner_neither_issues_nor_withdraws(client):
    scene, _ = certified_scene()
    sign_in(client, scene.person("planner"))

    for name in ("certificate_issue", "certificate_withdraw"):
        assert client.post(reverse(name, args=[scene.job.pk])).status_code == 404
    assert Job.objects.get(pk=scene.job.pk).stage == "certified"


def test_another_schemes_auditor_gets_no_file(client):
    _, certificate = certified_scene()
    sign_in(client, UserFactory(role=Role.AUDITOR))

    assert client.get(reverse("certificate_pdf", args=[certificate.code])).status_code == 404
