"""A plan run from the asking to its proposals: watched, stopped, taken over, planned anew."""

from __future__ import annotations

from dataclasses import replace
from datetime import time, timedelta
from itertools import pairwise
from time import sleep

import pytest
from django.utils import timezone

from jobs.errors import Conflict, Refused
from jobs.models import PlanRun, ProposedVisit, Visit
from jobs.planning import run_work, runs
from jobs.planning.absences import record_absence
from jobs.planning.agreeing import hold
from jobs.planning.answering import accept
from jobs.planning.calendars import at, midnight
from jobs.planning.proposals import proposals_of, summary_of
from jobs.planning.pulse import Pulse
from tests.jobs.plan_scene import asked, based_crew, booked, planned, to_fit
from tests.jobs.planner_scene import an_office

pytestmark = pytest.mark.django_db


def silent_for(run: PlanRun, seconds: float, **values: object) -> PlanRun:
    long_ago = timezone.now() - timedelta(seconds=seconds)
    PlanRun.objects.filter(pk=run.pk).update(heartbeat_at=long_ago, **values)
    run.refresh_from_db()
    return run


def test_a_run_proposes_a_place_for_what_waits(office, crew, day):
    need = to_fit(office)
    run = planned(office, day, days=1)
    line = proposals_of(run).get()
    assert (line.change, line.need, line.crew) == ("new", need, crew)
    assert timezone.localtime(line.during.lower).date() == day
    assert line.during.upper - line.during.lower >= timedelta(hours=4)
    assert "min drive" in line.why


def test_what_finds_no_place_says_why(office, crew, day):
    need = to_fit(office)
    need.skills = ["insulation", "raised_deck"]
    need.set_by_hand = ["skills"]
    need.save()
    line = proposals_of(planned(office, day, days=1)).get()
    assert (line.change, line.need) == ("left", need)
    assert line.reasons[0]["code"] == "skills"
    assert line.why


def test_progress_is_told(office, crew, day):
    to_fit(office)
    run = planned(office, day, days=1)
    progress = runs.run_progress(run)
    assert (progress.state, progress.placed, progress.left) == ("ready", 1, 0)
    assert progress.first_plan_after_s is not None
    assert progress.objective["total"] > 0
    assert progress.curve


def test_only_plans_that_beat_the_one_before_are_counted_as_better(office, crew, day):
    """Neither is the first plan, nor the last one told again at the end."""
    to_fit(office)
    told = planned(office, day).progress
    totals = [total for _, total in told["curve"]]
    assert told["better_count"] == sum(new < old for old, new in pairwise(totals))


def test_a_run_takes_the_processors_it_may_and_says_if_it_could_not(
    office, crew, day, monkeypatch, settings
):
    settings.PLANNING_CORES = 3
    to_fit(office)
    looked = run_work.solve_plan
    asked_for = []

    def one_died(problem, **given):
        asked_for.append(given["cores"])
        return replace(looked(problem, **given), lost_processes=1)

    monkeypatch.setattr(run_work, "solve_plan", one_died)
    run = planned(office, day, days=1)
    assert asked_for == [3]
    assert run_work.WENT_ON_ALONE in run.notes


def test_a_company_looks_for_one_plan_at_a_time(office, crew, day):
    asked(office, day)
    with pytest.raises(Conflict, match="being looked for already"):
        asked(office, day)
    other = an_office()
    assert asked(other, day).state == "waiting"


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"days": 0}, "days"),
        ({"days": 43}, "days"),
        ({"seconds": 0}, "seconds"),
        ({"seconds": 601}, "seconds"),
    ],
)
def test_what_cannot_be_asked_is_refused(office, crew, day, given, field):
    with pytest.raises(Refused) as refusal:
        asked(office, day, **given)
    assert refusal.value.field == field


def test_a_day_gone_by_is_not_planned(office, crew, day):
    with pytest.raises(Refused, match="has passed"):
        asked(office, timezone.localdate() - timedelta(days=1))


