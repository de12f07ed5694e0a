"""After the release: answers with evidence, the auditor's word, dates; what none can change."""

from __future__ import annotations

import hashlib
import io
import re
from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import DatabaseError, connection, transaction
from django.urls import reverse
from django.utils import timezone

from compliance.audits.answers import (
    answer_finding,
    reply_to_answer,
    standing_of,
    waiting_for_auditor,
    waiting_for_company,
    with_standing,
)
from compliance.audits.chasing import remind_of_answers
from compliance.audits.findings import record_finding
from compliance.audits.follow_up import ask_follow_up
from compliance.models import (
    AnswerEvidence,
    EvidenceAccess,
    Finding,
    FindingAnswer,
    FindingReply,
    LedgerEntry,
)
from jobs.errors import Conflict, Refused
from tests.compliance.paper import plain_pdf
from tests.compliance.reading_scene import AuditScene, audit_scene
from tests.factories import UserFactory
from tests.pictures import loft_jpeg, png_claiming

pytestmark = pytest.mark.django_db

PDF = plain_pdf()
PICTURE = loft_jpeg(2)


@pytest.fixture
def scene() -> AuditScene:
    return audit_scene()


@pytest.fixture
def finding(scene) -> Finding:
    return record_finding(scene.drawn, scene.auditor, severity="minor", text="Tray missing.")


@pytest.fixture
def officer(scene):
    return scene.person("compliance_officer")


def standing(finding: Finding, today=None):
    return standing_of(with_standing(Finding.objects.filter(pk=finding.pk)).get(), today)


def test_the_company_answers_with_photo_document_and_link(client, scene, finding, officer):
    picture = loft_jpeg(7)
    photo = scene.scene.job.photos.first()
    client.force_login(officer)
    sent = {
        "text": "Fitted on Friday.",
        "files": [
            SimpleUploadedFile("a.jpg", picture, "image/jpeg"),
            SimpleUploadedFile("b.pdf", PDF, "application/pdf"),
        ],
        "links": [f"photo:{photo.pk}"],
    }

    client.post(reverse("finding", args=[finding.pk]), sent)

    rows = AnswerEvidence.objects.order_by("pk")
    assert [row.concerns for row in rows] == [f"photo:{photo.pk}", "", ""]
    assert [row.sha256 for row in rows if row.sha256] == [
        hashlib.sha256(content).hexdigest() for content in (picture, PDF)
    ]
    client.force_login(scene.auditor)
    shown = client.get(reverse("finding", args=[finding.pk])).text
    assert "Fitted on Friday." in shown and hashlib.sha256(PDF).hexdigest() in shown
    got = client.get(reverse("answer_file", args=[rows[1].pk]))
    assert b"".join(got.streaming_content) == picture
    assert got["Content-Disposition"].startswith("attachment")
    assert EvidenceAccess.objects.filter(what__startswith="file of the answer").exists()


@pytest.mark.parametrize(
    ("content", "said"),
    [
        pytest.param(b"<html>", "web page", id="a web page"),
        pytest.param(PDF[:-8], "broke off", id="a document without its end"),
        pytest.param(loft_jpeg(1)[:9000], "broke off", id="a photo without its end"),
        pytest.param(b"MZ" + bytes(99), "a program", id="a program"),
        pytest.param(b"GIF89a" + bytes(99), "a GIF picture", id="a picture of another kind"),
        pytest.param(png_claiming(2**15, 2**15), "smaller copy", id="a picture that is too large"),
    ],
)
def test_what_is_no_evidence_is_refused_and_nothing_is_answered(finding, officer, content, said):
    with pytest.raises(Refused, match=said) as refusal:
        answer_finding(finding, officer, "See here.", files=[io.BytesIO(content)])

    assert refusal.value.field == "files"
    assert not re.search("(?i)set the camera|take (it|the|a photo)", str(refusal.value))
    assert not FindingAnswer.objects.exists()


def test_an_office_that_chose_a_text_is_told_so_and_what_is_taken(client, finding, officer):
    client.force_login(officer)
    notes = SimpleUploadedFile("notes.txt", "Fitted – see the van’s log.\n".encode(), "text/plain")

    page = client.post(reverse("finding", args=[finding.pk]), {"text": "Done.", "files": [notes]})

    assert "notes.txt: this file is a text, not a photo. Photos (JPEG, PNG" in page.text
    assert "camera" not in page.text


