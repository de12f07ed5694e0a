"""The load list's pages: seen, marked with a difference, brought back; by whom."""

from __future__ import annotations

import re
from datetime import timedelta
from uuid import uuid4

import pytest
from django.urls import reverse

from jobs.loading.load_list import load_list_of_day
from jobs.loading.stock import stock_now
from jobs.loading.vans import mark_loaded
from jobs.models import StockMovement, VanLoading, VisitOperative
from tests.jobs.loading.yard import a_yard, accessory_line, next_monday
from tests.jobs.planner_scene import api_for, signed_in

pytestmark = pytest.mark.django_db
MONDAY = next_monday()
LINES = [accessory_line("sealant", 2, "tube"), accessory_line("gloves", 2)]


@pytest.fixture
def yard():
    yard = a_yard(van_m3=4.0)
    yard.receive(W170=40)
    yard.visit(yard.planned_job({"W170": 12}, LINES), MONDAY, 8)
    return yard


def page_of(yard, name="load_list"):
    return reverse(name, args=[yard.crew.pk, MONDAY])


def sent(yard, **changed):
    """The form of the next load as the page holds it."""
    load = load_list_of_day(yard.crew, MONDAY).next_load
    units = {f"units_{line.item}": line.units for line in load.lines}
    keys = {"number": load.number, "seen": load.fingerprint, "client_key": str(uuid4())}
    return {**units, **keys, **changed}


def test_the_list_says_what_where_and_what_the_depot_holds(yard):
    text = signed_in(yard.planner).get(page_of(yard)).text

    assert "Loaded at Mill Lane" in text
    assert re.search(r"Wool 170 \(invented\).*?12.*?40</span> at the depot", text, re.DOTALL)
    assert "Manual Handling Operations Regulations 1992" in text
    assert "The load is on the van" in text


def test_a_short_depot_is_told_before_anything_is_marked(yard):
    yard.visit(yard.planned_job({"W170": 35}), MONDAY, 13)
    text = signed_in(yard.planner).get(page_of(yard)).text
    assert "The depot is short" in text
    assert "Load 1 of 3" in text


def test_marking_by_the_form_takes_the_load_from_the_stock(yard):
    client = signed_in(yard.installer())
    answer = client.post(page_of(yard, "load_mark"), sent(yard), follow=True)

    assert "Load 1 is on the van." in answer.text
    assert "<strong>On the van</strong>" in answer.text
    assert stock_now(yard.depot)["W170"] == 28


def test_a_list_of_a_day_far_ahead_is_read_and_not_marked(yard, monkeypatch):
    monkeypatch.setattr("jobs.loading.when.today", lambda: MONDAY - timedelta(days=12))
    client = signed_in(yard.planner)
    text = client.get(page_of(yard)).text
    assert "Not yet" in text
    assert "The load is on the van" not in text

    refused = client.post(page_of(yard, "load_mark"), sent(yard))
    assert refused.status_code == 422
    assert "It is too early: this load is for" in refused.text
    load = load_list_of_day(yard.crew, MONDAY).next_load
    address = f"/api/v1/load-lists/{yard.crew.pk}/{MONDAY}/load/"
    problem = api_for(yard.planner).post(address, {"number": load.number})
    assert (problem.status_code, VanLoading.objects.count()) == (409, 0)


def test_a_difference_without_a_reason_comes_back_with_what_was_typed(yard):
    answer = signed_in(yard.planner).post(page_of(yard, "load_mark"), sent(yard, units_W170=10))
    assert answer.status_code == 422
    assert "10 taken, 12 asked for" in answer.text
    assert not VanLoading.objects.exists()

    done = sent(yard, units_W170=10, W170="two on the van since Friday")
    text = signed_in(yard.planner).post(page_of(yard, "load_mark"), done, follow=True).text
    assert "two on the van since Friday" in text


