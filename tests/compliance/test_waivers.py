"""Waivers: two people, a reason, the ledger, and never a certificate."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.utils import timezone
from rest_framework.test import APIClient

from compliance.assess import assess_job
from compliance.certificates.issue import issue_certificate
from compliance.digest import chase_late
from compliance.models import Certificate, LedgerEntry, Shortfall, Waiver, WaiverAnswer
from compliance.second_people import second_people
from compliance.waivers import answer_waiver, record_waiver
from jobs.errors import Conflict, Refused
from jobs.models import Role, Stage, User
from tests.compliance.scene import Scene, call_back, short_scene
from tests.factories import PhotoFactory, UserFactory

pytestmark = pytest.mark.django_db

REASON = "The ceiling carries no more, says the engineer"


def officer(scene: Scene) -> Any:
    return UserFactory(role=Role.COMPLIANCE_OFFICER, company=scene.company)


def the_planner(scene: Scene) -> Any:
    """The only one of the company."""
    User.objects.filter(company=scene.company, role=Role.PLANNER).update(is_active=False)
    return scene.person("planner")


def waived() -> tuple[Scene, Waiver]:
    scene, _ = short_scene()
    waiver = record_waiver(open_of(scene), REASON, officer(scene))
    answer_waiver(waiver, True, officer(scene))
    return scene, waiver


def open_of(scene: Scene) -> Shortfall:
    return Shortfall.objects.open().select_related("job").get(job=scene.job)


def run(sql: str, *parameters: object) -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql, parameters)


def test_it_counts_only_once_a_second_person_agrees():
    scene, _ = short_scene()
    waiver = record_waiver(open_of(scene), REASON, officer(scene))
    assert Shortfall.objects.open().filter(job=scene.job).exists()

    answer_waiver(waiver, True, officer(scene))

    shortfall = Shortfall.objects.get(job=scene.job)
    assert (shortfall.waived_by, shortfall.closed_by) == (waiver, None)
    assert shortfall.closed_at is not None


def test_it_never_yields_a_certificate():
    scene, _ = waived()

    with pytest.raises(Conflict):
        issue_certificate(scene.job.pk, officer(scene))

    scene.job.refresh_from_db()
    assert scene.job.stage == Stage.SHORT
    assert not Certificate.objects.exists()


def test_a_loft_put_right_afterwards_is_certified_as_any_other():
    scene, _ = waived()
    call_back(scene, (285.0, 290.0))

    assert assess_job(scene.job.pk).verdict == "meets"
    assert issue_certificate(scene.job.pk).is_current


def test_found_short_again_it_is_flagged_again():
    scene, _ = waived()
    call_back(scene, (180.0, 175.0))

    assess_job(scene.job.pk)

    assert open_of(scene).waived_by is None


def test_turned_down_it_stays_open_and_another_may_be_recorded():
    scene, _ = short_scene()
    first = record_waiver(open_of(scene), REASON, officer(scene))
    answer_waiver(first, False, officer(scene), "Half of it can be topped up")

    second = record_waiver(open_of(scene), "Only the half that cannot", officer(scene))

    assert open_of(scene).waivers.count() == 2  # type: ignore[attr-defined]
    assert second.pk != first.pk


def test_the_schemes_auditor_is_not_the_second_person():
    """It judges what the company decided, so it takes no part in deciding."""
    scene, _ = short_scene()
    waiver = record_waiver(open_of(scene), REASON, officer(scene))

    with pytest.raises(Refused, match="another compliance officer"):
        answer_waiver(waiver, True, scene.person("auditor"))


def test_both_are_in_the_ledger_and_never_changed():
    waived()

    kinds = LedgerEntry.objects.filter(kind__startswith="compliance_waiver")
    assert sorted(kinds.values_list("kind", flat=True)) == [
        "compliance_waiver",
        "compliance_waiveranswer",
    ]
    for table in ("compliance_waiver", "compliance_waiveranswer"):
        with pytest.raises(Exception, match="Cannot update or delete"):
            run(f"DELETE FROM {table}")


def test_late_digests_leave_waived_shortfalls_out(mailoutbox: Any):
    scene, _ = waived()
    officer(scene)
    day = Shortfall.objects.get().due_on + timezone.timedelta(days=9)

    assert chase_late(day) == 0
    assert mailoutbox == []


REFUSED = [
    ("planner", "Only a compliance officer"),
    ("auditor", "Only a compliance officer"),
]


@pytest.mark.parametrize(("role", "said"), REFUSED)
def test_nobody_else_records_one(role: str, said: str):
    scene, _ = short_scene()

    with pytest.raises(Refused, match=said):
        record_waiver(open_of(scene), REASON, scene.person(role))


def test_not_without_a_reason_and_not_twice_at_once():
    scene, _ = short_scene()
    with pytest.raises(Refused, match="Say why"):
        record_waiver(open_of(scene), "  ", officer(scene))
    record_waiver(open_of(scene), REASON, officer(scene))

    with pytest.raises(Conflict, match="waits for a second person"):
        record_waiver(open_of(scene), REASON, officer(scene))


def test_nobody_answers_their_own_and_no_stranger_answers():
    scene, _ = short_scene()
    one = officer(scene)
    waiver = record_waiver(open_of(scene), REASON, one)

    for person in (one, UserFactory(role=Role.COMPLIANCE_OFFICER)):
        with pytest.raises(Refused):
            answer_waiver(waiver, True, person)
    assert not WaiverAnswer.objects.exists()


def test_where_there_is_no_other_officer_a_planner_is_the_second_person(client: Client):
    scene, _ = short_scene()
    planner, one = the_planner(scene), officer(scene)
    client.force_login(one)
    page = client.get(f"/proof/jobs/{scene.job.pk}/").content.decode()
    assert f"The second person can be {planner} (planner)." in page
    waiver = record_waiver(open_of(scene), REASON, one)

    two = officer(scene)
    assert second_people(scene.job.pk, one) == [two]
    User.objects.filter(pk=two.pk).update(is_active=False)
    assert Waiver.objects.waiting_for(planner).get() == waiver
    client.force_login(planner)
    client.post(f"/proof/jobs/{scene.job.pk}/waiver-answer/", {"answer": "agree"})

    assert Shortfall.objects.get().waived_by == waiver


def test_nobody_agrees_to_leave_their_own_work_short(client: Client):
    """Then the page says what to do."""
    scene, _ = short_scene()
    planner, one = the_planner(scene), officer(scene)
    PhotoFactory(visit=scene.visit, moment="after", sent_by=planner)
    waiver = record_waiver(open_of(scene), REASON, one)
    client.force_login(one)

    page = client.get(f"/proof/jobs/{scene.job.pk}/").content.decode()

    assert "Nobody in the company can be the second person" in page
    assert "opens an account for a second compliance officer" in page
    with pytest.raises(Refused, match="who did not work on the loft"):
        answer_waiver(waiver, True, planner)


def test_the_owner_of_a_shortfall_agrees_to_its_waiver_only_where_nobody_else_can(client: Client):
    """Another officer first, then a planner, and the owner last; of the database itself too."""
    scene, _ = short_scene()
    planner, one = the_planner(scene), officer(scene)
    Shortfall.objects.update(owner=planner)
    waiver = record_waiver(open_of(scene), REASON, one)
    another = UserFactory(role=Role.PLANNER, company=scene.company)

    assert second_people(scene.job.pk, one) == [another]
    with pytest.raises(Refused, match="owner only where nobody else can"):
        answer_waiver(waiver, True, planner)
    with pytest.raises(IntegrityError, match="A second person answers"):
        run(ANSWER, scene.job.pk, waiver.pk, planner.pk)
    two = officer(scene)
    Shortfall.objects.update(owner=two)
    assert set(second_people(scene.job.pk, one)) == {planner, another}

    Shortfall.objects.update(owner=planner)
    User.objects.filter(pk__in=[another.pk, two.pk]).update(is_active=False)
    client.force_login(one)
    page = client.get(f"/proof/jobs/{scene.job.pk}/").content.decode()
    assert f"{planner} (planner). They own the shortfall: that is allowed only because" in page
    run(ANSWER, scene.job.pk, waiver.pk, planner.pk)


ANSWER = (
    "INSERT INTO compliance_waiveranswer (job_id, waiver_id, agreed, note, answered_by_id, "
    "answered_at, salt, words_hashed) "
    "VALUES (%s, %s, true, '', %s, now(), gen_random_uuid(), true)"
)
WAIVER = (
    "INSERT INTO compliance_waiver (job_id, shortfall_id, reason, recorded_by_id, recorded_at, "
    "salt, words_hashed) VALUES (%s, %s, %s, %s, now(), gen_random_uuid(), true)"
)


@pytest.mark.parametrize("who", ["the same person", "auditor", "installer", "planner"])
def test_the_database_itself_wants_a_second_person_who_may(who: str):
    """A planner may not while there is another officer."""
    scene, _ = short_scene()
    one, two = officer(scene), officer(scene)
    waiver = record_waiver(open_of(scene), REASON, one)
    person = one if who == "the same person" else scene.person(who)

    with pytest.raises(IntegrityError, match="A second person answers"):
        run(ANSWER, scene.job.pk, waiver.pk, person.pk)
    run(ANSWER, scene.job.pk, waiver.pk, two.pk)


@pytest.mark.parametrize(
    ("who", "reason", "said"),
    [
        ("auditor", REASON, "recorded by a compliance officer"),
        ("planner", REASON, "recorded by a compliance officer"),
        ("another company's officer", REASON, "recorded by a compliance officer"),
        ("officer", "", "waiver_has_reason"),
        ("officer", " ", "waiver_has_reason"),
    ],
)
def test_the_database_itself_wants_an_officer_and_a_reason(who: str, reason: str, said: str):
    scene, _ = short_scene()
    officers = {
        "officer": lambda: officer(scene),
        "another company's officer": lambda: UserFactory(role=Role.COMPLIANCE_OFFICER),
    }
    person = officers[who]() if who in officers else scene.person(who)

    with pytest.raises(IntegrityError, match=said):
        run(WAIVER, scene.job.pk, open_of(scene).pk, reason, person.pk)
    run(WAIVER, scene.job.pk, open_of(scene).pk, REASON, officer(scene).pk)


def test_the_database_closes_by_no_waiver_that_nobody_agreed_to():
    scene, _ = short_scene()
    waiver = record_waiver(open_of(scene), REASON, officer(scene))

    with pytest.raises(IntegrityError, match="waived only by a waiver of its own"):
        run("UPDATE compliance_shortfall SET waived_by_id = %s, closed_at = now()", waiver.pk)


def test_the_page_leads_both_people_through(client: Client):
    scene, _ = short_scene()
    one, two = officer(scene), officer(scene)
    client.force_login(one)
    client.post(f"/proof/jobs/{scene.job.pk}/waive/", {"reason": REASON})
    page = client.get(f"/proof/jobs/{scene.job.pk}/").content.decode()
    assert "Waiver proposed" in page and "Agree to the waiver" not in page

    client.force_login(two)
    assert "Agree to the waiver" in client.get(f"/proof/jobs/{scene.job.pk}/").content.decode()
    client.post(f"/proof/jobs/{scene.job.pk}/waiver-answer/", {"answer": "agree"})
    page = client.get(f"/proof/jobs/{scene.job.pk}/").content.decode()

    assert "Waived" in page and REASON in page
    assert Shortfall.objects.get().waived_by is not None


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"answer": "agree", "note": "x" * 601}, "At most 600 characters"),
        ({"answer": "", "note": REASON}, "Say whether you agree"),
    ],
)
def test_a_refused_answer_comes_back_with_its_note(client: Client, given: dict, said: str):
    scene, _ = short_scene()
    record_waiver(open_of(scene), REASON, officer(scene))
    client.force_login(officer(scene))

    page = client.post(f"/proof/jobs/{scene.job.pk}/waiver-answer/", given)

    assert page.status_code == 422
    assert page.context["answer_form"]["note"].value() == given["note"]
    assert said in page.content.decode()
    assert not WaiverAnswer.objects.exists()


def test_an_answer_that_comes_second_is_left_to_be_copied(client: Client):
    scene, _ = short_scene()
    answer_waiver(
        record_waiver(open_of(scene), REASON, officer(scene)), False, officer(scene), "No"
    )
    client.force_login(officer(scene))
    given = {"answer": "no", "note": "The ceiling bears it after all"}

    page = client.post(f"/proof/jobs/{scene.job.pk}/waiver-answer/", given).content.decode()

    told = page.partition("<h1>")[0]
    assert "This waiver is answered already." in told
    assert given["note"] in told


def test_the_api_does_the_same():
    scene, _ = short_scene()
    one, two = APIClient(), APIClient()
    one.force_authenticate(officer(scene))
    two.force_authenticate(officer(scene))

    made = one.post("/api/v1/waivers/", {"shortfall": open_of(scene).pk, "reason": REASON})
    own = one.post(f"/api/v1/waivers/{made.json()['id']}/answer/", {"agreed": True})
    other = two.post(f"/api/v1/waivers/{made.json()['id']}/answer/", {"agreed": True})

    assert (made.status_code, own.status_code, other.status_code) == (201, 400, 200)
    assert other.json()["agreed"] is True
