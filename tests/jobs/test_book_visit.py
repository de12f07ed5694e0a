"""Booking, moving and cancelling visits, and what becomes of the job."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from jobs.announce import visit_changed
from jobs.errors import Conflict, Refused, Stale
from jobs.models import Stage, Visit
from jobs.planning.booking import (
    book_visit,
    call_off_job,
    cancel_visit,
    kinds_bookable,
    move_visit,
    proposed_hours,
    refuse_past,
)
from jobs.planning.clashes import clashing_visits, in_words
from jobs.stages import move_job
from tests.factories import CrewFactory, LayerPlanFactory, OperativeFactory, VanFactory
from tests.jobs.planner_scene import MORNING, an_office, at

pytestmark = pytest.mark.django_db


def test_booking_a_fitting_puts_the_crews_operatives_on_it_and_moves_the_job():
    office = an_office()
    crew = office.crew()
    OperativeFactory(company=office.company, crew=crew)

    visit = office.booked(office.job(Stage.TO_PLAN), crew, note=" key at no. 4 ")

    assert visit.during.lower == MORNING
    assert visit.during.upper == at(4)
    assert visit.visit_operatives.count() == 2
    assert visit.note == "key at no. 4"
    visit.job.refresh_from_db()
    assert visit.job.stage == Stage.BOOKED


def test_a_survey_visit_leaves_the_job_to_be_surveyed():
    office = an_office()

    visit = office.booked(office.job(), office.crew("surveying"), kind="survey", hours=1)

    visit.job.refresh_from_db()
    assert visit.job.stage == Stage.TO_SURVEY


def test_a_second_day_of_a_long_job_is_booked_beside_the_first():
    office = an_office()
    first = office.booked()

    second = office.booked(first.job, first.crew, starts_at=MORNING + timedelta(days=1))

    assert second.job_id == first.job_id
    assert Visit.objects.live().count() == 2


@pytest.mark.parametrize("stage", [Stage.SHORT, Stage.TO_ASSESS])
def test_a_call_back_books_a_job_that_fell_short_or_is_unproven(stage):
    office = an_office()
    job = office.job(Stage.TO_ASSESS)
    if stage == Stage.SHORT:
        move_job(job, Stage.SHORT)

    visit = office.booked(job, kind="call_back", hours=2)
    visit.job.refresh_from_db()
    assert visit.job.stage == Stage.BOOKED

    cancel_visit(visit, "householder away", office.planner)
    job.refresh_from_db()
    assert job.stage == stage


@pytest.mark.parametrize(
    ("kind", "stage"),
    [
        ("fitting", Stage.TO_SURVEY),
        ("fitting", Stage.TO_QUANTIFY),
        ("fitting", Stage.CERTIFIED),
        ("survey", Stage.BOOKED),
        ("call_back", Stage.TO_PLAN),
        ("fitting", Stage.CALLED_OFF),
    ],
)
def test_a_visit_that_the_stage_does_not_call_for_is_refused(kind, stage):
    office = an_office()
    reason = {"called_off_reason": "asked for in a test"} if stage == Stage.CALLED_OFF else {}

    with pytest.raises(Conflict, match="cannot be booked") as refusal:
        office.booked(
            office.job(stage, **reason), office.crew("insulation", "surveying"), kind=kind
        )

    assert refusal.value.field == "kind"
    assert not Visit.objects.exists()


@pytest.mark.parametrize(
    ("kind", "skill", "stage"),
    [
        ("fitting", "surveying", Stage.TO_PLAN),
        ("call_back", "surveying", Stage.SHORT),
        ("survey", "insulation", Stage.TO_SURVEY),
    ],
)
def test_a_crew_without_the_skill_is_refused(kind, skill, stage):
    office = an_office()

    with pytest.raises(Refused, match="Nobody in .* has the skill") as refusal:
        office.booked(office.job(stage), office.crew(skill), kind=kind)

    assert refusal.value.field == "crew"


def test_crews_and_vans_of_others_are_refused():
    office = an_office()
    job = office.job(Stage.TO_PLAN)

    with pytest.raises(Refused, match="This crew cannot be booked"):
        office.booked(job, CrewFactory())
    with pytest.raises(Refused, match="This van cannot be booked"):
        office.booked(job, van=VanFactory())


def test_a_resting_crew_is_refused():
    office = an_office()

    with pytest.raises(Refused, match="This crew cannot be booked"):
        office.booked(crew=office.crew(is_active=False))


@pytest.mark.parametrize("hours", [0, 0.2, -1, 14.5, 1e9])
def test_a_visit_of_impossible_length_is_refused(hours):
    with pytest.raises(Refused, match="cannot be") as refusal:
        an_office().booked(hours=hours)

    assert refusal.value.field == "hours"


def test_a_busy_crew_is_refused_and_the_job_stays_to_plan():
    office = an_office()
    first = office.booked()
    job = office.job(Stage.TO_PLAN)

    with pytest.raises(Conflict, match="This crew is already booked"):
        office.booked(job, first.crew, starts_at=at(2))

    job.refresh_from_db()
    assert job.stage == Stage.TO_PLAN


def test_a_busy_van_is_refused():
    office = an_office()
    van = office.van()
    office.booked(van=van)

    with pytest.raises(Conflict, match="This van is already booked"):
        office.booked(van=van, starts_at=at(3.5))


def test_an_operative_who_changed_crews_is_not_in_two_places():
    office = an_office()
    first = office.booked()
    other = office.crew()
    first.crew.operatives.update(crew=other)

    with pytest.raises(Conflict, match="This operative is already booked"):
        office.booked(crew=other, starts_at=at(1))


def test_who_is_where_is_said_for_a_clash():
    office = an_office()
    first = office.booked(van=office.van(name="Van Ash"))

    [clash] = clashing_visits(first.during, first.crew, None)

    assert in_words(clash) == (
        f"{first.crew} with Van Ash is at {first.job.property.address_line_1}, "
        "Mon 30 Nov 08:00–12:00."
    )
    assert clashing_visits(first.during, first.crew, None, but=first) == []


def test_a_visit_is_moved_to_another_time_crew_and_van():
    office = an_office()
    visit = office.booked()
    crew, van = office.crew(), office.van()

    moved = move_visit(
        visit, by=office.planner, version=1, starts_at=at(24), hours=3, crew=crew, van=van
    )

    assert (moved.during.lower, moved.during.upper) == (at(24), at(27))
    assert (moved.crew, moved.van, moved.version) == (crew, van, 2)
    assert [row.operative.crew for row in moved.visit_operatives.all()] == [crew]
    assert moved.visit_operatives.get().during == moved.during


def test_a_visit_keeps_what_a_move_does_not_name():
    office = an_office()
    visit = office.booked(van=office.van(), note="ladder")

    moved = move_visit(visit, by=office.planner, version=1, starts_at=at(24))

    assert (moved.van, moved.note, moved.during.upper) == (visit.van, "ladder", at(28))


def test_a_move_onto_another_visit_is_refused_and_changes_nothing():
    office = an_office()
    first = office.booked()
    later = office.booked(crew=first.crew, starts_at=at(4))

    with pytest.raises(Conflict, match="This crew is already booked"):
        move_visit(later, by=office.planner, version=1, starts_at=at(1))

    later.refresh_from_db()
    assert (later.during.lower, later.version) == (at(4), 1)


def test_a_move_of_what_somebody_else_moved_is_refused():
    office = an_office()
    visit = office.booked()
    move_visit(visit, by=office.planner, version=1, starts_at=at(24))

    with pytest.raises(Stale, match="changed by someone else"):
        move_visit(visit, by=office.planner, version=1, starts_at=at(48))


@pytest.mark.parametrize("status", ["on_site", "done", "cancelled"])
def test_a_visit_that_has_begun_or_ended_stays_where_it_is(status):
    office = an_office()
    visit = office.booked()
    Visit.objects.filter(pk=visit.pk).update(status=status)

    with pytest.raises(Refused, match="cannot be moved"):
        move_visit(visit, by=office.planner, version=1, starts_at=at(24))
    with pytest.raises(Refused, match="cannot be cancelled"):
        cancel_visit(visit, "why not", office.planner)


def test_cancelling_frees_the_crew_and_puts_the_job_back_to_plan():
    office = an_office()
    visit = office.booked()

    cancelled = cancel_visit(visit, "householder ill", office.planner)

    assert (cancelled.status, cancelled.stop_reason) == ("cancelled", "householder ill")
    visit.job.refresh_from_db()
    assert visit.job.stage == Stage.TO_PLAN
    assert office.booked(crew=visit.crew).pk


def test_cancelling_one_of_two_days_leaves_the_job_booked():
    office = an_office()
    first = office.booked()
    second = office.booked(first.job, first.crew, starts_at=at(24))

    cancel_visit(second, "one day is enough", office.planner)

    first.job.refresh_from_db()
    assert first.job.stage == Stage.BOOKED


def test_cancelling_asks_for_a_reason():
    office = an_office()
    visit = office.booked()

    with pytest.raises(Refused, match="Say why"):
        cancel_visit(visit, "  ", office.planner)


def test_calling_a_job_off_cancels_its_visits():
    office = an_office()
    visit = office.booked()

    call_off_job(visit.job, "householder declined", office.planner)

    visit.refresh_from_db()
    visit.job.refresh_from_db()
    assert (visit.status, visit.job.stage) == ("cancelled", Stage.CALLED_OFF)


def test_calling_off_a_certified_job_is_refused():
    office = an_office()

    with pytest.raises(Conflict, match="cannot go to “Called off”"):
        call_off_job(office.job(Stage.CERTIFIED), "late thought", office.planner)


def test_every_change_of_a_visit_is_announced():
    office, heard = an_office(), []

    def hear(sender, visit, **kwargs):
        heard.append((visit.status, visit.during.lower))

    visit_changed.connect(hear)
    try:
        visit = office.booked()
        move_visit(visit, by=office.planner, version=1, starts_at=at(24))
        cancel_visit(visit, "rain", office.planner)
    finally:
        visit_changed.disconnect(hear)

    assert heard == [("booked", MORNING), ("booked", at(24)), ("cancelled", at(24))]


def test_the_length_of_a_fitting_is_proposed_from_the_layer_plan():
    job = an_office().job(Stage.TO_PLAN)
    assert proposed_hours(job, "fitting") == 4.0

    LayerPlanFactory(job=job, crew_hours=5.37)

    assert proposed_hours(job, "fitting") == 5.25
    assert proposed_hours(job, "survey") == 1.0
    assert proposed_hours(job, "call_back") == 2.0


@pytest.mark.parametrize(
    ("stage", "kinds"),
    [
        (Stage.TO_SURVEY, ["survey"]),
        (Stage.TO_PLAN, ["fitting", "survey", "electrical"]),
        (Stage.SHORT, ["call_back"]),
        (Stage.CERTIFIED, []),
    ],
)
def test_the_kinds_that_can_be_booked_follow_from_the_stage(stage, kinds):
    assert kinds_bookable(an_office().job(stage)) == kinds


def test_what_has_passed_is_not_booked_by_hand():
    refuse_past(timezone.now() + timedelta(minutes=1))
    with pytest.raises(Refused, match="has passed"):
        refuse_past(timezone.now() - timedelta(minutes=1))


def test_a_time_without_a_zone_is_taken_by_the_clock_of_the_country():
    office = an_office()

    visit = book_visit(
        office.job(Stage.TO_PLAN),
        "fitting",
        office.crew(),
        None,
        MORNING.replace(tzinfo=None),
        4,
        office.planner,
    )

    assert timezone.localtime(visit.during.lower).hour == 8
