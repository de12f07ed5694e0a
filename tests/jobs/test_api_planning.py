"""Needs, agreed times, absences and plan runs over the API."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta

import pytest
from django.utils import timezone

from jobs.models import Absence, AgreedWindow, PlanRun, Visit
from jobs.planning import run_work
from jobs.planning.calendars import at
from jobs.planning.disturbance import Disturbance
from jobs.planning.waiting import Waiting
from jobs.planning.wishes import MayMove, Wishes
from tests.jobs.plan_scene import (
    a_day_ahead,
    booked,
    line_for,
    line_of_need,
    ready_run,
    to_fit,
)
from tests.jobs.planner_scene import an_office, api_for

pytestmark = pytest.mark.django_db


@pytest.fixture
def api(office):
    return api_for(office.planner)


def etag(api, address: str) -> str:
    return api.get(address).headers["ETag"]


# --- Needs


def test_needs_are_listed_with_what_they_ask_for(office, api, django_assert_max_num_queries):
    needs = [to_fit(office) for _ in range(3)]
    with django_assert_max_num_queries(5):
        rows = api.get("/api/v1/visit-needs/?state=open").json()["results"]
    assert {row["id"] for row in rows} == {need.pk for need in needs}
    assert (rows[0]["kind"], rows[0]["part_hours"]) == ("fitting", [4.0])


def test_a_need_is_changed_under_if_match(office, crew, api):
    address = f"/api/v1/visit-needs/{to_fit(office).pk}/"
    tag = etag(api, address)
    changed = api.patch(
        address, {"part_hours": [3.5, 3.5], "fixed_crew": crew.pk}, headers={"If-Match": tag}
    )
    assert changed.status_code == 200
    assert changed.json()["hours"] == 7.0
    assert changed.json()["set_by_hand"] == ["fixed_crew", "part_hours"]
    assert api.patch(address, {"priority": 5}, headers={"If-Match": tag}).status_code == 412
    assert api.patch(address, {"priority": 5}).status_code == 428


def test_a_need_is_withdrawn_and_asked_for_again(office, api):
    address = f"/api/v1/visit-needs/{to_fit(office).pk}/"
    given = {"If-Match": etag(api, address)}
    gone = api.post(f"{address}withdraw/", {"reason": "Sold."}, headers=given)
    assert gone.json()["state"] == "withdrawn"
    again = api.post(f"{address}reopen/", headers={"If-Match": gone.headers["ETag"]})
    assert again.json()["state"] == "open"


def test_only_a_planner_changes_needs(office):
    need = to_fit(office)
    api = api_for(office.person("surveyor"))
    assert api.get(f"/api/v1/visit-needs/{need.pk}/").status_code == 200
    assert api.patch(f"/api/v1/visit-needs/{need.pk}/", {"priority": 5}).status_code == 403
    stranger = api_for(an_office().planner)
    assert stranger.get(f"/api/v1/visit-needs/{need.pk}/").status_code == 404


# --- Agreed times and absences


def test_a_time_is_agreed_and_taken_back(office, api):
    need, start = to_fit(office), timezone.now() + timedelta(days=3)
    given = {"need": need.pk, "starts_at": start, "ends_at": start + timedelta(hours=2)}
    made = api.post("/api/v1/agreed-windows/", given)
    assert made.status_code == 201
    assert api.delete(f"/api/v1/agreed-windows/{made.json()['id']}/").status_code == 204
    assert not AgreedWindow.objects.exists()


@pytest.mark.parametrize(
    ("begins", "ends", "said"),
    [(2, 1, "ends before it starts"), (-3, -2, "has passed"), (1, 90, "at most sixty days")],
)
def test_a_time_that_cannot_be_agreed(office, api, begins, ends, said):
    now = timezone.now()
    answer = api.post(
        "/api/v1/agreed-windows/",
        {
            "need": to_fit(office).pk,
            "starts_at": now + timedelta(days=begins),
            "ends_at": now + timedelta(days=ends),
        },
    )
    assert answer.status_code == 400
    assert said in answer.content.decode()


def test_an_absence_is_recorded_corrected_and_taken_back(office, crew, api):
    start = timezone.now() + timedelta(days=3)
    given = {"crew": crew.pk, "starts_at": start, "ends_at": start + timedelta(days=1)}
    made = api.post("/api/v1/absences/", given | {"reason": "ill"})
    assert made.status_code == 201
    address = f"/api/v1/absences/{made.json()['id']}/"
    changed = api.patch(
        address,
        {"ends_at": start + timedelta(days=4)},
        headers={"If-Match": etag(api, address)},
    )
    assert changed.status_code == 200
    assert Absence.objects.get().during.upper - start == timedelta(days=4)
    gone = api.delete(address, headers={"If-Match": changed.headers["ETag"]})
    assert gone.status_code == 204


def test_an_absence_of_nobody_is_refused(office, api):
    start = timezone.now()
    answer = api.post(
        "/api/v1/absences/", {"starts_at": start, "ends_at": start + timedelta(days=1)}
    )
    assert answer.status_code == 409
    assert "not both" in answer.content.decode()


def test_a_crew_that_is_away_is_not_booked(office, crew, api):
    day = a_day_ahead(crew)
    api.post(
        "/api/v1/absences/",
        {"crew": crew.pk, "starts_at": at(day, time(7)), "ends_at": at(day, time(19))},
    )
    answer = api.post(
        "/api/v1/visits/",
        {
            "job": to_fit(office).job_id,
            "kind": "fitting",
            "crew": crew.pk,
            "starts_at": at(day, time(9)),
            "hours": 4,
        },
    )
    assert answer.status_code == 409
    assert "is away then" in answer.content.decode()


# --- Plan runs


def test_a_plan_is_asked_for_watched_and_accepted(office, crew, api):
    need, day = to_fit(office), a_day_ahead(crew)
    made = api.post("/api/v1/plan-runs/", {"first_day": str(day), "days": 5, "seconds": 1})
    assert (made.status_code, made.json()["state"]) == (201, "waiting")
    address = f"/api/v1/plan-runs/{made.json()['id']}/"
    again = api.post("/api/v1/plan-runs/", {"first_day": str(day)})
    assert again.status_code == 409

    run_work.work_on(made.json()["id"])
    assert api.get(address).json()["progress"]["placed"] == 1
    rows = api.get(f"/api/v1/proposed-visits/?run={made.json()['id']}").json()["results"]
    assert [(row["change"], row["need"], row["job"]) for row in rows] == [
        ("new", need.pk, need.job_id)
    ]
    answered = api.post(f"{address}accept/", {"proposals": [rows[0]["id"]]}).json()
    assert answered == {"accepted": [rows[0]["id"]], "refused": {}, "left_behind": {}}
    assert Visit.objects.get().need == need
    assert api.get(address).json()["state"] == "answered"


def test_a_plan_that_waits_is_stopped(office, crew, api):
    made = api.post("/api/v1/plan-runs/", {"first_day": str(a_day_ahead(crew))})
    stopped = api.post(f"/api/v1/plan-runs/{made.json()['id']}/stop/")
    assert (stopped.status_code, stopped.json()["state"]) == (202, "failed")


def test_a_plan_is_asked_for_with_wishes(office, crew, api):
    day = str(a_day_ahead(crew))
    wrong = {"travel": "nan", "may_move": "some"}
    for name, value in wrong.items():
        refused = api.post("/api/v1/plan-runs/", {"first_day": day, "wishes": {name: value}})
        assert refused.status_code == 400
        assert "wishes" in refused.content.decode()

    disturbed = {"crew": crew.pk, "first_day": day, "last_day": day}
    wishes = {"travel": 2, "may_move": "clashes", "waiting": "freed", "disturbed": disturbed}
    made = api.post("/api/v1/plan-runs/", {"first_day": day, "wishes": wishes}).json()
    usual = {"late": 1.0, "overtime": 1.0, "left_out": 1.0, "promises": 1.0}
    assert made["wishes"] == usual | wishes
    kept = Wishes.from_json(PlanRun.objects.get(pk=made["id"]).wishes)
    on_day = Disturbance(crew.pk, date.fromisoformat(day), date.fromisoformat(day))
    assert kept == Wishes(
        travel=2.0, may_move=MayMove.CLASHES, waiting=Waiting.FREED, disturbed=on_day
    )


def test_what_is_refused_is_told_line_by_line(office, crew, api):
    day = a_day_ahead(crew)
    visit = booked(office, crew, day, 8)
    run = ready_run(office)
    line = line_for(run, visit, crew, at(day, time(9)))
    Visit.objects.filter(pk=visit.pk).update(version=9, status="cancelled")
    answered = api.post(f"/api/v1/plan-runs/{run.pk}/accept/").json()
    assert "cancelled" in answered["refused"][str(line.pk)]


def test_an_integration_breaks_no_promise_unaware(office, crew, api):
    """It has to say how many promised visits may change, and is told which they are."""
    day = a_day_ahead(crew)
    told, other = booked(office, crew, day, 8), booked(office, crew, day, 13)
    Visit.objects.filter(pk=told.pk).update(promised_at=timezone.now())
    run = ready_run(office)
    moved = line_for(run, told, crew, at(day, time(8, 30)))
    free = line_for(run, other, crew, at(day, time(13, 30)))
    address = f"/api/v1/plan-runs/{run.pk}/accept/"

    for given in ({}, {"promises_may_break": 2}):
        refused = api.post(address, given)
        assert (refused.status_code, refused.json()["title"][:14]) == (409, "This collides ")
        (promise,) = refused.json()["promises"]
        assert (promise["proposal"], promise["job_reference"]) == (moved.pk, told.job.reference)
        was, becomes = (
            datetime.fromisoformat(promise[name]) for name in ("was_starts_at", "starts_at")
        )
        assert (was, becomes) == (at(day, time(8)), at(day, time(8, 30)))
    assert not Visit.objects.exclude(during__startswith__in=[at(day, time(8)), at(day, time(13))])

    assert api.post(address, {"proposals": [free.pk]}).json()["accepted"] == [free.pk]
    done = api.post(address, {"promises_may_break": 1}).json()
    assert done == {"accepted": [moved.pk], "refused": {}, "left_behind": {}}


def test_an_overrun_is_planned_round(office, crew, api):
    day = a_day_ahead(crew)
    visit = booked(office, crew, day, 8)
    address = f"/api/v1/visits/{visit.pk}/overrun/"
    for ends_at, said in (
        (at(day, time(12)), "not end later"),
        (at(day, time(12)) + timedelta(days=1), "on another day"),
    ):
        refused = api.post(address, {"ends_at": ends_at})
        assert (refused.status_code, refused.json()["errors"][0]["field"]) == (400, "ends_at")
        assert said in refused.json()["detail"]

    answer = api.post(address, {"ends_at": at(day, time(14)), "waiting": "plan"})
    assert answer.status_code == 202
    run = PlanRun.objects.get(pk=answer.json()["id"])
    assert run.overruns == {str(visit.pk): at(day, time(14)).isoformat()}
    assert answer.json()["wishes"]["disturbed"]["crew"] == crew.pk
    assert api.post(address, {"ends_at": at(day, time(15))}).status_code == 409
    stranger = api_for(an_office().planner)
    assert stranger.post(address, {"ends_at": at(day, time(14))}).status_code == 404


def test_a_plan_is_discarded(office, crew, api):
    run = ready_run(office)
    line = line_of_need(run, to_fit(office), crew, at(a_day_ahead(crew), time(9)))
    answer = api.post(f"/api/v1/plan-runs/{run.pk}/discard/")
    assert answer.json() == {"proposals": [line.pk]}
    assert not Visit.objects.exists()


def test_a_crews_calendar_is_told_and_changed(office, crew, api):
    address = f"/api/v1/crews/{crew.pk}/"
    changed = api.patch(
        address,
        {"works_on": [1, 2, 3], "nation": "scotland", "overtime_minutes": 60},
        headers={"If-Match": etag(api, address)},
    )
    assert changed.status_code == 200
    assert (changed.json()["works_on"], changed.json()["nation"]) == ([1, 2, 3], "scotland")


@pytest.mark.parametrize(
    ("act", "given", "field"),
    [("hold", {"held": True}, "held"), ("told", {"told": True}, "promised_at")],
)
def test_a_visit_is_held_and_the_householder_told_under_if_match(
    office, crew, api, act, given, field
):
    address = f"/api/v1/visits/{booked(office, crew, a_day_ahead(crew), 9).pk}/"
    tag = etag(api, address)
    marked = api.post(f"{address}{act}/", given, headers={"If-Match": tag})
    assert marked.status_code == 200
    assert marked.json()[field]
    assert api.post(f"{address}{act}/", given, headers={"If-Match": tag}).status_code == 412