def test_an_answer_links_nothing_of_another_job(finding, officer):
    with pytest.raises(Refused) as refusal:
        answer_finding(finding, officer, "See here.", links=["photo:999999"])

    assert refusal.value.field == "links"


def test_the_exchange_goes_on_until_the_auditor_accepts(scene, finding, officer):
    today = timezone.localdate()
    assert standing(finding).state == "open"
    answer_finding(finding, officer, "Fitted.")
    assert standing(finding).state == "answered"
    reply_to_answer(finding, scene.auditor, accepted=False, text="Show it.", today=today)
    assert standing(finding).state == "returned"
    assert standing(finding).due_on == today + timedelta(days=14)
    answer_finding(finding, officer, "Here.")
    reply_to_answer(finding, scene.auditor, accepted=True)

    assert standing(finding).state == "closed"
    with pytest.raises(Conflict, match="closed"):
        answer_finding(finding, officer, "One more thing.")
    with pytest.raises(Conflict, match="No answer|closed"):
        reply_to_answer(finding, scene.auditor, accepted=True)


def test_an_answer_is_not_turned_down_without_a_reason(scene, finding, officer):
    answer_finding(finding, officer, "Fitted.")

    with pytest.raises(Refused, match="Say why"):
        reply_to_answer(finding, scene.auditor, accepted=False)


def test_nothing_is_replied_before_an_answer(scene, finding):
    with pytest.raises(Conflict, match="No answer waits"):
        reply_to_answer(finding, scene.auditor, accepted=True)


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        ({"word": "accepted", "text": "Fine."}, "accepted, or asked for again"),
        ({"word": "return", "text": "x" * 4001}, "most 4000 characters"),
    ],
)
def test_a_reply_that_the_page_does_not_offer_is_none(client, scene, finding, officer, sent, said):
    answer_finding(finding, officer, "Covered again.")
    client.force_login(scene.auditor)

    shown = client.post(reverse("finding_reply", args=[finding.pk]), sent, follow=True)

    assert said in shown.text
    assert not FindingReply.objects.exists()


def test_an_answer_that_another_tab_was_quicker_with_is_given_back(client, scene, finding, officer):
    answer_finding(finding, officer, "Covered again.")
    client.force_login(officer)

    shown = client.post(reverse("finding", args=[finding.pk]), {"text": "Typed in another tab."})

    assert "this one was not sent" in shown.text and "Typed in another tab." in shown.text
    assert FindingAnswer.objects.count() == 1


def test_pages_give_each_side_its_form_when_it_is_its_turn(client, scene, finding, officer):
    address = reverse("finding", args=[finding.pk])
    client.force_login(scene.auditor)
    assert "Accept, and close" not in client.get(address).text
    client.force_login(scene.person("planner"))
    client.post(address, {"text": "I answer this."})
    assert "<textarea" not in client.get(address).text
    client.force_login(officer)
    client.post(address, {"text": "Fitted."})
    assert "<textarea" not in client.get(address).text

    client.force_login(scene.auditor)
    assert "Accept, and close" in client.get(address).text
    client.post(reverse("finding_reply", args=[finding.pk]), {"word": "return", "text": "Show it."})

    client.force_login(officer)
    shown = client.get(address).text
    assert "Not accepted" in shown and "Show it." in shown and "<textarea" in shown
    assert [row.answered_by for row in FindingAnswer.objects.all()] == [officer]


@pytest.mark.parametrize(
    ("days_left", "said"),
    [(8, ""), (7, "in 7 days"), (5, ""), (3, "in 3 days"), (1, "tomorrow"), (0, "today")],
)
def test_the_company_is_reminded_before_an_answer_is_due(
    finding, officer, mailoutbox, days_left, said
):
    today = finding.answer_due_on - timedelta(days=days_left)

    assert remind_of_answers(today) == bool(said)
    assert remind_of_answers(today) == 0
    assert all("Tray missing.”, due" in mail.body and said in mail.body for mail in mailoutbox)
    assert standing(finding, today).soon == (days_left <= 3)


