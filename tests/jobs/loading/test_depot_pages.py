"""Depots on pages and over the API: hours, deliveries, stock-takes, orders, the ledger."""

from __future__ import annotations

import csv
import io
import re
from datetime import timedelta
from uuid import uuid4

import pytest
from django.urls import reverse
from django.utils import timezone

from jobs.loading.stock import stock_now
from jobs.models import Depot, StockItem, StockMovement, StockOrder
from tests.jobs.loading.yard import a_yard, next_monday
from tests.jobs.planner_scene import api_for, signed_in

pytestmark = pytest.mark.django_db


@pytest.fixture
def yard():
    return a_yard()


def at(yard, name):
    return reverse(name, args=[yard.depot.pk])


def key():
    return {"client_key": str(uuid4())}


def hours(*days):
    return {
        f"{word}_{day}": time
        for day in days
        for word, time in (("opens", "07:30"), ("closes", "16:00"))
    }


def test_a_planner_adds_a_depot_with_its_hours(yard):
    form = {"name": "Quay Street", "nation": "wales", "reload_minutes": 20, "is_active": "on"}
    answer = signed_in(yard.planner).post(reverse("depot_new"), form | hours(0, 1, 5), follow=True)

    assert "Monday" in answer.text and "07:30–16:00" in answer.text
    depot = Depot.objects.get(name="Quay Street")
    assert [row.weekday for row in depot.hours.all()] == [0, 1, 5]


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ({"name": "Mill Lane"}, "a depot of this name already"),
        ({"name": "A", "opens_0": "08:00"}, "Give both times"),
        ({"name": "A", "opens_0": "08:00", "closes_0": "07:00"}, "later than the opening"),
        ({"name": "A", "latitude_deg": "52"}, "both latitude and longitude"),
        ({"name": ""}, "Fill this in"),
    ],
    ids=["a name twice", "half a day", "closed before open", "half a position", "no name"],
)
def test_a_depot_that_cannot_be_is_refused_at_its_field(yard, form, said):
    plain = {"nation": "england", "reload_minutes": 20}
    answer = signed_in(yard.planner).post(reverse("depot_new"), plain | form)
    assert answer.status_code == 422
    assert said in answer.text
    assert Depot.objects.count() == 1


def test_an_edit_that_would_overwrite_anothers_is_refused(yard):
    client, address = signed_in(yard.planner), at(yard, "depot_edit")
    form = {"name": "Mill Lane", "nation": "england", "reload_minutes": 20, "version": 1}
    client.post(address, form)
    again = client.post(address, form | {"name": "Other"})
    assert "changed by someone else" in again.text


def test_a_delivery_is_added_and_sent_twice_counts_once(yard):
    form = {"W170": 48, "W100": "", "note": "Note 17"} | key()
    for _ in range(2):
        answer = signed_in(yard.planner).post(at(yard, "depot_receive"), form)
        assert answer.status_code == 302
    assert stock_now(yard.depot) == {"W170": 48}


def test_a_stock_take_sets_the_stock_and_its_row_stands_in_the_ledger(yard):
    yard.receive(W170=48)
    signed_in(yard.planner).post(at(yard, "depot_count"), {"W170": 45, "note": "by two"} | key())

    assert stock_now(yard.depot) == {"W170": 45}
    ledger = signed_in(yard.planner).get(at(yard, "depot_ledger")).text
    assert "Stock-take" in ledger and "by two" in ledger and "−3" in ledger


def test_more_spoilt_than_there_is_says_so_at_the_number(yard):
    yard.receive(W170=2)
    form = {"item": yard.items["W170"].pk, "quantity": 3, "reason": "wet"} | key()
    answer = signed_in(yard.planner).post(at(yard, "depot_spoilt"), form)
    assert answer.status_code == 422
    assert "holds 2 of Item W170, 1 fewer" in answer.text


def test_the_ledger_is_narrowed_to_an_item_with_its_running_balance(
    yard, django_assert_max_num_queries
):
    yard.receive(W170=10, W100=7)
    yard.receive(W170=5)
    client = signed_in(yard.planner)
    with django_assert_max_num_queries(20):
        text = client.get(at(yard, "depot_ledger"), {"item": yard.items["W170"].pk}).text
    after = re.findall(r'data-label="After it" class="number"><span class="quantity">(\d+)', text)
    assert after == ["15", "10"]


def test_a_movement_is_corrected_once_by_a_row_that_names_it(yard):
    yard.receive(W170=48)
    address = reverse("stock_movement_correct", args=[StockMovement.objects.get().pk])
    form = {"quantity": 24, "reason": "one pallet"} | key()
    text = signed_in(yard.planner).post(address, form, follow=True).text
    assert "corrects no. 1" in text
    assert stock_now(yard.depot) == {"W170": 24}


def test_what_to_order_by_when_leads_to_an_order_that_ends_the_warning(yard):
    yard.receive(W170=24)
    yard.visit(yard.planned_job({"W170": 30}), next_monday(2))
    client = signed_in(yard.planner)
    page = client.get(at(yard, "depot"))
    assert "6 too few on" in page.text

    form = {"item": yard.items["W170"].pk, "packs": 2, "due_on": next_monday(1)} | key()
    client.post(at(yard, "depot_order"), form)

    assert StockOrder.objects.get().quantity == 48
    assert "Nothing runs short" in client.get(at(yard, "depot")).text


