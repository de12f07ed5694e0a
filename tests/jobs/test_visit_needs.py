"""What visits a job needs follows its stage, its survey and its layer plan."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.management import call_command
from django.db import IntegrityError, InternalError, connection, transaction
from django.utils import timezone

from jobs.errors import Conflict, Refused, Stale
from jobs.models import (
    Fixture,
    Hazard,
    Job,
    LayerPlan,
    Obstacle,
    Stage,
    Survey,
    Visit,
    VisitNeed,
)
from jobs.planning.booking import book_visit, call_off_job, cancel_visit
from jobs.planning.need_edits import (
    change_need,
    parse_part_hours,
    reopen_need,
    withdraw_need,
    work_out_again,
)
from jobs.planning.needs import catch_up_needs, keep_needs_in_step, need_for
from jobs.stages import move_job
from tests.jobs.planner_scene import MORNING, Office, an_office, at

pytestmark = pytest.mark.django_db


def surveyed(office: Office, stage: str = Stage.TO_PLAN, *, crew_hours: float = 5.2) -> Job:
    """A job with a finished survey and a layer plan."""
    job = office.job(stage)
    survey = Survey.objects.create(
        job=job,
        surveyed_by=office.person("surveyor"),
        surveyed_on=MORNING.date(),
        completed_at=MORNING,
    )
    LayerPlan.objects.create(
        job=job,
        survey=survey,
        engine_version="0",
        target_depth_mm=300,
        target_source="a test",
        quantities={"rolls": [], "accessories": []},
        net_area_m2=40,
        roll_count=8,
        packed_volume_m3=2.5,
        crew_hours=crew_hours,
        u_before_w_m2k=1.0,
        u_after_w_m2k=0.16,
    )
    return job


def needs_of(job: Job) -> dict[str, VisitNeed]:
    return {need.kind: need for need in job.visit_needs.live()}


def test_a_job_to_survey_needs_a_survey_visit():
    job = an_office().job(due_on=MORNING.date())
    keep_needs_in_step(job)
    need = needs_of(job)["survey"]
    assert (need.state, need.hours, need.crew_size) == ("open", 1.0, 1)
    assert need.skills == ["surveying"]
    assert need.due_on == MORNING.date()


def test_a_fitting_needs_the_hours_and_volume_of_the_layer_plan():
    office = an_office()
    office.crew(day_starts_at="08:00", day_ends_at="16:30")
    job = surveyed(office, crew_hours=5.2)
    keep_needs_in_step(job)
    need = needs_of(job)["fitting"]
    assert need.part_hours == [5.25]
    assert need.volume_m3 == 2.5
    assert need.crew_size == 2


def test_work_longer_than_a_day_of_the_crews_becomes_parts():
    """The longest day is 8.5 h, less half an hour's break and an hour of driving: 7 h."""
    office = an_office()
    office.crew(day_starts_at="08:00", day_ends_at="16:30")
    job = surveyed(office, crew_hours=15.1)
    keep_needs_in_step(job)
    assert needs_of(job)["fitting"].part_hours == [5.25, 5.25, 5.25]


@pytest.mark.parametrize(
    ("hazard", "skills"),
    [
        ("asbestos", ["insulation", "asbestos_awareness"]),
        ("vermiculite", ["insulation", "asbestos_awareness"]),
        ("wet_timber", ["insulation"]),
    ],
)
def test_hazards_decide_on_skills(hazard, skills):
    office = an_office()
    job = surveyed(office)
    Hazard.objects.create(survey=job.surveys.get(), kind=hazard)
    keep_needs_in_step(job)
    assert needs_of(job)["fitting"].skills == skills


def test_a_raised_deck_asks_for_who_knows_how_to_work_under_it():
    office = an_office()
    job = surveyed(office)
    square = [[0, 0], [1000, 0], [1000, 1000], [0, 1000]]
    Obstacle.objects.create(
        survey=job.surveys.get(), name="Deck", kind="deck", outline_mm=square, underside_mm=300
    )
    keep_needs_in_step(job)
    assert "raised_deck" in needs_of(job)["fitting"].skills


