"""A company's own roll types: entered, changed, retired; what cannot be; who sees them."""

from __future__ import annotations

import dataclasses
from datetime import timedelta

import pytest
from django.db import DatabaseError, connection, transaction
from django.urls import reverse
from django.utils import timezone

from calculations.catalogue import RollType
from calculations.outlines import LoftError
from jobs.errors import Conflict, Refused, Stale
from jobs.models import CompanyRollType, Visit
from jobs.models.roll_types import BOUNDS
from jobs.roll_types import MOST_IN_USE, keep_roll_type, open_plans, set_in_use
from jobs.surveying.quantities import make_layer_plan
from tests.factories import (
    CompanyRollTypeFactory,
    JobFactory,
    LayerPlanFactory,
    SurveyFactory,
)
from tests.jobs.on_site_scene import booked_scene
from tests.jobs.planner_scene import api_for, signed_in
from tests.jobs.test_catalogues import own_rolls

pytestmark = pytest.mark.django_db
GIVEN = {
    "code": "O170",
    "name": "Own wool 170",
    "thickness_mm": 170,
    "width_mm": 1140,
    "length_mm": 5000,
    "conductivity_w_mk": 0.04,
    "cost": 28.5,
    "packed_volume_m3": 0.19,
}
CAN_NOT_BE = [
    *((name, low / 2 - 0.001) for name, (low, _, _) in BOUNDS.items()),
    *((name, high * 1.01) for name, (_, high, _) in BOUNDS.items()),
    *((name, float("nan")) for name in BOUNDS),
]


@pytest.mark.parametrize(("name", "value"), CAN_NOT_BE)
def test_the_database_and_the_engine_refuse_the_same_figures(name, value):
    roll = CompanyRollTypeFactory()

    with pytest.raises(DatabaseError, match=f"company_roll_type_{name}"), transaction.atomic():
        CompanyRollType.objects.filter(pk=roll.pk).update(**{name: value})
    with pytest.raises(LoftError, match=name):
        dataclasses.replace(roll.roll, **{name: value})


@pytest.mark.parametrize("at", [0, 1])
def test_the_last_figures_of_a_range_are_taken_by_both(at):
    ends = {name: bounds[at] for name, bounds in BOUNDS.items()}

    roll = CompanyRollTypeFactory(**ends)

    assert isinstance(roll.roll, RollType)