def test_an_order_arrives_and_is_closed(yard):
    order = StockOrder.objects.create(
        company=yard.office.company, depot=yard.depot, item=yard.items["W170"], quantity=48,
        due_on=timezone.localdate() - timedelta(days=1), ordered_by=yard.planner,
    )  # fmt: skip
    client = signed_in(yard.planner)
    assert "never came" in client.get(at(yard, "depot")).text

    address = reverse("stock_order_arrived", args=[order.pk])
    client.post(address, {"quantity": 46, "version": 1})

    assert stock_now(yard.depot) == {"W170": 46}
    again = client.post(address, {"quantity": 46, "version": 2})
    assert "This order is closed" in again.text


def test_what_to_order_is_a_table_for_a_spreadsheet(yard):
    yard.items["W170"].supplier = "=cmd|' /C calc'!A0"
    yard.items["W170"].save()
    yard.visit(yard.planned_job({"W170": 30}), next_monday(2))

    answer = signed_in(yard.planner).get(at(yard, "depot_order_csv"))

    (row,) = csv.DictReader(io.StringIO(answer.text))
    assert (row["code"], row["packs"], row["units"], row["left_units"]) == (
        "W170",
        "3",
        "72",
        "-30",
    )
    assert row["supplier"].startswith("'=")  # no formula


def test_the_desk_counts_what_runs_out(yard):
    yard.visit(yard.planned_job({"W170": 30}), next_monday(1))
    text = signed_in(yard.planner).get("/desk/").text
    assert "item runs out at a depot" in text


def test_a_surveyor_reads_and_changes_nothing(yard):
    client = signed_in(yard.office.person("surveyor"))
    assert client.get(at(yard, "depot")).status_code == 200
    assert client.get(at(yard, "depot_receive")).status_code == 404
    assert client.post(at(yard, "depot_count"), {"W170": 9} | key()).status_code == 404


def test_a_program_keeps_depots_and_moves_stock(yard):
    api = api_for(yard.planner)
    made = api.post(
        "/api/v1/depots/",
        {
            "name": "North",
            "nation": "scotland",
            "hours": [{"weekday": 0, "opens_at": "07:00", "closes_at": "12:00"}],
        },
        format="json",
    )
    assert made.status_code == 201
    assert made.data["hours"] == [{"weekday": 0, "opens_at": "07:00:00", "closes_at": "12:00:00"}]

    depot = f"/api/v1/depots/{made.data['id']}/"
    body = {"quantities": {"W170": 30}, "client_key": str(uuid4())}
    for _ in range(2):
        assert api.post(f"{depot}deliveries/", body, format="json").status_code == 201
    api.post(f"{depot}stock-takes/", {"quantities": {"W170": 28}}, format="json")
    lost = api.post(f"{depot}losses/", {"quantities": {"W170": 1}, "note": "wet"}, format="json")
    assert lost.data[0]["balance_after"] == 27

    stock = api.get(f"{depot}stock/").data
    assert [row["now"] for row in stock["items"] if row["code"] == "W170"] == [27]
    unknown = api.post(f"{depot}deliveries/", {"quantities": {"X9": 1}}, format="json")
    assert unknown.status_code == 400 and "You keep no item" in str(unknown.data)


def test_a_program_orders_in_whole_packs(yard):
    api = api_for(yard.planner)
    body = {"depot": yard.depot.pk, "item": yard.items["W170"].pk, "due_on": next_monday(1)}
    odd = api.post("/api/v1/stock-orders/", body | {"quantity": 30}, format="json")
    assert odd.status_code == 400 and "Order 48" in str(odd.data)

    made = api.post("/api/v1/stock-orders/", body | {"quantity": 48}, format="json")
    order = f"/api/v1/stock-orders/{made.data['id']}/"
    assert api.post(f"{order}arrived/", {"quantity": 48}, format="json").data["state"] == "arrived"
    assert stock_now(yard.depot) == {"W170": 48}
    assert api.post(f"{order}cancel/").status_code == 400


def test_the_code_of_an_item_that_moved_stays(yard):
    yard.receive(W170=1)
    item = yard.items["W170"]
    form = {"name": "Wool", "code": "W171", "unit": "roll", "units_per_pack": 24,
            "pack_volume_m3": 4, "lead_time_days": 3, "reorder_point": 0, "version": 1}  # fmt: skip
    answer = signed_in(yard.planner).post(reverse("stock_item_edit", args=[item.pk]), form)
    assert "its code stays" in answer.text
    assert StockItem.objects.get(pk=item.pk).code == "W170"


def test_the_depots_page_takes_as_many_queries_for_many_items_as_for_one(
    yard, django_assert_max_num_queries
):
    for n in range(6):
        yard.item(f"N{n}")
        yard.visit(yard.planned_job({"W170": 1}), next_monday(1), 8 + n, hours=1.0)
    client = signed_in(yard.planner)
    with django_assert_max_num_queries(26):
        text = client.get(at(yard, "depot")).text
    assert "Item N5" in text