def test_damaged_wiring_asks_for_an_electrical_visit_before_the_fitting():
    office = an_office()
    job = surveyed(office)
    Hazard.objects.create(survey=job.surveys.get(), kind="damaged_wiring")
    keep_needs_in_step(job)
    needs = needs_of(job)
    assert needs["electrical"].skills == ["electrical"]
    assert needs["fitting"].after == needs["electrical"]


def test_a_cable_under_high_load_that_cannot_be_read_asks_for_an_electrician():
    office = an_office()
    job = surveyed(office)
    Fixture.objects.create(
        survey=job.surveys.get(), name="Shower", kind="cable", x_mm=1, y_mm=1, high_load=True
    )
    keep_needs_in_step(job)
    assert set(needs_of(job)) == {"electrical", "fitting"}


def test_a_call_back_prefers_the_crew_that_fell_short():
    office = an_office()
    job = surveyed(office)
    visit = office.booked(job)
    Visit.objects.filter(pk=visit.pk).update(status="done")
    for stage in (Stage.ON_SITE, Stage.TO_ASSESS, Stage.SHORT):
        job = move_job(job, stage)
    need = needs_of(job)["call_back"]
    assert need.preferred_crew == visit.crew
    assert need.priority == 4
    since = timezone.localdate(job.stage_since)
    assert need.due_on == since + timedelta(weeks=office.scheme.remedy_weeks)


def test_moving_on_makes_the_next_need_and_withdraws_the_last():
    office = an_office()
    job = office.job()
    keep_needs_in_step(job)
    move_job(job, Stage.TO_QUANTIFY)
    assert needs_of(job) == {}
    move_job(job, Stage.TO_PLAN)
    assert set(needs_of(job)) == {"fitting"}


def test_booking_closes_a_need_and_cancelling_opens_it_again():
    office = an_office()
    job = office.job(Stage.TO_PLAN)
    keep_needs_in_step(job)
    visit = office.booked(job)
    assert visit.need == need_for(job, "fitting")
    assert need_for(job, "fitting").state == "booked"
    cancel_visit(visit, "The householder is away.", office.planner)
    assert need_for(job, "fitting").state == "open"


def test_a_need_of_two_days_is_booked_when_both_are():
    office = an_office()
    job = office.job(Stage.TO_PLAN)
    keep_needs_in_step(job)
    need = need_for(job, "fitting")
    change_need(need, by=office.planner, version=need.version, part_hours=[5.0, 4.0])
    crew = office.crew()
    first = office.booked(job, crew, hours=5.0)
    assert (first.part, need_for(job, "fitting").state) == (1, "open")
    second = office.booked(job, crew, hours=4.0, starts_at=at(24))
    assert (second.part, need_for(job, "fitting").state) == (2, "booked")


def test_one_visit_as_long_as_all_parts_closes_the_need():
    office = an_office()
    job = office.job(Stage.TO_PLAN)
    keep_needs_in_step(job)
    need = need_for(job, "fitting")
    change_need(need, by=office.planner, version=need.version, part_hours=[5.0, 4.0])
    office.booked(job, hours=9.0)
    need.refresh_from_db()
    assert (need.part_hours, need.state) == ([9.0], "booked")


def test_a_further_day_is_a_further_part():
    office = an_office()
    crew = office.crew()
    job = office.job(Stage.TO_PLAN)
    office.booked(job, crew)
    further = office.booked(job, crew, starts_at=at(24), hours=3.0)
    assert further.part == 2
    assert further.need.part_hours == [4.0, 3.0]


def test_a_stopped_visit_opens_its_need_again():
    office = an_office()
    job = office.job(Stage.TO_PLAN)
    visit = office.booked(job)
    Visit.objects.filter(pk=visit.pk).update(status="stopped", stop_reason="Wasps.")
    assert need_for(job, "fitting").state == "open"


