"""What a plan proposes is accepted in whole or part, discarded, or refused where things changed."""

from __future__ import annotations

from datetime import time, timedelta

import pytest
from django.utils import timezone

from jobs.errors import Conflict
from jobs.models import Stage, Visit
from jobs.planning.agreeing import hold, tell_householder
from jobs.planning.answering import accept, discard
from jobs.planning.booking import cancel_visit, move_visit
from jobs.planning.calendars import at
from jobs.planning.need_edits import change_need
from jobs.planning.needs import need_for
from tests.jobs.plan_scene import (
    based_crew,
    booked,
    line_for,
    line_of_need,
    ready_run,
    to_fit,
)
from tests.jobs.planner_scene import an_office

pytestmark = pytest.mark.django_db


def test_a_new_visit_is_booked_and_its_need_closed(office, crew, day):
    run, need = ready_run(office), to_fit(office)
    line_of_need(run, need, crew, at(day, time(9)))

    answered = accept(run, office.planner)

    assert [line.answer for line in answered.done] == ["accepted"]
    visit = Visit.objects.get(need=need)
    assert (visit.crew, visit.during.lower) == (crew, at(day, time(9)))
    assert visit.visit_operatives.count() == 2
    need.refresh_from_db()
    need.job.refresh_from_db()
    run.refresh_from_db()
    assert (need.state, need.job.stage, run.state) == ("booked", Stage.BOOKED, "answered")


def test_two_visits_of_a_crew_change_places(office, crew, day):
    first, second = booked(office, crew, day, 8), booked(office, crew, day, 12)
    run = ready_run(office)
    line_for(run, first, crew, at(day, time(12)))
    line_for(run, second, crew, at(day, time(8)))

    answered = accept(run, office.planner)

    assert (len(answered.done), answered.refused) == (2, ())
    first.refresh_from_db()
    second.refresh_from_db()
    assert (first.during.lower, second.during.lower) == (at(day, time(12)), at(day, time(8)))


def test_two_crews_change_visits(office, crew, day):
    other = based_crew(office)
    first, second = booked(office, crew, day, 8), booked(office, other, day, 8)
    run = ready_run(office)
    line_for(run, first, other, at(day, time(8)))
    line_for(run, second, crew, at(day, time(8)))

    accept(run, office.planner)

    first.refresh_from_db()
    second.refresh_from_db()
    assert (first.crew, second.crew) == (other, crew)
    theirs = {row.operative.crew for row in first.visit_operatives.all()}
    assert theirs == {other}


def test_half_of_a_swap_is_refused_and_says_who_is_there(office, crew, day):
    first, second = booked(office, crew, day, 8), booked(office, crew, day, 12)
    run = ready_run(office)
    mine = line_for(run, first, crew, at(day, time(12)))
    line_for(run, second, crew, at(day, time(8)))

    answered = accept(run, office.planner, [mine.pk])

    assert answered.done == ()
    assert second.job.property.address_line_1 in answered.refused[0].answer_words
    first.refresh_from_db()
    assert first.during.lower == at(day, time(8))
    run.refresh_from_db()
    assert run.state == "ready"


def test_a_part_is_accepted_and_the_rest_discarded(office, crew, day):
    run = ready_run(office)
    wanted = line_of_need(run, to_fit(office), crew, at(day, time(8)))
    line_of_need(run, to_fit(office), crew, at(day, time(12)))

    accept(run, office.planner, [wanted.pk])
    assert Visit.objects.count() == 1
    assert discard(run, office.planner) == 1
    run.refresh_from_db()
    assert run.state == "answered"
    with pytest.raises(Conflict, match="Only a plan that is ready"):
        accept(run, office.planner)


def test_a_visit_moved_meanwhile_is_refused_naming_where_it_is_now(office, crew, day):
    first, other = booked(office, crew, day, 8), booked(office, crew, day, 13)
    run = ready_run(office)
    line_for(run, first, crew, at(day, time(9)))
    line_for(run, other, crew, at(day, time(14)))
    later = at(day + timedelta(days=7), time(10))
    move_visit(first, by=office.planner, version=first.version, starts_at=later)

    answered = accept(run, office.planner)

    assert [line.visit for line in answered.done] == [other]
    words = answered.refused[0].answer_words
    assert "moved meanwhile" in words
    assert f"{timezone.localtime(later):%H:%M}" in words


