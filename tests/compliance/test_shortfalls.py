"""Shortfalls: who puts it right, with which visit, and what the database refuses."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.core import mail
from django.db import IntegrityError, connection, transaction
from django.utils import timezone

from compliance.assess import assess_job
from compliance.causes import likely_cause
from compliance.digest import chase_late
from compliance.models import Shortfall
from compliance.shortfalls import assign_owner, send_call_back, set_due_date
from compliance.waivers import record_waiver
from jobs.edits import edits_of, sources_of_job
from jobs.errors import Conflict, Refused
from jobs.models import Job, Stage, User, Visit
from jobs.planning.booking import book_visit, cancel_visit
from tests.compliance.scene import SHORT_DEPTHS, call_back, fitted, short_scene
from tests.factories import A_MONDAY, CrewFactory, UserFactory, VisitFactory

pytestmark = pytest.mark.django_db

NEXT_WEEK = A_MONDAY + timedelta(days=7)


def shortfall_of(scene) -> Shortfall:
    return Shortfall.objects.get(job=scene.job)


def test_a_call_back_is_booked_and_remembered():
    scene, _ = short_scene()
    planner = scene.person("planner")

    visit = send_call_back(shortfall_of(scene), scene.visit.crew, NEXT_WEEK, 2.0, planner)

    assert (visit.kind, visit.booked_by) == (Visit.Kind.CALL_BACK, planner)
    assert shortfall_of(scene).call_back == visit
    assert Job.objects.get(pk=scene.job.pk).stage == Stage.BOOKED


def test_a_call_back_booked_elsewhere_is_remembered_and_was_asked_for():
    scene, _ = short_scene()
    need = scene.job.visit_needs.get(kind="call_back")
    assert need.preferred_crew == scene.visit.crew

    visit = book_visit(
        scene.job, "call_back", scene.visit.crew, None, NEXT_WEEK, 2.0, scene.person("planner")
    )

    assert visit.need == need
    assert shortfall_of(scene).call_back == visit


def test_a_second_call_back_waits_for_the_first():
    scene, _ = short_scene()
    planner = scene.person("planner")
    send_call_back(shortfall_of(scene), scene.visit.crew, NEXT_WEEK, 2.0, planner)

    with pytest.raises(Conflict, match="cannot be booked"):
        send_call_back(
            shortfall_of(scene), scene.visit.crew, NEXT_WEEK + timedelta(days=1), 2.0, planner
        )


def test_a_cancelled_call_back_leaves_the_job_short_and_another_can_be_sent():
    scene, _ = short_scene()
    planner = scene.person("planner")
    visit = send_call_back(shortfall_of(scene), scene.visit.crew, NEXT_WEEK, 2.0, planner)
    cancel_visit(visit, "crew ill", planner)

    assert Job.objects.get(pk=scene.job.pk).stage == Stage.SHORT
    assert Shortfall.objects.without_call_back().count() == 1
    assert send_call_back(shortfall_of(scene), scene.visit.crew, NEXT_WEEK, 2.0, planner).pk


def test_a_crew_that_is_elsewhere_is_refused_and_nothing_changes():
    scene, _ = short_scene()
    VisitFactory(
        job__company=scene.company,
        crew=scene.visit.crew,
        during=(NEXT_WEEK, NEXT_WEEK + timedelta(hours=3)),
    )

    with pytest.raises(Conflict, match="already booked"):
        send_call_back(
            shortfall_of(scene), scene.visit.crew, NEXT_WEEK, 2.0, scene.person("planner")
        )
    assert shortfall_of(scene).call_back is None


def test_the_owner_is_of_the_company_and_the_office():
    scene, _ = short_scene()
    officer = scene.person("compliance_officer")

    assert assign_owner(shortfall_of(scene), officer).owner == officer
    for other in (scene.installer, UserFactory()):
        with pytest.raises(Refused, match="cannot own"):
            assign_owner(shortfall_of(scene), other)


def test_whoever_sent_the_crew_owns_it_at_first():
    scene, _ = short_scene()

    assert shortfall_of(scene).owner == scene.visit.booked_by


def test_an_officer_owns_it_where_the_account_of_who_sent_them_was_closed():
    scene = fitted(SHORT_DEPTHS)
    User.objects.filter(pk=scene.visit.booked_by_id).update(is_active=False)
    scene.person("planner")
    officer = scene.person("compliance_officer")
    assess_job(scene.job.pk)

    assert shortfall_of(scene).owner == officer


def test_a_closed_shortfall_takes_no_owner_and_no_call_back():
    scene, _ = short_scene()
    call_back(scene, (290.0,))
    assess_job(scene.job.pk)
    closed = shortfall_of(scene)

    with pytest.raises(Conflict, match="closed"):
        assign_owner(closed, scene.person("planner"))
    with pytest.raises(Conflict, match="closed"):
        send_call_back(closed, scene.visit.crew, NEXT_WEEK, 2.0, scene.person("planner"))


def test_late_ones_are_chased_once_a_day():
    scene, _ = short_scene()
    officer = scene.person("compliance_officer")
    shortfall = shortfall_of(scene)
    day = shortfall.due_on + timedelta(days=3)

    assert chase_late(shortfall.due_on) == 0
    assert (chase_late(day), chase_late(day)) == (2, 0)
    told = {message.to[0] for message in mail.outbox}
    assert told == {officer.email, scene.visit.booked_by.email}
    assert "3 days late" in mail.outbox[0].body
    assert scene.job.reference in mail.outbox[0].body


def test_owner_and_officers_are_told_who_puts_it_right_by_when_and_with_what():
    scene, _ = short_scene()
    officer, owner = scene.person("compliance_officer"), scene.person("planner")
    shortfall = assign_owner(shortfall_of(scene), owner)

    chase_late(shortfall.due_on + timedelta(days=1))

    assert {message.to[0] for message in mail.outbox} == {officer.email, owner.email}
    body = mail.outbox[0].body
    assert f"owner {owner}" in body
    assert f"due {shortfall.due_on:%-d %b %Y}, 1 day late" in body
    assert "a layer is missing" in body
    assert re.search(r"about [0-9]+ min for two people", body)


def test_thousands_of_late_ones_make_one_mail_that_can_be_read(monkeypatch):
    monkeypatch.setattr("compliance.digest.MOST_LINES", 2)
    scene, _ = short_scene()
    for _ in range(3):
        short_scene(company=scene.company)
    officer = scene.person("compliance_officer")

    chase_late(shortfall_of(scene).due_on + timedelta(days=1))

    (message,) = [one for one in mail.outbox if one.to == [officer.email]]
    assert (message.to, message.subject) == ([officer.email], "4 late shortfalls")
    assert message.body.count("- J-") == 2
    assert "- and 2 more\n\nAll of them: http" in message.body


def test_a_waiver_that_waits_is_told_to_whoever_may_answer_it():
    scene, _ = short_scene()
    officer, second = scene.person("compliance_officer"), scene.person("compliance_officer")
    record_waiver(shortfall_of(scene), "The ceiling bears no more", officer)

    assert chase_late(timezone.localdate(shortfall_of(scene).flagged_at)) == 1

    (message,) = mail.outbox
    assert message.to == [second.email]
    assert message.subject == "1 waiver that waits for you"
    assert "The ceiling bears no more" in message.body


def test_the_due_date_is_moved_by_the_company_and_every_move_is_told():
    scene, _ = short_scene()
    planner = scene.person("planner")
    shortfall = shortfall_of(scene)
    first, later = shortfall.due_on, shortfall.due_on + timedelta(days=14)

    set_due_date(shortfall, later, planner)
    with pytest.raises(Refused, match="has passed"):
        set_due_date(shortfall, A_MONDAY.date() - timedelta(days=900), planner)
    with pytest.raises(Refused, match="of the company"):
        set_due_date(shortfall, later, UserFactory(role="planner"))

    changes = {
        (change.label, change.was, change.now)
        for edit in edits_of(sources_of_job(scene.job), planner)
        for change in edit.changes
        if edit.what.startswith("Shortfall")
    }
    assert ("Due on", f"{first:%-d %b %Y}", f"{later:%-d %b %Y}") in changes


def test_an_assessment_from_before_it_was_flagged_closes_nothing_even_by_force_of_sql():
    scene = fitted()
    met = assess_job(scene.job.pk)
    call_back(scene, (170.0,))
    assess_job(scene.job.pk)
    shortfall = shortfall_of(scene)

    for change in (
        "closed_by_id = %s, closed_at = now()",
        "closed_by_id = %s, waived_by_id = NULL, closed_at = now(), assessment_id = assessment_id",
    ):
        with (
            pytest.raises(Exception, match="later assessment"),
            transaction.atomic(),
            connection.cursor() as cursor,
        ):
            cursor.execute(
                f"UPDATE compliance_shortfall SET {change} WHERE id = {shortfall.pk}", [met.pk]
            )
    for statement in ("DELETE FROM compliance_shortfall", "TRUNCATE compliance_shortfall CASCADE"):
        with (
            pytest.raises(Exception, match=r"(?i)cannot|never emptied|pending trigger"),
            transaction.atomic(),
            connection.cursor() as cursor,
        ):
            cursor.execute(statement)
    assert shortfall_of(scene).closed_at is None


def test_a_closed_shortfall_is_never_opened_or_changed_again():
    scene, _ = short_scene()
    call_back(scene, (290.0,))
    assess_job(scene.job.pk)

    with pytest.raises(Exception, match="Cannot update"), transaction.atomic():
        Shortfall.objects.update(closed_by=None, closed_at=None)
    with pytest.raises(Exception, match="Cannot update"), transaction.atomic():
        Shortfall.objects.update(deficit_mm=0)


def area(mean_mm: float, share_below: float, verdict: str = "short") -> dict:
    return {"verdict": verdict, "counted": 9, "mean_mm": mean_mm, "share_below": share_below}


CAUSES = [
    (area(165, 1.0), "too_few_layers", "all low by a roll"),
    (area(250, 0.9), "compressed", "many a little low"),
    (area(262, 0.25), "patch", "a few low among many"),
    (area(300, 0.0, "meets"), "unknown", "no short area with readings"),
]


@pytest.mark.parametrize(("worst", "cause", "reason"), CAUSES, ids=[row[2] for row in CAUSES])
def test_the_likely_cause_follows_the_shape_of_the_readings(worst, cause: str, reason: str):
    """Common practice, no published source."""
    assert likely_cause({"areas": [area(290, 0.0, "meets"), worst]}, 270) == cause


def run(statement: str, *parameters: object) -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement, parameters)


def test_raw_sql_cannot_close_a_shortfall_by_a_verdict_that_does_not_meet():
    scene, assessment = short_scene()

    with pytest.raises(IntegrityError, match="closed only by a later assessment"):
        run(
            "UPDATE compliance_shortfall SET closed_by_id = %s, closed_at = now()",
            assessment.pk,
        )


def test_raw_sql_cannot_close_a_shortfall_by_another_jobs_verdict():
    short_scene()
    other = assess_job(fitted().job.pk)

    with pytest.raises(IntegrityError):
        run("UPDATE compliance_shortfall SET closed_by_id = %s, closed_at = now()", other.pk)


def test_raw_sql_cannot_close_a_shortfall_by_nothing():
    short_scene()

    with pytest.raises(IntegrityError, match="shortfall_closed_by_an_assessment"):
        run("UPDATE compliance_shortfall SET closed_at = now()")


def test_raw_sql_cannot_delete_a_shortfall():
    short_scene()

    with pytest.raises(Exception, match="Cannot delete rows"):
        run("DELETE FROM compliance_shortfall")


def test_raw_sql_cannot_give_a_shortfall_to_another_companys_person_or_visit():
    short_scene()

    with pytest.raises(IntegrityError, match="person of the company"):
        run("UPDATE compliance_shortfall SET owner_id = %s", UserFactory().pk)
    with pytest.raises(IntegrityError, match="visit to the very job"):
        run("UPDATE compliance_shortfall SET call_back_id = %s", VisitFactory().pk)


def test_another_companys_crew_is_not_sent():
    scene, _ = short_scene()

    with pytest.raises(Refused, match="crew cannot be booked"):
        send_call_back(shortfall_of(scene), CrewFactory(), NEXT_WEEK, 2.0, scene.person("planner"))