def test_calling_a_job_off_withdraws_what_it_needed():
    office = an_office()
    job = office.job(Stage.TO_PLAN)
    office.booked(job)
    call_off_job(job, "Sold.", office.planner)
    assert [need.state for need in job.visit_needs.all()] == ["withdrawn"]


def test_catching_up_finds_what_came_about_otherwise_and_then_nothing_more():
    office = an_office()
    office.job()
    office.job(Stage.TO_PLAN)
    office.job(Stage.CERTIFIED)
    booked = office.job(Stage.BOOKED)
    Visit.objects.create(
        company=office.company,
        job=booked,
        kind="fitting",
        crew=office.crew(),
        during=(MORNING, at(3)),
        booked_by=office.planner,
    )
    assert catch_up_needs() == 3
    assert catch_up_needs() == 0
    assert booked.visits.get().need.state == "booked"
    assert booked.visits.get().need.part_hours == [3.0]


def test_catching_up_by_command(capsys):
    an_office().job()
    call_command("catch_up_needs")
    assert "1 job" in capsys.readouterr().out


def test_catching_up_takes_the_same_queries_for_one_job_as_for_ten(django_assert_max_num_queries):
    office = an_office()
    for _ in range(10):
        office.job(Stage.TO_PLAN)
    with django_assert_max_num_queries(24):
        assert catch_up_needs() == 10


# --- A planner's own changes


def test_what_is_set_by_hand_is_not_worked_out_again():
    office = an_office()
    job = surveyed(office)
    keep_needs_in_step(job)
    need = need_for(job, "fitting")
    change_need(need, by=office.planner, version=need.version, part_hours=[6.0], priority=5)
    keep_needs_in_step(job)
    need.refresh_from_db()
    assert (need.part_hours, need.priority) == ([6.0], 5)
    work_out_again(need, by=office.planner, version=need.version)
    need.refresh_from_db()
    assert (need.part_hours, need.priority) == ([5.25], 3)


def test_a_need_withdrawn_by_hand_is_not_made_again_until_it_is_asked_for():
    office = an_office()
    job = office.job(Stage.TO_PLAN)
    keep_needs_in_step(job)
    need = need_for(job, "fitting")
    withdraw_need(need, "Done by the landlord.", by=office.planner, version=need.version)
    keep_needs_in_step(job)
    assert catch_up_needs() == 0
    assert need_for(job, "fitting") is None
    need.refresh_from_db()
    reopen_need(need, by=office.planner, version=need.version)
    assert need_for(job, "fitting") == need


def test_a_need_with_a_booked_visit_is_not_withdrawn():
    office = an_office()
    need = office.booked().need
    need.refresh_from_db()
    with pytest.raises(Conflict, match="Cancel what is booked"):
        withdraw_need(need, "No.", by=office.planner, version=need.version)


def test_two_planners_do_not_overwrite_each_other():
    office = an_office()
    job = office.job(Stage.TO_PLAN)
    keep_needs_in_step(job)
    need = need_for(job, "fitting")
    change_need(need, by=office.planner, version=need.version, priority=5)
    with pytest.raises(Stale):
        change_need(need, by=office.planner, version=need.version, priority=1)


def test_a_crew_of_another_company_cannot_be_fixed():
    office = an_office()
    job = office.job(Stage.TO_PLAN)
    keep_needs_in_step(job)
    need = need_for(job, "fitting")
    with pytest.raises(Refused) as refusal:
        change_need(need, by=office.planner, version=need.version, fixed_crew=an_office().crew())
    assert refusal.value.field == "fixed_crew"


@pytest.mark.parametrize(
    ("text", "hours"), [("6", [6.0]), ("5:30, 4", [5.5, 4.0]), ("4 + 4.5", [4.0, 4.5])]
)
def test_hours_as_a_planner_types_them(text, hours):
    assert parse_part_hours(text) == hours