def test_what_an_auditor_asked_for_is_reminded_of_too(scene, finding, officer, mailoutbox):
    asked = ask_follow_up(finding, "call_back", scene.auditor)

    assert remind_of_answers(asked.due_on - timedelta(days=1)) == 1
    assert "call-back, “Tray missing.”, due" in mailoutbox[0].body
    assert "tomorrow" in mailoutbox[0].body and "14 days late" not in mailoutbox[0].subject


def test_late_findings_are_chased_by_mail_once_a_day(finding, officer, mailoutbox):
    late = finding.answer_due_on + timedelta(days=3)

    assert standing(finding, late).late
    assert remind_of_answers(late) == 1
    assert remind_of_answers(late) == 0

    (mail,) = mailoutbox
    assert mail.to == [officer.email]
    assert "Tray missing." in mail.body and "3 days late" in mail.body


def test_an_answer_that_came_late_is_taken_and_says_so(client, scene, finding, officer):
    answer_finding(finding, officer, "Fitted.")
    ago = timezone.localdate() - timedelta(days=17)
    reply_to_answer(finding, scene.auditor, accepted=False, text="Show it.", today=ago)
    client.force_login(officer)
    address = reverse("finding", args=[finding.pk])

    before = client.get(address).text
    client.post(address, {"text": "Here."})

    assert "The day to answer by has passed" in before
    assert client.get(address).text.count("3 days late") == 1


def test_what_may_be_dangerous_is_answered_sooner(scene):
    made = record_finding(scene.drawn, scene.auditor, severity="critical", text="Lamp covered.")

    assert made.answer_due_on == timezone.localdate() + timedelta(days=3)


def test_an_answered_or_closed_finding_is_not_chased(scene, finding, officer, mailoutbox):
    answer_finding(finding, officer, "Fitted.")

    assert remind_of_answers(finding.answer_due_on + timedelta(days=30)) == 0
    assert mailoutbox == []


def test_lists_of_each_side_hold_what_waits_for_it(scene, finding, officer):
    everything = Finding.objects.all()
    assert list(waiting_for_company(everything)) == [finding]
    assert not waiting_for_auditor(everything)

    answer_finding(finding, officer, "Fitted.")

    assert not waiting_for_company(everything)
    assert list(waiting_for_auditor(everything)) == [finding]


def test_the_whole_exchange_stands_in_the_ledger(scene, finding, officer):
    answer_finding(finding, officer, "Fitted.", files=[io.BytesIO(PICTURE)])
    reply_to_answer(finding, scene.auditor, accepted=True)

    entries = LedgerEntry.objects.filter(belongs_to=f"finding {finding.pk}")

    assert set(entries.values_list("kind", flat=True)) == {
        "compliance_findinganswer",
        "compliance_answerevidence",
        "compliance_findingreply",
    }
    assert (
        hashlib.sha256(PICTURE).hexdigest() in entries.get(kind="compliance_answerevidence").payload
    )


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE compliance_findingreply SET accepted = false",
        "DELETE FROM compliance_findingreply",
        "UPDATE compliance_answerevidence SET sha256 = repeat('0', 64)",
        "DELETE FROM compliance_answerevidence",
        "UPDATE compliance_findinganswer SET text = 'no'",
        "INSERT INTO compliance_findinganswer (finding_id, text, answered_by_id, answered_at) "
        "SELECT finding_id, 'later', answered_by_id, now() FROM compliance_findinganswer",
        "INSERT INTO compliance_findingreply "
        "(finding_id, answer_id, accepted, text, replied_by_id, replied_at) "
        "SELECT finding_id, id, true, '', answered_by_id, now() FROM compliance_findinganswer",
    ],
)
def test_raw_sql_cannot_change_what_was_said(scene, finding, officer, statement):
    answer_finding(finding, officer, "Fitted.", files=[io.BytesIO(PICTURE)])
    reply_to_answer(finding, scene.auditor, accepted=True)

    with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement)


def test_the_company_reads_what_auditors_opened_of_its_jobs_alone(client, scene, officer):
    client.force_login(scene.auditor)
    client.get(reverse("drawn_job", args=[scene.drawn.pk]))

    def told(person) -> str:
        client.force_login(person)
        return client.get(reverse("auditor_openings")).text

    assert "audit reading" in told(officer) and str(scene.auditor) in told(officer)
    assert "audit reading" not in told(UserFactory(role="compliance_officer"))
    client.force_login(officer)
    assert client.get(reverse("auditor_openings"), {"job": "\0"}).status_code == 200