@pytest.mark.parametrize(
    ("column", "sql"),
    [
        ("splits", "'{2,7}'"),
        ("splits", "'{NULL}'"),
        ("code", "'w170'"),
        ("code", "'W 170'"),
        ("code", "''"),
        ("name", "'  '"),
    ],
)
def test_the_database_refuses_what_no_roll_is_called(column, sql):
    roll = CompanyRollTypeFactory()
    with (
        pytest.raises(DatabaseError, match="company_roll_type"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(f"UPDATE jobs_companyrolltype SET {column} = {sql} WHERE id = {roll.pk}")


@pytest.mark.parametrize(
    ("changes", "field", "remedy"),
    [
        ({"conductivity_w_mk": 44}, "conductivity_w_mk", "44 mW/mK is 0.044"),
        ({"width_mm": 1.14}, "width_mm", "1.14 m is 1140"),
        ({"packed_volume_m3": 1.9}, "packed_volume_m3", "190 litres are 0.19"),
        ({"thickness_mm": 20, "width_mm": 200, "length_mm": 4000}, "length_mm", "20 litres"),
        ({"code": "own wool"}, "code", "such as W170"),
        ({"code": "eaves_tray"}, "code", "capital letters"),
        ({"name": " "}, "name", "the name your crews use"),
    ],
)
def test_a_roll_that_cannot_be_names_its_field_and_the_remedy(office, changes, field, remedy):
    with pytest.raises(Refused, match=remedy) as refusal:
        keep_roll_type(
            CompanyRollType(company=office.company, **GIVEN | changes), by=office.planner
        )
    assert refusal.value.field == field


def test_a_code_is_taken_once_in_a_company_and_again_in_another(office):
    CompanyRollTypeFactory(code="O170")
    keep_roll_type(CompanyRollType(company=office.company, **GIVEN), by=office.planner)

    with pytest.raises(Conflict) as refusal:
        keep_roll_type(
            CompanyRollType(company=office.company, **GIVEN | {"code": "o170"}), by=office.planner
        )
    assert refusal.value.field == "code"


def test_no_change_is_written_over_and_none_is_counted_that_changes_nothing(office):
    roll = CompanyRollTypeFactory(company=office.company)
    same = keep_roll_type(CompanyRollType.objects.get(pk=roll.pk), by=office.planner, version=1)
    assert same.version == 1

    roll.cost = 30.0
    keep_roll_type(roll, by=office.planner, version=1)
    other = CompanyRollType.objects.get(pk=roll.pk)
    other.cost = 31.0
    with pytest.raises(Stale):
        keep_roll_type(other, by=office.planner, version=1)


def test_the_code_stays_once_a_loft_was_planned_with_it(office):
    roll, unused = (CompanyRollTypeFactory(company=office.company) for _ in range(2))
    job = office.job("to_plan")
    LayerPlanFactory(job=job, quantities={"rolls": [], "catalogue": [{"code": roll.code}]})

    unused.code = "NEW-1"
    assert keep_roll_type(unused, by=office.planner).code == "NEW-1"
    roll.code = "NEW-2"
    with pytest.raises(Refused, match="its code stays") as refusal:
        keep_roll_type(roll, by=office.planner)
    assert refusal.value.field == "code"


def test_there_is_a_most_that_can_be_in_use(office):
    CompanyRollTypeFactory.create_batch(MOST_IN_USE - 1, company=office.company)
    kept = keep_roll_type(CompanyRollType(company=office.company, **GIVEN), by=office.planner)
    spare = CompanyRollTypeFactory(company=office.company, is_active=False)

    with pytest.raises(Conflict, match="Retire one"):
        set_in_use(spare, True, by=office.planner)
    set_in_use(kept, False, by=office.planner)
    spare.refresh_from_db()
    assert set_in_use(spare, True, by=office.planner).is_active


# --- Jobs planned with other rolls


def planned_job(company, kept, *codes, stage="to_plan"):
    job = JobFactory(company=company, stage=stage)
    rolls = [{"roll": code, "name": code, "count": 3} for code in codes]
    quantities = {"rolls": rolls} | ({} if kept is None else {"catalogue": kept})
    LayerPlanFactory(job=job, survey=SurveyFactory(job=job), quantities=quantities)
    return job


def why(company):
    plans = open_plans(company, timezone.localdate())
    return {one.job.pk: one.why for one in plans.otherwise}


def test_open_jobs_say_with_which_other_rolls_they_are_planned(office, django_assert_num_queries):
    company = office.company
    w100, w170 = own_rolls(company)
    now = [{"code": "W100", "version": 1}, {"code": "W170", "version": 1}]
    of_before = planned_job(company, None, "W100", "W170")
    thin, thick = (planned_job(company, now, code) for code in ("W100", "W170"))
    laid = planned_job(company, now, "W170", stage="to_assess")
    w170.cost = 20.0
    keep_roll_type(w170, by=office.planner)

    assert why(company) == {
        of_before.pk: "planned with invented rolls",
        thin.pk: "other roll types were entered or changed since",
        thick.pk: "W170 changed since",
    }
    assert laid.pk not in why(company)
    set_in_use(w100, False, by=office.planner)
    assert why(company)[thin.pk] == "W100 not in use any more"
    with django_assert_num_queries(3):
        plans = open_plans(company, timezone.localdate())
    assert plans.by_roll == {"W100": 2, "W170": 2}


def test_a_job_that_is_begun_or_set_out_to_today_keeps_its_plan():
    scene = booked_scene()
    make_layer_plan(scene.job, seconds=0)
    own_rolls(scene.job.company)
    visits = Visit.objects.filter(pk=scene.visit.pk)
    morning = visits.get().during.lower

    def told_on(day):
        return [one.job for one in open_plans(scene.job.company, day).otherwise]

    assert told_on((morning - timedelta(days=1)).date()) == [scene.job]
    assert told_on(morning.date()) == []
    visits.update(status="on_site")
    assert told_on((morning - timedelta(days=1)).date()) == []


def test_worked_out_again_a_job_lays_what_is_in_use():
    scene = booked_scene()
    first = make_layer_plan(scene.job, seconds=0)
    own_rolls(scene.job.company, packed_volume_m3=0.5)
    planner = signed_in(CompanyRollType.objects.first().entered_by)
    Visit.objects.all().update(status="cancelled")
    scene.job.refresh_from_db()

    page = planner.get(reverse("roll_type_planned_otherwise"))
    assert page.text.count(reverse("quantify", args=[scene.job.pk])) == 1
    plan = make_layer_plan(scene.job, seconds=0)

    assert plan != first
    assert plan.packed_volume_m3 == pytest.approx(plan.roll_count * 0.5)
    assert "Every open job is planned" in planner.get(reverse("roll_type_planned_otherwise")).text


# --- Pages and API


def test_the_list_says_what_follows_from_each_roll(office):
    CompanyRollTypeFactory(company=office.company, name="Own wool", cost=28.5)
    CompanyRollTypeFactory(name="Wool of others")

    shown = signed_in(office.planner).get(reverse("roll_type_list"))

    text = " ".join(shown.text.replace("\u202f", " ").split())
    assert '5.70 <span class="unit">m²' in text
    assert '3.86 <span class="unit">m²K/W' in text
    assert ">5.00</span>" in text  # 28.50 over 5.70 m²
    assert "Wool of others" not in text
    assert "You plan with invented rolls" not in text


def test_while_there_is_none_every_page_of_it_says_that_rolls_are_invented(office):
    planner = signed_in(office.planner)
    office.job()
    assert "You plan with invented rolls" in planner.get(reverse("roll_type_list")).text
    assert "list of rolls is invented" in planner.get(reverse("desk")).text

    made = planner.post(reverse("roll_type_new"), GIVEN | {"code": "o170", "splits": "3, 2"})

    assert made.url == reverse("roll_type_list")
    kept = office.company.roll_types.get()
    assert (kept.code, kept.splits) == ("O170", [2, 3])
    assert "list of rolls is invented" not in planner.get(reverse("desk")).text
    roll = office.company.roll_types.get()
    back = planner.post(reverse("roll_type_retire", args=[roll.pk]), {"version": 1}, follow=True)
    assert "planned with invented ones until" in back.text


def test_a_refused_form_keeps_what_was_typed(office):
    typed = GIVEN | {"splits": "halves", "conductivity_w_mk": "44"}

    shown = signed_in(office.planner).post(reverse("roll_type_new"), typed)

    assert shown.status_code == 422
    assert "44 mW/mK is 0.044" in shown.text
    assert "Give numbers from 2 to 6" in shown.text
    assert 'value="halves"' in shown.text
    assert not CompanyRollType.objects.exists()


def test_the_stock_offers_the_rolls_in_use(office):
    roll = CompanyRollTypeFactory(company=office.company, code="O170", name="Own wool")
    new = reverse("stock_item_new")

    shown = signed_in(office.planner).get(f"{new}?roll={roll.pk}")

    assert '<option value="O170">Own wool</option>' in shown.text
    assert 'value="Own wool"' in shown.text and "W170" not in shown.text
    foreign = CompanyRollTypeFactory(name="Wool of others")
    assert "Wool of others" not in signed_in(office.planner).get(f"{new}?roll={foreign.pk}").text


def test_the_api_enters_changes_and_refuses(office):
    api = api_for(office.planner)
    made = api.post("/api/v1/roll-types/", GIVEN | {"code": "o170"}, format="json")
    assert made.status_code == 201
    assert made.json()["resistance_m2k_w"] == pytest.approx(4.25)
    where = f"/api/v1/roll-types/{made.json()['id']}/"

    unmatched = api.patch(where, {"cost": 30}, format="json")
    changed = api.patch(where, {"cost": 30}, format="json", HTTP_IF_MATCH=api.get(where)["ETag"])
    refused = api.post("/api/v1/roll-types/", GIVEN | {"splits": [7]}, format="json")

    assert (unmatched.status_code, changed.status_code, refused.status_code) == (428, 200, 400)
    assert changed.json()["version"] == 2
    assert api_for(office.person("surveyor")).post("/api/v1/roll-types/", GIVEN).status_code == 403


def test_the_api_tells_what_is_planned_otherwise(office):
    job = planned_job(office.company, None, "W100")
    own_rolls(office.company)
    api = api_for(office.planner)

    (told,) = api.get("/api/v1/roll-types/other-rolls/").json()
    sent = api.post("/api/v1/roll-types/work-out-again/")

    assert (told["job"], told["why"]) == (job.pk, "planned with invented rolls")
    assert (sent.status_code, sent.json()) == (202, {"jobs": [job.pk]})
