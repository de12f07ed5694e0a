"""What follows from a round: how the next is inspected, call-backs, and withdrawals asked for."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from django.db import DatabaseError, transaction
from django.test import Client
from django.utils import timezone

from compliance.audits.findings import record_finding
from compliance.audits.follow_up import ask_follow_up, take_up, turn_down
from compliance.audits.outcome import outcome_of
from compliance.audits.rounds import close_round, widen_round
from compliance.audits.switching import Subject, resume_inspection, standing_of
from compliance.certificates.withdraw import withdraw_certificate
from compliance.models import (
    AuditFollowUp,
    AuditFollowUpAnswer,
    Certificate,
    CertificateWithdrawal,
    LedgerEntry,
    SwitchingStep,
)
from jobs.errors import Conflict, Refused
from jobs.models import Job, User, VisitNeed
from jobs.planning.needs import keep_needs_in_step
from tests.compliance.population_scene import Population, population
from tests.factories import UserFactory

# Two jobs are drawn of twelve, and none may be defective.
SMALL = {"level": "I", "aql": 6.5}


pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def scene(django_db_setup: None, django_db_blocker: Any) -> Iterator[Population]:
    """One population for all tests; nothing of it stays."""
    with django_db_blocker.unblock(), transaction.atomic():
        yield population()
        transaction.set_rollback(True)


def signed_in(person: User) -> Client:
    client = Client()
    client.force_login(person)
    return client


# --- Switching


def test_two_of_five_not_accepted_tighten_the_next_round_and_it_says_why(scene: Population):
    for found in (1, 0):
        assert scene.closed(found, **SMALL).severity == "normal"
    last = scene.closed(1, **SMALL, name="Third")

    following = scene.begin(**SMALL)

    assert last.accepted is False
    assert following.severity == "tightened"
    assert "Third was not accepted: two of five" in following.severity_reason
    noted = AuditFollowUp.objects.get(round=last, kind="tightened")
    assert noted.answer.note == "Autumn is inspected at tightened."
    assert LedgerEntry.objects.filter(kind="compliance_switchingstep").count() == 3


def test_an_accepted_round_after_one_that_was_not_says_how_long_that_one_counts(scene: Population):
    """ISO 2859-1, 9.3.3.1: two of five or fewer lots in a row that are not accepted tighten."""
    said = [scene.closed(found, **SMALL).switching_step.why for found in (1, 0, 0, 0, 0)]

    assert "one more like it within five rounds" in said[0]
    assert "accepted, but one before it was not: if one of the next 3 rounds is not" in said[1]
    assert "if the next round is not, it is tightened" in said[3]
    assert "the switching score is" in said[4]


def test_each_crew_company_and_scheme_has_a_series_of_its_own(scene: Population):
    for _ in range(2):
        scene.closed(1, **SMALL, crew=scene.risky)

    assert scene.begin(**SMALL, crew=scene.risky).severity == "tightened"
    assert scene.begin(**SMALL, crew=scene.calm).severity == "normal"
    assert scene.begin(**SMALL, company=scene.company).severity == "normal"
    assert scene.begin(**SMALL).severity == "normal"


def test_good_work_is_inspected_less_once_the_score_is_thirty(scene: Population):
    """ISO 2859-1, 9.3.3: 2 points a lot accepted by a plan that accepts on 0 or 1."""
    for score in range(2, 30, 2):
        scene.closed(0, **SMALL)
        assert standing_of(Subject(scene.scheme)).state.score == score
    scene.closed(0, **SMALL)

    assert scene.begin(**SMALL).severity == "reduced"


def test_the_scheme_may_do_without_reduced_inspection(scene: Population):
    for _ in range(15):
        scene.closed(0, **SMALL)

    assert scene.begin(**SMALL, severity="normal").severity == "normal"
    following = scene.begin(**SMALL)
    assert (following.severity, following.severity_reason[:17]) == ("normal", "The scheme does n")


def test_severity_is_nobodys_choice_but_at_the_beginning(scene: Population):
    with pytest.raises(Refused, match="switching rules"):
        scene.closed(0, **SMALL)
        scene.begin(**SMALL, severity="reduced")

    begun = scene.begin(**SMALL, company=scene.company, severity="tightened")

    assert begun.severity == "tightened"
    assert scene.begin(**SMALL, company=scene.company).severity == "tightened"


def test_the_fifth_missed_while_tightened_stops_until_it_is_resumed(scene: Population):
    scene.begin(**SMALL, severity="tightened")
    for _ in range(5):
        scene.closed(1, **SMALL)
    with pytest.raises(Conflict, match="stopped"):
        scene.begin(**SMALL)

    resume_inspection(Subject(scene.scheme), scene.auditor, "New training, seen on site.")

    following = scene.begin(**SMALL)
    assert following.severity == "tightened"
    assert "New training" in following.severity_reason


def test_a_round_by_confidence_is_no_lot_of_a_series(scene: Population):
    scene.closed(1, plan="confidence")

    assert not SwitchingStep.objects.exists()


# --- Asking, and answering


def test_a_call_back_withdraws_by_the_officer_and_waits_to_be_booked(scene: Population):
    finding = scene.finding("critical")
    asked = ask_follow_up(finding, "call_back", scene.auditor)

    answer = take_up(asked, scene.officer, "At once.")

    job = Job.objects.get(pk=finding.drawn_job.job_id)
    assert job.stage == "to_assess"
    assert not Certificate.objects.current().filter(job=job).exists()
    assert answer.withdrawal.withdrawn_by == scene.officer
    need = answer.need
    assert (need.kind, need.state, need.priority) == ("call_back", "open", 5)
    assert (need.note, need.due_on) == ("Audit: Bare strip.", asked.due_on)
    keep_needs_in_step(job)
    need.refresh_from_db()
    assert (need.state, need.due_on) == ("open", asked.due_on)


def test_a_withdrawal_is_asked_by_the_auditor_and_done_by_the_officer(scene: Population):
    finding = scene.finding()
    asked = ask_follow_up(finding, "withdrawal", scene.auditor)
    certificate = Certificate.objects.current().get(job=asked.job)

    for person in (scene.planner, scene.auditor):
        with pytest.raises(Refused):
            take_up(asked, person)
    assert Certificate.objects.current().filter(pk=certificate.pk).exists()
    answer = take_up(asked, scene.officer)

    assert answer.withdrawal.certificate == certificate
    assert (answer.withdrawal.reason, answer.withdrawal.kind) == ("Audit: Bare strip.", "audit")
    with pytest.raises(Conflict, match="answered already"):
        turn_down(asked, scene.officer, "After all not.")


def test_what_is_turned_down_says_why_and_stays(scene: Population):
    asked = ask_follow_up(scene.finding("minor"), "call_back", scene.auditor)
    with pytest.raises(Refused, match="why"):
        turn_down(asked, scene.officer, " ")
    with pytest.raises(Refused, match="compliance officer"):
        turn_down(asked, scene.planner, "No time.")

    answer = turn_down(asked, scene.officer, "It was fitted since.")

    assert not answer.done
    kinds = LedgerEntry.objects.filter(belongs_to=f"job {asked.job_id}")
    assert kinds.filter(kind="compliance_auditfollowupanswer").exists()


@pytest.mark.parametrize(
    ("severity", "kind", "words"),
    [
        ("observation", "call_back", "observation"),
        ("minor", "withdrawal", "major or critical"),
        ("major", "widening", "call-back or a withdrawal"),
    ],
)
def test_what_does_not_follow_is_refused(scene: Population, severity: str, kind: str, words: str):
    with pytest.raises(Refused, match=words):
        ask_follow_up(scene.finding(severity), kind, scene.auditor)


def test_nothing_is_asked_twice_because_of_one_finding(scene: Population):
    finding = scene.finding()
    ask_follow_up(finding, "call_back", scene.auditor)

    with pytest.raises(Conflict, match="asked for already"):
        ask_follow_up(finding, "call_back", scene.auditor)


def test_the_database_takes_no_answer_of_an_auditor_nor_one_without_the_deed(scene: Population):
    asked = ask_follow_up(scene.finding(), "withdrawal", scene.auditor)
    stranger = UserFactory(role="compliance_officer")
    for person, done in ((scene.auditor, False), (stranger, False), (scene.officer, True)):
        with pytest.raises(DatabaseError), transaction.atomic():
            AuditFollowUpAnswer.objects.create(
                follow_up=asked, job=asked.job, done=done, note="So it is", answered_by=person
            )
    certificate = Certificate.objects.current().get(job=asked.job)
    with pytest.raises(Refused, match="auditor asks"):
        withdraw_certificate(certificate, "By myself", scene.auditor)
    with pytest.raises(DatabaseError), transaction.atomic():
        AuditFollowUp.objects.create(
            kind="call_back",
            round=asked.round,
            finding=asked.finding,
            job=asked.job,
            reason="By itself",
            due_on=asked.due_on,
            asked_by=scene.officer,
        )


def test_a_widening_is_noted_and_done_once_all_is_read(scene: Population):
    record = scene.draw(**SMALL)
    scene.read(record, defective=1)
    widen_round(record, "One of two.", scene.auditor)
    noted = AuditFollowUp.objects.get(round=record, kind="widening")
    with pytest.raises(Conflict, match="2 drawn jobs"):
        close_round(record)
    scene.read(record)

    closed = close_round(record)

    noted.refresh_from_db()
    assert noted.answer.note == "All 4 jobs are read, 1 of them defective."
    assert closed.accepted is False
    assert outcome_of(closed).next_inspection.why == closed.switching_step.why


# --- Pages


def test_what_may_be_dangerous_is_put_right_sooner(scene: Population):
    record = scene.draw()
    first, second = record.drawn_jobs.select_related("round", "job")[:2]
    days = []
    for drawn, severity in ((first, "critical"), (second, "major")):
        finding = record_finding(drawn, scene.auditor, severity=severity, text="A covered light.")
        for kind in ("call_back", "withdrawal"):
            days.append(ask_follow_up(finding, kind, scene.auditor).due_on - timezone.localdate())

    assert [each.days for each in days] == [3, 3, 28, 7]


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        pytest.param({"answer": "turn_down", "note": "x" * 601}, "600", id="too long"),
        pytest.param({"answer": "else"}, "done, or turned down", id="no such answer"),
        pytest.param({}, "done, or turned down", id="nothing"),
    ],
)
def test_an_answer_that_the_page_does_not_offer_does_nothing(scene: Population, sent, said):
    asked = ask_follow_up(scene.finding(), "withdrawal", scene.auditor)

    shown = signed_in(scene.officer).post(f"/findings/asked/{asked.pk}/answer/", sent)

    assert shown.status_code == 422 and said in shown.text
    assert sent.get("note", "") in shown.text
    assert not AuditFollowUpAnswer.objects.exists()
    assert Certificate.objects.current().filter(job=asked.job).exists()


def test_the_officer_sees_what_is_asked_and_withdraws_on_the_page(scene: Population):
    asked = ask_follow_up(scene.finding("critical"), "withdrawal", scene.auditor)
    officer, planner = signed_in(scene.officer), signed_in(scene.planner)

    shown = officer.get("/findings/asked/").content.decode()
    assert asked.job.reference in shown
    assert "It may be dangerous now" in shown
    assert "Withdraw the certificate" not in planner.get("/findings/asked/").content.decode()
    officer.post(f"/findings/asked/{asked.pk}/answer/", {"answer": "take_up"})

    assert CertificateWithdrawal.objects.filter(certificate__job=asked.job).exists()
    assert "Nothing waits" in officer.get("/findings/asked/").content.decode()


def test_much_that_is_asked_stands_on_pages_and_a_refusal_on_its_own(
    scene: Population, monkeypatch
):
    monkeypatch.setattr("compliance.pages.follow_ups.WAITING_A_PAGE", 1)
    finding = scene.finding("critical")
    first, second = sorted(
        (ask_follow_up(finding, kind, scene.auditor) for kind in ("call_back", "withdrawal")),
        key=lambda asked: (asked.due_on, asked.pk),
    )
    officer = signed_in(scene.officer)

    def answered_on(page: str) -> list[bool]:
        return [f"/findings/asked/{one.pk}/answer/" in page for one in (first, second)]

    pages = [officer.get(f"/findings/asked/?page={n}").content.decode() for n in (1, 2)]
    assert [answered_on(page) for page in pages] == [[True, False], [False, True]]
    # Turned down without the reason that is asked for.
    refused = officer.post(f"/findings/asked/{second.pk}/answer/", {"answer": "turn_down"})
    assert answered_on(refused.content.decode()) == [False, True]
    assert "Not answered yet" in refused.content.decode()


def test_a_withdrawal_that_a_call_back_brought_along_is_left_to_be_told(scene: Population):
    finding = scene.finding("critical")
    called, withdrawn = (
        ask_follow_up(finding, kind, scene.auditor) for kind in ("call_back", "withdrawal")
    )
    officer = signed_in(scene.officer)

    url = f"/findings/asked/{called.pk}/answer/"
    page = officer.post(url, {"answer": "take_up"}, follow=True).content.decode()
    assert "The certificate is withdrawn. The call-back waits" in page
    assert "Tell that it is withdrawn" in page
    officer.post(f"/findings/asked/{withdrawn.pk}/answer/", {"answer": "take_up"})

    withdrawn.refresh_from_db()
    called.refresh_from_db()
    assert withdrawn.answer.withdrawal == called.answer.withdrawal


def test_the_auditor_asks_widens_and_closes_on_the_page_of_the_round(scene: Population):
    record = scene.draw(**SMALL, strata_by="kind")
    auditor = signed_in(scene.auditor)
    scene.read(record, defective=1)
    page = f"/audit/rounds/{record.pk}/"
    assert "Draw more jobs" in auditor.get(page).content.decode()

    finding = record.drawn_jobs.filter(findings__severity="major").get().findings.get()
    auditor.post(f"/audit/findings/{finding.pk}/ask/", {"kind": "call_back"})
    auditor.post(f"{page}widen/", {"reason": "One of two."})
    scene.read(record)
    auditor.post(f"{page}close/")

    shown = auditor.get(page).content.decode()
    assert record.drawn_jobs.count() == 4
    assert "Repeated just now" in shown
    assert "--widenings 1" in shown
    assert "Call-back, by" in shown
    assert "Exact (Clopper and Pearson)" in shown


def test_a_company_sees_how_its_jobs_were_drawn_and_repeats_it(scene: Population):
    own = scene.draw(company=scene.company)
    of_all = scene.draw(name="All companies")
    officer = signed_in(scene.officer)
    stranger = signed_in(UserFactory(role="compliance_officer"))

    shown = officer.get(f"/findings/draws/{own.pk}/").content.decode()
    listed = officer.get(f"/findings/draws/{own.pk}/population/").content.decode()

    assert "the same jobs" in shown
    assert "Draw the sample" not in shown
    assert listed.splitlines() == [job.reference for job in scene.jobs]
    assert "auditor hands it out" in officer.get(f"/findings/draws/{of_all.pk}/").content.decode()
    assert officer.get(f"/findings/draws/{of_all.pk}/population/").status_code == 404
    assert stranger.get(f"/findings/draws/{own.pk}/").status_code == 404


def test_the_list_of_rounds_tells_how_the_next_is_inspected(scene: Population):
    for _ in range(2):
        scene.closed(1, **SMALL, crew=scene.risky)

    shown = signed_in(scene.auditor).get("/audit/").content.decode()

    assert f"{scene.risky.name} of" in shown
    assert "so inspection is tightened" in shown


def test_a_round_page_takes_as_many_queries_for_many_jobs_as_for_few(
    scene: Population, django_assert_max_num_queries: Any
):
    record = scene.draw(plan="confidence", defective_share=0.1, strata_by="crew")
    scene.read(record, defective=6)
    auditor = signed_in(scene.auditor)
    auditor.get(f"/audit/rounds/{record.pk}/")

    with django_assert_max_num_queries(60):
        auditor.get(f"/audit/rounds/{record.pk}/")


def test_the_api_asks_and_answers(scene: Population):
    finding = scene.finding()
    auditor, officer = signed_in(scene.auditor), signed_in(scene.officer)
    made = auditor.post("/api/v1/audit-follow-ups/", {"finding": finding.pk, "kind": "withdrawal"})
    assert made.status_code == 201, made.content

    answer = f"/api/v1/audit-follow-ups/{made.json()['id']}/answer/"
    assert auditor.post(answer, {"done": True}).status_code == 403
    done = officer.post(answer, {"done": True})

    assert done.json()["done"] is True
    assert CertificateWithdrawal.objects.filter(certificate__job=finding.drawn_job.job).exists()
    assert not VisitNeed.objects.filter(job=finding.drawn_job.job).exists()