def test_without_crews_a_run_fails_and_says_what_is_missing(office):
    run = run_work.work_on(asked(office, timezone.localdate() + timedelta(days=2)).pk)
    assert run.state == "failed"
    assert "No crew can be sent" in run.failure


def test_a_waiting_run_that_is_stopped_ends(office, crew, day):
    run = runs.stop_run(asked(office, day), office.planner)
    assert (run.state, run.is_under_way) == ("failed", False)
    assert run_work.work_on(run.pk) is None


def test_a_running_search_that_is_stopped_keeps_its_best_plan(office, crew, day, monkeypatch):
    to_fit(office)
    run = asked(office, day, seconds=300)
    told = run_work.Recorder.tell

    def stopped_at_once(self, *, force=False):
        PlanRun.objects.filter(pk=run.pk, state="running").update(state="stopping")
        self.told_s = -10.0
        told(self, force=force)

    monkeypatch.setattr(run_work.Recorder, "tell", stopped_at_once)
    done = run_work.work_on(run.pk)
    assert (done.state, summary_of(done).new) == ("ready", 1)
    assert runs.run_progress(done).elapsed_s < 60


def test_a_run_is_taken_up_once(office, crew, day):
    run = asked(office, day)
    assert runs.claim_run(run.pk) is not None
    assert runs.claim_run(run.pk) is None


def test_a_process_that_lost_its_run_writes_nothing_into_it(office, crew, day):
    to_fit(office)
    run = runs.claim_run(asked(office, day).pk)
    silent_for(PlanRun.objects.get(pk=run.pk), 100)
    assert runs.mind_runs() == [run.pk]
    run_work._fail(run, "I was slow.")
    with pytest.raises(run_work.Lost):
        run_work.Recorder(run, run_work.gathered_for(run)).tell(force=True)
    stored = PlanRun.objects.get(pk=run.pk)
    assert (stored.state, stored.failure) == ("waiting", "")


def test_a_silent_run_is_sent_again_and_goes_on_from_its_best_plan(office, crew, day):
    to_fit(office)
    first = runs.claim_run(asked(office, day).pk)
    recorder = run_work.Recorder(first, run_work.gathered_for(first))
    found = run_work.solve_plan(recorder.gathered.problem, seed=1, stop=lambda progress: True)
    recorder.on_better(found.plan, found.objective, 0.1)
    PlanRun.objects.filter(pk=first.pk).update(progress=recorder.progress | {"elapsed_s": 40.0})
    silent_for(first, 100)
    assert runs.mind_runs() == [first.pk]
    again = run_work.work_on(first.pk)
    assert (again.state, again.attempts) == ("ready", 2)
    times = [at for at, _ in runs.run_progress(again).curve]
    assert times == sorted(times)
    assert times[0] == 0.1
    assert times[-1] >= 40.0


def test_a_run_that_keeps_dying_ends_with_the_best_it_had(office, crew, day):
    to_fit(office)
    run = planned(office, day)
    best = run.best
    run.proposals.all().delete()
    silent_for(run, 100, state="running", attempts=runs.MOST_ATTEMPTS, best=best)
    assert runs.mind_runs() == []
    run.refresh_from_db()
    assert (run.state, summary_of(run).new) == ("ready", 1)
    assert any("ended before its time" in note for note in run.notes)


def test_a_run_that_keeps_dying_without_a_plan_fails(office, crew, day):
    run = silent_for(asked(office, day), 100, state="running", attempts=runs.MOST_ATTEMPTS)
    assert runs.mind_runs() == []
    run.refresh_from_db()
    assert run.state == "failed"


def test_a_run_that_lives_is_left_alone(office, crew, day):
    run = silent_for(asked(office, day), 2, state="running")
    assert runs.mind_runs() == []
    run.refresh_from_db()
    assert run.state == "running"


def test_a_run_that_the_broker_lost_is_sent_again(office, crew, day):
    run = asked(office, day)
    PlanRun.objects.filter(pk=run.pk).update(asked_at=timezone.now() - timedelta(minutes=5))
    assert runs.mind_runs() == [run.pk]