def test_a_list_that_changed_since_it_was_opened_is_not_marked(yard):
    old = sent(yard)
    yard.visit(yard.planned_job({"W170": 4}), MONDAY, 13)

    answer = signed_in(yard.planner).post(page_of(yard, "load_mark"), old)

    assert answer.status_code == 422
    assert "changed by someone else" in answer.text
    assert not VanLoading.objects.exists()


def test_pressing_twice_is_one_load(yard):
    form = sent(yard)
    client = signed_in(yard.planner)
    for _ in range(2):
        client.post(page_of(yard, "load_mark"), form)
    assert VanLoading.objects.count() == 1
    assert stock_now(yard.depot)["W170"] == 28


def test_what_was_not_used_comes_back_at_the_end_of_the_day(yard):
    mark_loaded(yard.crew, MONDAY, 1, by=yard.planner)
    client = signed_in(yard.installer())
    assert "12 went out" in client.get(page_of(yard, "load_return")).text

    form = {"W170": 2, "note": "cut went well", "client_key": str(uuid4())}
    client.post(page_of(yard, "load_return"), form)

    assert stock_now(yard.depot)["W170"] == 30
    too_many = client.post(
        page_of(yard, "load_return"), form | {"client_key": str(uuid4()), "W170": 11}
    )
    assert too_many.status_code == 422
    assert "but 10 went out" in too_many.text


def test_somebody_lent_sees_its_visit_and_marks_nothing(yard):
    other = yard.planned_job({"W170": 3})
    lent_to = yard.visit(other, MONDAY, 13)
    lent = yard.installer(crew=yard.office.crew())
    VisitOperative.objects.create(visit=lent_to, operative=lent.operative)
    client = signed_in(lent)

    text = client.get(page_of(yard)).text

    first = yard.crew.visits.order_by("during").first().job.property.address_line_1
    assert other.property.address_line_1 in text
    assert first not in text
    assert "is on the van</button>" not in text
    assert client.post(page_of(yard, "load_mark"), sent(yard)).status_code == 404
    assert client.get(page_of(yard, "load_return")).status_code == 404
    round_text = client.get(page_of(yard, "round_sheet")).text
    assert first not in round_text and other.property.address_line_1 in round_text


def test_a_program_marks_a_load_with_its_differences_and_brings_back(yard):
    api, address = api_for(yard.planner), f"/api/v1/load-lists/{yard.crew.pk}/{MONDAY}/"
    told = api.get(address).data
    assert told["loads"][0]["lines"][0]["units"] == 12

    body = {
        "number": 1,
        "seen": told["loads"][0]["seen"],
        "taken": [{"item": "W170", "units": 11, "reason": "one torn"}],
        "client_key": str(uuid4()),
    }
    assert api.post(f"{address}load/", body, format="json").status_code == 201
    assert api.post(f"{address}load/", body, format="json").status_code == 201
    assert stock_now(yard.depot)["W170"] == 29

    back = api.post(f"{address}return/", {"quantities": {"W170": 1}}, format="json")
    assert back.data[0]["balance_after"] == 30
    assert [row["number"] for row in api.get("/api/v1/van-loadings/").data["results"]] == [1]


def test_a_refused_marking_is_a_problem_that_names_the_item(yard):
    api, address = api_for(yard.planner), f"/api/v1/load-lists/{yard.crew.pk}/{MONDAY}/load/"
    body = {"number": 1, "taken": [{"item": "W170", "units": 11}]}

    answer = api.post(address, body, format="json")

    assert answer.status_code == 400
    assert answer.data["errors"][0]["field"] == "W170"
    assert not StockMovement.objects.filter(kind="loaded").exists()


def test_the_page_takes_as_many_queries_for_a_full_day_as_for_one_visit(
    yard, django_assert_max_num_queries
):
    for hour in range(12, 18):
        yard.visit(yard.planned_job({"W170": 2}, LINES), MONDAY, hour, hours=1.0)
    client = signed_in(yard.planner)
    with django_assert_max_num_queries(24):
        text = client.get(page_of(yard)).text
    assert "Load 1 of 2" in text
