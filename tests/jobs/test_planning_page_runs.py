"""Looking for a plan by page: asking, watching, stopping, and answering what is proposed."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.db.backends.postgresql.psycopg_any import DateTimeTZRange
from django.utils import timezone

from jobs.models import Absence, PlanRun, ProposedVisit, Visit
from jobs.planning import runs
from jobs.planning.gather import gather
from jobs.planning.run_chart import chart_of
from jobs.planning.wishes import MayMove, Wishes, wished
from tests.jobs.board_scene import a_board, a_crew, a_need, a_visit, at_clock, next_week
from tests.jobs.planner_scene import signed_in
from tests.jobs.test_planning_page import text_of

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def nobody_searches(monkeypatch):
    """A run that is asked for waits: no process takes it up."""
    monkeypatch.setattr(runs, "_send", lambda run_id: None)


def asked(**given):
    return {
        "first_day": next_week().isoformat(),
        "days": 5,
        "seconds": 10,
        "may_move": "unpromised",
        "travel": "usual",
        "late": "most",
        "overtime": "usual",
        "left_out": "usual",
        "promises": "more",
        "seed": 7,
    } | given


def a_run(office, state="ready", **values):
    return PlanRun.objects.create(
        company=office.company,
        first_day=next_week(),
        days=1,
        from_moment=timezone.now(),
        asked_by=office.planner,
        state=state,
        **values,
    )


def proposes_new(run, need, crew, hour=9, **values):
    return ProposedVisit.objects.create(
        run=run,
        need=need,
        need_version=need.version,
        change="new",
        crew=crew,
        van=crew.van,
        during=DateTimeTZRange(at_clock(hour), at_clock(hour + 3)),
        why="12 min drive to it.",
        **values,
    )


def test_a_plan_is_asked_for_in_words_of_the_office():
    office = a_board()
    a_crew(office, "Wren")

    answer = signed_in(office.planner).post("/planning/runs/", asked())

    run = PlanRun.objects.get()
    assert answer.headers["Location"] == f"/planning/runs/{run.pk}/"
    assert (run.days, run.seconds, run.seed) == (5, 10, 7)
    wishes = Wishes.from_json(run.wishes)
    assert (wishes.late, wishes.promises, wishes.travel) == (5.0, 2.0, 1.0)
    assert wishes.may_move is MayMove.UNPROMISED
    again = signed_in(office.planner).get("/planning/runs/").text
    for chosen in ('value="most" selected', 'value="more" selected', 'value="unpromised" selected'):
        assert chosen in again


def test_a_second_run_at_once_is_refused_at_the_form():
    office = a_board()
    a_run(office, "running")

    page = signed_in(office.planner).post("/planning/runs/", asked())

    assert "A plan is being looked for already" in text_of(page)
    assert PlanRun.objects.count() == 1


def test_wishes_change_prices_and_what_may_move():
    office = a_board()
    crew = a_crew(office, "Wren")
    a_visit(office, crew, "1 Loft Lane")
    gathered = gather(office.company, next_week(), 1)

    plain = wished(gathered, Wishes())
    keen = wished(gathered, Wishes(late=5.0, may_move=MayMove.NOTHING))

    assert plain is gathered
    usual = gathered.problem.weights
    assert keen.problem.weights.late_hour == 5 * usual.late_hour
    assert keen.problem.weights.travel_hour == usual.travel_hour
    assert [visit.fixed for visit in keen.problem.visits] == [True]
    assert [visit.fixed for visit in gathered.problem.visits] == [False]


def test_progress_is_told_while_it_looks():
    office = a_board()
    run = a_run(
        office,
        "running",
        started_at=timezone.now(),
        progress={
            "first_plan_after_s": 0.8,
            "better_count": 3,
            "placed": 12,
            "left": 2,
            "taken_off": 1,
            "objective": {"travel_min": 130.0, "travel_points": 130.0, "left_out": 2},
            "curve": [[0.8, 900.0], [2.0, 700.0]],
        },
    )
    client = signed_in(office.planner)

    words = text_of(client.get(f"/planning/runs/{run.pk}/progress/"))

    assert "12 visits placed, 2 that wait left out, 1 booked to be taken off" in words
    assert "Driving 2 h 10 min 130" in words
    assert "The first plan cost 900 points, the best one costs 700" in words
    assert "every 1500ms" in client.get(f"/planning/runs/{run.pk}/").content.decode()


def test_when_it_is_over_the_page_is_loaded_again():
    office = a_board()
    run = a_run(office)

    answer = signed_in(office.planner).get(f"/planning/runs/{run.pk}/progress/")

    assert answer.headers["HX-Refresh"] == "true"


def test_a_run_is_stopped():
    office = a_board()
    run = a_run(office, "running", started_at=timezone.now())

    signed_in(office.planner).post(f"/planning/runs/{run.pk}/stop/")

    run.refresh_from_db()
    assert run.state == "stopping"


def test_a_failed_run_says_why():
    office = a_board()
    run = a_run(office, "failed", failure="No crew can be sent on these days.")

    assert "No crew can be sent on these days." in text_of(
        signed_in(office.planner).get(f"/planning/runs/{run.pk}/")
    )


def test_proposals_are_told_with_their_reasons_and_laid_over_the_board():
    office = a_board()
    crew = a_crew(office, "Wren")
    run = a_run(office)
    need, left = a_need(office, "7 Waiting Way"), a_need(office, "8 Hopeless Hill")
    proposes_new(run, need, crew)
    ProposedVisit.objects.create(
        run=run,
        need=left,
        change="left",
        reasons=[{"code": "x", "words": "No crew is free.", "would_help": "Overtime."}],
    )
    client = signed_in(office.planner)

    page = text_of(client.get(f"/planning/runs/{run.pk}/"))
    board = client.get(
        "/planning/", {"from": next_week().isoformat(), "days": 1, "run": run.pk}
    ).content.decode()

    assert re.search(r"Wren 1 new .*7 Waiting Way .*New Why .*12 min drive to it", page)
    assert re.search(r"8 Hopeless Hill .*No crew is free\. What would help: Overtime", page)
    assert re.search(r'class="proposed f108 l36"', board)
    assert "No crew is free." in text_of(client.get("/planning/needs/"))


def test_all_or_what_is_ticked_is_accepted_and_the_rest_discarded():
    office = a_board()
    crew, heron = a_crew(office, "Wren"), a_crew(office, "Heron")
    run = a_run(office)
    first = proposes_new(run, a_need(office, "7 Waiting Way"), crew)
    second = proposes_new(run, a_need(office, "8 Later Lane"), heron)
    client = signed_in(office.planner)

    client.post(f"/planning/runs/{run.pk}/answer/", {"answer": "ticked", "line": [first.pk]})
    assert [v.job.property.address_line_1 for v in Visit.objects.all()] == ["7 Waiting Way"]

    client.post(f"/planning/runs/{run.pk}/answer/", {"answer": "discard"})
    second.refresh_from_db()
    assert second.answer == "discarded"
    assert Visit.objects.count() == 1


def test_nothing_ticked_changes_nothing():
    office = a_board()
    run = a_run(office)
    proposes_new(run, a_need(office, "7 Waiting Way"), a_crew(office, "Wren"))

    answer = signed_in(office.planner).post(
        f"/planning/runs/{run.pk}/answer/", {"answer": "ticked"}, follow=True
    )

    assert "Nothing is ticked" in text_of(answer)
    assert Visit.objects.count() == 0


def test_a_proposal_whose_place_was_taken_meanwhile_is_refused_with_words():
    office = a_board()
    crew = a_crew(office, "Wren")
    run = a_run(office)
    proposes_new(run, a_need(office, "7 Waiting Way"), crew)
    a_visit(office, crew, "5 Faster Street", hour=10)

    answer = signed_in(office.planner).post(
        f"/planning/runs/{run.pk}/answer/", {"answer": "all"}, follow=True
    )

    words = text_of(answer)
    assert "1 could not be carried out" in words
    assert "5 Faster Street" in words
    assert Visit.objects.count() == 1


def test_a_crew_that_is_ill_is_recorded_and_a_plan_is_looked_for():
    office = a_board()
    crew = a_crew(office, "Wren")
    today = timezone.localdate().isoformat()

    answer = signed_in(office.planner).post(
        "/planning/replan/crew/",
        {"crew": crew.pk, "first_day": today, "last_day": today, "waiting": "leave"},
    )

    run = PlanRun.objects.get()
    assert answer.headers["Location"] == f"/planning/runs/{run.pk}/"
    assert run.because == "Wren is away"
    assert Absence.objects.get().crew == crew


def test_a_householder_who_cancels_frees_the_crew_and_a_plan_is_looked_for():
    office = a_board()
    visit = a_visit(office, a_crew(office, "Wren"), "1 Loft Lane")

    signed_in(office.planner).post(
        "/planning/replan/cancelled/",
        {"visit": visit.pk, "reason": "in hospital", "waiting": "freed"},
    )

    visit.refresh_from_db()
    assert (visit.status, visit.stop_reason) == ("cancelled", "in hospital")
    assert PlanRun.objects.get().because == "1 Loft Lane is called off"


def test_nothing_is_recorded_while_another_plan_is_looked_for():
    office = a_board()
    visit = a_visit(office, a_crew(office, "Wren"), "1 Loft Lane")
    a_run(office, "running")
    asked = {"visit": visit.pk, "reason": "in hospital", "waiting": "freed"}

    page = signed_in(office.planner).post("/planning/replan/cancelled/", asked)

    assert "A plan is being looked for already. Stop it or wait." in text_of(page)
    visit.refresh_from_db()
    assert visit.status == "booked"


def test_a_visit_that_lasts_longer_must_end_later():
    office = a_board()
    crew = a_crew(office, "Wren")
    noon = timezone.localtime().replace(hour=12, minute=0, second=0, microsecond=0)
    visit = office.booked(crew=crew, starts_at=noon, hours=2.0)
    client = signed_in(office.planner)

    asked = {"visit": visit.pk, "waiting": "leave"}
    page = client.post("/planning/replan/longer/", asked | {"ends_at": "13:00"})
    assert "would not end later" in text_of(page)
    assert PlanRun.objects.count() == 0

    client.post("/planning/replan/longer/", asked | {"ends_at": "15:30"})
    assert list(PlanRun.objects.get().overruns) == [str(visit.pk)]


def test_the_chart_is_a_line_that_falls():
    chart = chart_of([(1.0, 500.0), (4.0, 300.0)], 10.0)

    assert chart is not None
    assert chart.path == "M93.6 10.0 H218.4 V98.0 H468.0"
    assert chart_of([], 3.0) is None


def test_another_companys_run_is_not_found():
    office, other = a_board(), a_board()
    run = a_run(other)
    client = signed_in(office.planner)

    assert client.get(f"/planning/runs/{run.pk}/").status_code == 404
    assert client.get("/planning/", {"run": run.pk}).status_code == 404
    assert client.post(f"/planning/runs/{run.pk}/answer/").status_code == 404


def test_a_plan_is_read_by_crew_and_day_and_ticked_with_what_it_needs():
    office = a_board()
    wren, heron = a_crew(office, "Wren"), a_crew(office, "Heron")
    run = a_run(office)
    standing = a_visit(office, wren, "5 Leaving Lane", hour=9)
    start = standing.during.lower
    leaves = ProposedVisit.objects.create(
        run=run,
        visit=standing,
        need=standing.need,
        change="other_crew",
        crew=heron,
        during=standing.during,
        was_crew=wren,
        was_during=standing.during,
    )
    comes = ProposedVisit.objects.create(
        run=run,
        need=a_need(office, "7 Waiting Way"),
        change="new",
        crew=wren,
        during=(start, start + timedelta(hours=2)),
    )
    ProposedVisit.objects.create(
        run=run,
        visit=a_visit(office, heron, "9 Holiday Hill", hour=14),
        change="kept",
        crew=heron,
        during=(start + timedelta(hours=5), start + timedelta(hours=6)),
        reasons=[{"code": "holiday", "words": "That is a bank holiday.", "would_help": "Move it."}],
    )

    answer = signed_in(office.planner).get(f"/planning/runs/{run.pk}/")
    page, words = answer.content.decode(), text_of(answer)

    assert f'value="{comes.pk}" data-needs="{leaves.pk}"' in page
    assert f'value="{leaves.pk}">' in page, "what moves off needs nobody"
    assert "Only together with 5 Leaving Lane" in words
    assert "From Wren, " in words
    assert "2 changes; 1 stays, 1 of them though it does not fit" in words
    assert re.search(r"Booked, but not fitting 1\. .*9 Holiday Hill .*bank holiday", words)