def test_a_process_that_dies_while_proposing_leaves_nothing_half_written(
    office, crew, day, monkeypatch
):
    to_fit(office)
    run = asked(office, day)

    def dies(*args, **kwargs):
        raise SystemExit

    monkeypatch.setattr(PlanRun, "save", dies)
    with pytest.raises(SystemExit):
        run_work.work_on(run.pk)
    run.refresh_from_db()
    assert run.state == "running"
    assert not ProposedVisit.objects.exists()


# --- Planning anew


def test_what_is_booked_stays_when_nothing_is_gained(office, crew, day):
    visits = [booked(office, crew, day, hour, hours=3.0) for hour in (8.5, 13.0)]
    changes = {line.visit: line.change for line in proposals_of(planned(office, day, days=1))}
    assert changes == dict.fromkeys(visits, "kept")


def test_a_crew_is_ill_and_another_goes(office, crew, day):
    other = based_crew(office)
    visit = booked(office, crew, day, 9)
    record_absence(
        office.company,
        by=office.planner,
        crew=crew,
        starts_at=midnight(day),
        ends_at=midnight(day + timedelta(days=1)),
        reason="ill",
    )
    asked_for = runs.replan(office.company, by=office.planner, because="A crew is ill", seconds=2)
    run = run_work.work_on(asked_for.pk)
    line = proposals_of(run).get(visit=visit)
    assert line.change in ("other_crew", "moved")
    accept(run, office.planner)
    visit.refresh_from_db()
    away = visit.crew == crew and timezone.localtime(visit.during.lower).date() == day
    assert not away
    assert visit.crew in (crew, other)


def test_what_is_held_is_not_moved(office, crew, day):
    visit = booked(office, crew, day, 11)
    hold(visit, True, by=office.planner, version=visit.version)
    run = planned(office, day, days=1)
    assert proposals_of(run).get(visit=visit).change == "kept"


def test_a_visit_that_lasts_longer_pushes_the_next_one_back(office, crew, day, monkeypatch):
    monkeypatch.setattr(run_work, "_seconds_left", lambda run: 2.0)
    first = booked(office, crew, day, 8, hours=3.0)
    second = booked(office, crew, day, 11.5, hours=3.0)
    asked_for = runs.visit_overruns(first, at(day, time(12)), by=office.planner)
    run = run_work.work_on(asked_for.pk)
    answered = accept(run, office.planner)
    assert answered.refused == ()
    first.refresh_from_db()
    second.refresh_from_db()
    assert first.during.upper == at(day, time(12))
    assert second.during.lower >= first.during.upper or second.crew != first.crew


def test_an_earlier_end_is_no_overrun(office, crew, day):
    visit = booked(office, crew, day, 8)
    with pytest.raises(Refused, match="not end later"):
        runs.visit_overruns(visit, at(day, time(9)), by=office.planner)


def test_everything_accepted_is_what_a_new_plan_keeps(office, crew, day):
    for number in range(4):
        to_fit(office, number)
    accept(planned(office, day, days=10), office.planner)
    assert Visit.objects.count() == 4
    again = summary_of(planned(office, day, days=10))
    assert (again.kept, again.changing) == (4, 0)


def test_a_run_put_back_is_sent_once_and_says_so_meanwhile(office, crew, day):
    run = silent_for(asked(office, day), runs.SILENT_S + 1, state="running", attempts=1)
    assert "takes over within half a minute" in runs.run_progress(run).state_words

    assert runs.mind_runs() == [run.pk]
    run.refresh_from_db()
    assert "another one goes on" in runs.run_progress(run).state_words
    assert runs.mind_runs() == []


def test_the_pulse_keeps_a_run_alive_that_works_long(office, crew, day, monkeypatch):
    monkeypatch.setattr("jobs.planning.pulse.BEAT_S", 0.01)
    run = runs.claim_run(asked(office, day).pk)
    told = []
    monkeypatch.setattr(Pulse, "_once", lambda pulse: told.append(pulse))

    with Pulse(run) as pulse:
        while not told:
            sleep(0.005)

    assert told[0] is pulse
    assert not pulse._thread.is_alive()