def test_a_need_booked_meanwhile_is_refused_naming_the_booking(office, crew, day):
    run, need = ready_run(office), to_fit(office)
    line_of_need(run, need, crew, at(day, time(8)))
    office.booked(need.job, crew, starts_at=at(day, time(12)))

    answered = accept(run, office.planner)

    assert "booked meanwhile" in answered.refused[0].answer_words
    assert Visit.objects.count() == 1


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda visit, by: cancel_visit(visit, "No.", by), "cancelled"),
        (lambda visit, by: hold(visit, True, by=by, version=visit.version), "held"),
        (lambda visit, by: tell_householder(visit, by=by, version=visit.version), "told"),
        (
            lambda visit, by: change_need(
                visit.need, by=by, version=visit.need.version, priority=5
            ),
            "What is needed was changed",
        ),
    ],
)
def test_whatever_changed_since_is_named(office, crew, day, change, said):
    visit = booked(office, crew, day, 8)
    run = ready_run(office)
    line_for(run, visit, crew, at(day, time(12)))
    change(visit, office.planner)

    answered = accept(run, office.planner)

    assert answered.done == ()
    assert said in answered.refused[0].answer_words


def test_what_has_passed_is_refused(office, crew):
    run, need = ready_run(office), to_fit(office)
    line_of_need(run, need, crew, timezone.now() - timedelta(hours=1))

    assert "has passed" in accept(run, office.planner).refused[0].answer_words


def test_a_visit_taken_off_opens_its_need(office, crew, day):
    visit = booked(office, crew, day, 8)
    run = ready_run(office)
    line = line_for(run, visit, crew, visit.during.lower)
    line.change, line.crew, line.during = "taken_off", None, None
    line.save()

    accept(run, office.planner)

    visit.refresh_from_db()
    assert visit.status == "cancelled"
    assert need_for(visit.job, "fitting").state == "open"


def test_the_place_of_a_visit_taken_off_is_free_for_another(office, crew, day):
    visit = booked(office, crew, day, 8)
    run = ready_run(office)
    line = line_for(run, visit, crew, visit.during.lower)
    line.change, line.crew, line.during = "taken_off", None, None
    line.save()
    line_of_need(run, to_fit(office), crew, at(day, time(8)))

    assert len(accept(run, office.planner).done) == 2


def test_an_electrical_visit_and_the_fitting_after_it_are_accepted_together(office, crew, day):
    electrician = based_crew(office, "electrical", hands=1)
    fitting = to_fit(office)
    electrical = fitting.job.visit_needs.create(
        company=office.company, kind="electrical", part_hours=[1.5], skills=["electrical"]
    )
    fitting.after = electrical
    fitting.save()
    run = ready_run(office)
    line_of_need(run, fitting, crew, at(day, time(11)))
    line_of_need(run, electrical, electrician, at(day, time(9)))

    assert accept(run, office.planner).refused == ()
    kinds = fitting.job.visits.order_by("during").values_list("kind", flat=True)
    assert list(kinds) == ["electrical", "fitting"]


def test_a_fitting_before_its_electrical_visit_is_refused(office, crew, day):
    electrician = based_crew(office, "electrical", hands=1)
    fitting = to_fit(office)
    electrical = fitting.job.visit_needs.create(
        company=office.company, kind="electrical", part_hours=[1.5], skills=["electrical"]
    )
    fitting.after = electrical
    fitting.save()
    run = ready_run(office)
    line_of_need(run, fitting, crew, at(day, time(8)))
    line_of_need(run, electrical, electrician, at(day, time(14)))

    answered = accept(run, office.planner)

    assert fitting in {line.need for line in answered.refused}
    assert not fitting.job.visits.filter(kind="fitting").exists()


def test_of_two_lines_for_one_place_the_later_gives_way(office, crew, day):
    run = ready_run(office)
    line_of_need(run, to_fit(office), crew, at(day, time(8)))
    line_of_need(run, to_fit(office), crew, at(day, time(9)))

    answered = accept(run, office.planner)

    assert (len(answered.done), len(answered.refused)) == (1, 1)
    assert answered.done[0].during.lower == at(day, time(8))


def test_another_companys_run_is_out_of_sight(office):
    from jobs.models import PlanRun, ProposedVisit

    run = ready_run(office)
    stranger = an_office().planner
    assert not PlanRun.objects.visible_to(stranger).filter(pk=run.pk).exists()
    assert not ProposedVisit.objects.visible_to(stranger).exists()
