"""Something came between: the answer tells what changes and why, and asks before promises break."""

from __future__ import annotations

import re
from datetime import time, timedelta

import pytest

from jobs.models import PlanRun, Visit, VisitNeed
from jobs.planning import run_work, runs
from jobs.planning.absences import record_absence
from jobs.planning.agreeing import tell_householder
from jobs.planning.calendars import at, midnight
from jobs.planning.disturbance import Disturbance
from jobs.planning.gather import gather
from jobs.planning.run_answer import answer_to
from jobs.planning.run_words import objective_lines
from jobs.planning.runs import run_progress
from jobs.planning.waiting import Waiting
from jobs.planning.wishes import MayMove, Wishes, wished
from tests.jobs.plan_scene import based_crew, booked, planned, to_fit
from tests.jobs.planner_scene import signed_in
from tests.jobs.test_planning_page import text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def ill(office, crew, day, monkeypatch):
    """A crew fell ill on the day of a promised visit; a job waits; the answer is ready."""
    monkeypatch.setattr(run_work, "_seconds_left", lambda run: 0.3)
    monkeypatch.setattr(runs, "_send", lambda run_id: None)
    based_crew(office, name="Other crew")
    visit = booked(office, crew, day, 9)
    visit.job.property.householder_name = "Ada Reed"
    visit.job.property.save(update_fields=["householder_name"])
    tell_householder(visit, by=office.planner, version=visit.version)
    to_fit(office, north_km=2.0)
    days = {"first_day": str(day), "last_day": str(day)}
    asked = {"crew": crew.pk, "waiting": "leave", **days}
    answer = signed_in(office.planner).post("/planning/replan/crew/", asked)
    run = PlanRun.objects.get()
    assert answer.headers["Location"] == f"/planning/runs/{run.pk}/"
    run_work.work_on(run.pk)
    visit.refresh_from_db()
    return run, visit


def test_what_changes_stands_first_with_its_reason_and_nothing_else_is_offered(ill, office, crew):
    run, visit = ill
    page = text_of(signed_in(office.planner).get(f"/planning/runs/{run.pk}/"))

    assert "1 booked visit would change, 1 promised to a householder." in page
    assert f"{crew} is away then (ill)." in page
    assert page.index("What changes") < page.index("How it was found")
    assert [line.visit for line in run.proposals.all()] == [visit]
    assert run.proposals.get().change in ("other_crew", "moved")


@pytest.mark.parametrize("answer", ["all", "ticked"])
def test_before_a_promise_is_broken_it_is_asked_again_by_name(ill, office, answer):
    run, visit = ill
    client, address = signed_in(office.planner), f"/planning/runs/{run.pk}/answer/"
    sent = {"answer": answer, "line": [run.proposals.get().pk]}

    asked = client.post(address, sent)
    assert "1 promised visit would change" in text_of(asked)
    assert "Ada Reed" in asked.text
    dialog = client.post(address, sent, headers={"HX-Request": "true"})
    assert '<dialog class="dialog"' in dialog.text
    assert Visit.objects.get(pk=visit.pk).version == visit.version

    held = dict(re.findall(r'type="hidden" name="(answer|sure|line)" value="(\w+)"', asked.text))
    done = client.post(address, held, follow=True)
    assert "1 proposal is carried out." in done.text
    assert Visit.objects.get(pk=visit.pk).version > visit.version


def test_an_answer_that_says_nothing_changes_nothing(ill, office):
    run, _ = ill
    said = signed_in(office.planner).post(f"/planning/runs/{run.pk}/answer/", {}, follow=True)
    assert "accept or discard" in said.text
    assert run.proposals.unanswered().count() == 1


def test_what_clashes_elsewhere_is_not_this_disturbances(office, crew, day):
    other = based_crew(office)
    mine, theirs = booked(office, crew, day, 9), booked(office, other, day, 9)
    for away in (crew, other):
        span = {"starts_at": midnight(day), "ends_at": midnight(day + timedelta(days=1))}
        record_absence(office.company, by=office.planner, crew=away, reason="ill", **span)
    based_crew(office)
    about = Wishes(may_move=MayMove.CLASHES, disturbed=Disturbance(crew.pk, day, day))

    run = planned(office, day, wishes=about)

    changed = {line.visit: line.change for line in run.proposals.all()}
    assert changed[theirs] == "kept"
    assert changed[mine] != "kept"


def test_what_it_makes_late_is_told_apart_from_what_was_late_before(office, crew, day):
    """One visit was due three days ago and stays; the other, of the ill crew alone, was not."""
    other = based_crew(office)
    stays, moves = booked(office, other, day, 9), booked(office, crew, day, 9)
    VisitNeed.objects.filter(pk=stays.need_id).update(due_on=day - timedelta(days=3))
    VisitNeed.objects.filter(pk=moves.need_id).update(due_on=day, fixed_crew=crew)
    span = {"starts_at": midnight(day), "ends_at": midnight(day + timedelta(days=1))}
    record_absence(office.company, by=office.planner, crew=crew, reason="ill", **span)
    about = Wishes(may_move=MayMove.CLASHES, disturbed=Disturbance(crew.pk, day, day))
    run = planned(office, day, wishes=about)

    answer = answer_to(about.disturbed, run, run.proposals.all())
    progress = run_progress(run)
    late, before = objective_lines(progress.objective, progress.late_before)[1:3]
    assert (answer.made_late, answer.late_before) == (1, 1)
    was_due, ends = midnight(day - timedelta(days=2)), at(day, time(13))
    hours_before = round((ends.timestamp() - was_due.timestamp()) / 3600)
    assert (before.label, before.amount) == ("Late before", f"{hours_before} h 00 min")
    assert late.label == "Later because of this"
    assert late.points > 0


def test_freed_time_is_offered_to_what_waits_and_nothing_else(office, crew, day):
    other = based_crew(office)
    waits, far = to_fit(office), to_fit(office, north_km=400.0)
    barred = to_fit(office)
    barred.barred_crews.add(crew)
    freed = Wishes(waiting=Waiting.FREED, disturbed=Disturbance(crew.pk, day, day))

    found = wished(gather(office.company, day, 5), freed)
    assert {visit.key for visit in found.problem.visits} == {waits.key, far.key}
    assert {visit.fixed_crew for visit in found.problem.visits} == {f"crew:{crew.pk}"}
    run = planned(office, day, wishes=freed)

    line = run.proposals.get()
    assert (line.change, line.need, line.crew) == ("new", waits, crew)
    assert line.during.lower < midnight(day + timedelta(days=1))
    assert other.visits.count() == 0


def test_freed_time_wants_to_know_whose(day):
    with pytest.raises(ValueError, match="disturbed"):
        Wishes(waiting=Waiting.FREED)
    with pytest.raises(ValueError, match="last_day"):
        Disturbance(1, day, day - timedelta(days=1))
