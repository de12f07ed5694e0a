"""The office's prices: what new plans begin with, who changed them when, and ways back."""

from __future__ import annotations

import pytest
from django.db import DatabaseError, connection, transaction

from jobs.errors import Conflict, Refused
from jobs.models import OfficePrices, PlanRun
from jobs.planning.prices import WORDS, Prices, prices_in_force, set_prices, weights_of
from jobs.planning.run_work import gathered_for
from jobs.planning.weights import Weights
from tests.jobs.plan_scene import a_day_ahead, asked
from tests.jobs.planner_scene import an_office, api_for, signed_in
from tests.jobs.test_planning_page import text_of

pytestmark = pytest.mark.django_db
DEARER = Prices(overtime_hour_min=120)


def test_the_usual_prices_are_those_of_the_solver():
    """Prices in the office's units come back as the solver's own, to the last digit of a float."""
    weights, usual = Prices().weights, Weights()
    for name in Weights.__slots__:
        assert getattr(weights, name) == pytest.approx(getattr(usual, name))
    assert Prices(late_day_min=720).weights.late_hour == 10  # 720 / 24 h / priority 3


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"overtime_hour_min": -1}, "overtime_hour_min"),
        ({"crew_day_min": 20_001}, "crew_day_min"),
        ({"booked_percent": 101}, "booked_percent"),
        ({"late_day_min": float("nan")}, "late_day_min"),
        ({"left_out_4_min": 1}, "left_out_4_min"),  # a more urgent visit cheaper to leave out
    ],
)
def test_prices_that_cannot_be_name_their_field(given, field):
    with pytest.raises(Refused) as refusal:
        Prices(**given)
    assert refusal.value.field == field
    assert refusal.value.remedy


def test_new_plans_begin_with_them_and_a_run_keeps_its_own(office, crew):
    set_prices(office.company, DEARER, by=office.planner)
    run = asked(office, a_day_ahead(crew))
    set_prices(office.company, Prices(overtime_hour_min=30), by=office.planner)

    assert gathered_for(PlanRun.objects.get(pk=run.pk)).problem.weights.overtime_hour == 120
    assert weights_of(office.company).overtime_hour == 30
    assert weights_of(an_office().company) == Prices().weights


def test_two_planners_do_not_overwrite_each_other(office):
    set_prices(office.company, DEARER, by=office.planner, follows=0)
    with pytest.raises(Conflict, match="changed the prices meanwhile"):
        set_prices(office.company, Prices(crew_day_min=60), by=office.planner, follows=0)
    with pytest.raises(Refused, match="Nothing would change"):
        set_prices(office.company, DEARER, by=office.planner)
    assert prices_in_force(office.company).number == 1


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE jobs_officeprices SET overtime_hour_min = 1",
        "DELETE FROM jobs_officeprices",
        "INSERT INTO jobs_officeprices SELECT (jsonb_populate_record(p, jsonb_build_object("
        "'id', 900, 'number', 2, 'late_day_min', -1))).* FROM jobs_officeprices p",
    ],
)
def test_the_database_keeps_what_was_set(office, sql):
    set_prices(office.company, DEARER, by=office.planner)
    with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql)


def test_the_office_changes_them_and_goes_back_on_a_page(office):
    client = signed_in(office.planner)
    page = client.get("/planning/prices/")
    assert "nobody has changed them" in text_of(page)
    form = {name: getattr(DEARER, name) for name in WORDS} | {"follows": 0, "note": "Tired crews"}
    wrong = client.post("/planning/prices/", form | {"left_out_5_min": "x", "crew_day_min": -3})
    assert set(wrong.context["form"].errors) == {"left_out_5_min", "crew_day_min"}
    assert not OfficePrices.objects.exists()

    client.post("/planning/prices/", form)
    told = text_of(client.get("/planning/prices/"))
    assert f"set by {office.planner} on" in told
    assert "An hour of overtime: 90 min → 2 h 00 min" in told and "Tired crews" in told
    asks = text_of(client.get("/planning/runs/"))
    assert "an hour of overtime costs 2 h 00 min of driving" in asks

    usual = client.get("/planning/prices/?from=usual")
    assert "The form below holds the usual prices" in text_of(usual)
    back = {name: usual.context["form"][name].value() for name in WORDS} | {"follows": 1}
    client.post("/planning/prices/", back)
    assert weights_of(office.company) == Prices().weights
    assert OfficePrices.objects.count() == 2


def test_prices_over_the_api(office):
    api = api_for(office.planner)
    in_force = api.get("/api/v1/office-prices/in-force/").json()
    assert (in_force["number"], in_force["overtime_hour_min"]) == (0, 90)
    made = api.post("/api/v1/office-prices/", {"overtime_hour_min": 75, "follows": 0})
    assert (made.status_code, made.json()["number"], made.json()["crew_day_min"]) == (201, 1, 0)
    assert api.post("/api/v1/office-prices/", {"crew_day_min": 5, "follows": 0}).status_code == 409
    wrong = api.post("/api/v1/office-prices/", {"late_day_min": -1})
    assert (wrong.status_code, wrong.json()["errors"][0]["field"]) == (400, "late_day_min")
    surveyor = api_for(office.person("surveyor"))
    assert surveyor.post("/api/v1/office-prices/", {"crew_day_min": 5}).status_code == 403
    assert api.get("/api/v1/office-prices/usual/").json()["overtime_hour_min"] == 90