@pytest.mark.parametrize("text", ["", "0", "0:10", "15", "six", "4,,x"])
def test_hours_that_cannot_be(text):
    with pytest.raises(Refused) as refusal:
        parse_part_hours(text)
    assert refusal.value.field == "part_hours"


# --- Held by the database


def test_a_part_is_booked_once_whoever_books():
    office = an_office()
    visit = office.booked()
    with pytest.raises(IntegrityError, match="need_part_booked_once"), transaction.atomic():
        Visit.objects.create(
            company=office.company,
            job=visit.job,
            need=visit.need,
            part=visit.part,
            kind="fitting",
            crew=office.crew(),
            during=(at(48), at(50)),
            booked_by=office.planner,
        )


def test_needs_cannot_wait_for_each_other_in_a_ring():
    office = an_office()
    first, second = (office.booked().need for _ in range(2))
    sql = "UPDATE jobs_visitneed SET after_id = %s WHERE id = %s"
    with connection.cursor() as cursor:
        cursor.execute(sql, [first.pk, second.pk])
        with pytest.raises((InternalError, IntegrityError), match="wait for each other"):
            cursor.execute(sql, [second.pk, first.pk])


def test_a_need_and_its_job_are_of_one_company():
    office, other = an_office(), an_office()
    with pytest.raises(IntegrityError, match="need_and_job_of_one_company"), transaction.atomic():
        VisitNeed.objects.create(
            company=other.company, job=office.job(), kind="survey", part_hours=[1.0]
        )
        with connection.cursor() as cursor:
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")


def test_the_office_sees_its_own_needs_and_nobody_else_does():
    office = an_office()
    need = office.booked().need
    seen = VisitNeed.objects.visible_to
    assert list(seen(office.planner)) == [need]
    assert list(seen(an_office().planner)) == []
    assert list(seen(office.person("installer"))) == []


# --- The order of visits


def wired(office: Office) -> Job:
    job = surveyed(office)
    Hazard.objects.create(survey=job.surveys.get(), kind="damaged_wiring")
    keep_needs_in_step(job)
    return job


def test_a_fitting_is_not_booked_before_its_electrical_visit_is():
    office = an_office()
    with pytest.raises(Conflict, match="electrical visit .* must come first and is not booked"):
        office.booked(wired(office))


def test_a_fitting_is_booked_after_its_electrical_visit():
    office = an_office()
    job, electrician = wired(office), office.crew("electrical")
    office.booked(job, electrician, kind="electrical", hours=1.5)
    assert job.stage == Stage.TO_PLAN
    with pytest.raises(Conflict, match="must be over first"):
        office.booked(job, starts_at=at(1))
    assert office.booked(job, starts_at=at(1.5)).kind == "fitting"


def test_an_electrical_visit_is_not_moved_behind_the_fitting_nor_cancelled_under_it():
    from jobs.planning.booking import move_visit

    office = an_office()
    job, electrician = wired(office), office.crew("electrical")
    first = office.booked(job, electrician, kind="electrical", hours=1.5)
    office.booked(job, starts_at=at(24))
    with pytest.raises(Conflict, match="must follow it"):
        move_visit(first, by=office.planner, version=first.version, starts_at=at(48))
    with pytest.raises(Conflict, match="Cancel that visit first"):
        cancel_visit(first, "No.", office.planner)


def test_an_electrical_visit_needs_an_electrician():
    office = an_office()
    with pytest.raises(Refused, match="Electrical"):
        book_visit(wired(office), "electrical", office.crew(), None, MORNING, 1.5, office.planner)


def test_calling_off_a_job_takes_both_visits_off():
    office = an_office()
    job = wired(office)
    office.booked(job, office.crew("electrical"), kind="electrical", hours=1.5)
    office.booked(job, starts_at=at(24))
    call_off_job(job, "Sold.", office.planner)
    assert {visit.status for visit in job.visits.all()} == {"cancelled"}
