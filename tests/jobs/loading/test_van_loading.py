"""Marking vans loaded and bringing back what is left: by whom, once, and never out of nothing."""

from __future__ import annotations

import threading
from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import DatabaseError, connection, connections, transaction

from jobs.errors import Conflict, Refused
from jobs.loading.stock import stock_now
from jobs.loading.vans import Taken, mark_loaded, on_van, return_unused
from jobs.models import StockMovement, VanLoading
from tests.jobs.loading.yard import a_yard, accessory_line, next_monday

MONDAY = next_monday()


@pytest.fixture
def yard(db):
    yard = a_yard()
    yard.receive(W170=40)
    yard.visit(yard.planned_job({"W170": 12}, [accessory_line("sealant", 2, "tube")]), MONDAY, 8)
    return yard


def test_marking_a_load_takes_it_from_the_depot_in_one_act(yard):
    record = mark_loaded(yard.crew, MONDAY, 1, by=yard.planner)

    assert stock_now(yard.depot)["W170"] == 28
    movement = record.movements.get()
    assert (movement.kind, movement.quantity, movement.day) == ("loaded", -12, MONDAY)
    assert movement.crew_id == yard.crew.pk and movement.van_id == yard.crew.van_id
    assert [line["item"] for line in record.lines] == ["W170", "sealant"]


def test_a_load_is_marked_on_its_day_or_the_working_day_before(yard, monkeypatch):
    friday, clock = MONDAY - timedelta(days=3), "jobs.loading.when.today"
    weekday = lambda crew, day: day.isoweekday() in crew.works_on  # noqa: E731  no holidays
    monkeypatch.setattr("jobs.loading.when.works_on", weekday)
    monkeypatch.setattr(clock, lambda: friday - timedelta(days=1))
    with pytest.raises(Conflict, match="too early") as refusal:
        mark_loaded(yard.crew, MONDAY, 1, by=yard.planner)
    assert f"Mark it from {friday:%a %-d %b} on" in refusal.value.remedy
    assert not VanLoading.objects.exists()

    monkeypatch.setattr(clock, lambda: friday)
    mark_loaded(yard.crew, MONDAY, 1, by=yard.planner)


def test_a_load_that_the_van_cannot_hold_is_refused_by_the_database(yard):
    """The van holds 11 m3, a packed roll of W170 takes 0.19: 57 fit, 58 do not."""
    yard.receive(W170=60)
    with pytest.raises(Conflict, match=r"take 11\.0 m³ packed and .* holds 11\.0 m³") as refusal:
        mark_loaded(yard.crew, MONDAY, 1, by=yard.planner, taken={"W170": Taken(58, "spare")})
    assert "Take fewer" in str(refusal.value)
    assert not VanLoading.objects.exists()
    assert stock_now(yard.depot)["W170"] == 100

    mark_loaded(yard.crew, MONDAY, 1, by=yard.planner, taken={"W170": Taken(57, "spare")})


def test_the_same_marking_sent_twice_is_one_load(yard):
    key = uuid4()
    first = mark_loaded(yard.crew, MONDAY, 1, by=yard.planner, key=key)
    again = mark_loaded(yard.crew, MONDAY, 1, by=yard.planner, key=key)

    assert first == again
    assert stock_now(yard.depot)["W170"] == 28


def test_a_load_is_marked_once_whoever_comes_second(yard):
    mark_loaded(yard.crew, MONDAY, 1, by=yard.planner)
    with pytest.raises(Conflict, match="on the van already"):
        mark_loaded(yard.crew, MONDAY, 1, by=yard.installer())


def test_loads_are_marked_in_their_order(yard):
    yard.receive(W170=100)
    yard.visit(yard.planned_job({"W170": 50}), MONDAY, 13)
    with pytest.raises(Conflict, match="Mark load 1 first"):
        mark_loaded(yard.crew, MONDAY, 2, by=yard.planner)


def test_a_difference_wants_a_reason_and_keeps_it(yard):
    with pytest.raises(Refused, match="10 taken, 12 asked for") as refusal:
        mark_loaded(yard.crew, MONDAY, 1, by=yard.planner, taken={"W170": Taken(10)})
    assert refusal.value.field == "W170"

    why = Taken(10, "two are on the van from Friday")
    record = mark_loaded(yard.crew, MONDAY, 1, by=yard.planner, taken={"W170": why})

    assert record.lines[0]["reason"] == "two are on the van from Friday"
    assert record.movements.get().quantity == -10


def test_a_depot_that_holds_too_few_says_which_item_and_nothing_is_marked(yard):
    yard.visit(yard.planned_job({"W170": 30}), MONDAY, 13)
    with pytest.raises(Conflict, match="Mill Lane holds 40 of Item W170, 2 fewer"):
        mark_loaded(yard.crew, MONDAY, 1, by=yard.planner)
    assert not VanLoading.objects.exists()
    assert stock_now(yard.depot)["W170"] == 40


def test_a_crew_without_a_depot_marks_its_load_and_no_stock_moves(yard):
    yard.crew.depot = None
    yard.crew.save()
    record = mark_loaded(yard.crew, MONDAY, 1, by=yard.planner)
    assert record.depot is None
    assert stock_now(yard.depot)["W170"] == 40


@pytest.mark.parametrize(
    "who", ["another crew's installer", "another company's planner", "surveyor"]
)
def test_nobody_else_marks_a_van(yard, who):
    by = {
        "another crew's installer": lambda: yard.installer(crew=yard.office.crew()),
        "another company's planner": lambda: a_yard().planner,
        "surveyor": lambda: yard.office.person("surveyor"),
    }[who]()
    with pytest.raises(Refused, match="Only a planner or somebody of this crew"):
        mark_loaded(yard.crew, MONDAY, 1, by=by)
    assert not VanLoading.objects.exists()


def test_a_crews_installer_marks_its_own_van(yard):
    record = mark_loaded(yard.crew, MONDAY, 1, by=yard.installer())
    assert record.loaded_by.role == "installer"


def test_unused_rolls_come_back_and_no_more_than_went_out(yard):
    mark_loaded(yard.crew, MONDAY, 1, by=yard.planner)
    return_unused(yard.crew, MONDAY, {"W170": 3}, by=yard.planner)

    assert stock_now(yard.depot)["W170"] == 31
    assert on_van(yard.crew, MONDAY) == {yard.items["W170"]: 9}
    with pytest.raises(Conflict, match="10 of Item W170 come back, but 9 went out"):
        return_unused(yard.crew, MONDAY, {"W170": 10}, by=yard.planner)


def test_the_same_return_sent_twice_is_one_return(yard):
    mark_loaded(yard.crew, MONDAY, 1, by=yard.planner)
    key = uuid4()
    for _ in range(2):
        return_unused(yard.crew, MONDAY, {"W170": 3}, by=yard.planner, key=key)
    assert stock_now(yard.depot)["W170"] == 31


def test_nothing_comes_back_before_anything_went_out(yard):
    with pytest.raises(Conflict, match="but 0 went out"):
        return_unused(yard.crew, MONDAY, {"W170": 1}, by=yard.planner)


def test_raw_sql_does_not_rewrite_a_load(yard):
    mark_loaded(yard.crew, MONDAY, 1, by=yard.planner)
    for sql in ("UPDATE jobs_vanloading SET number = 2", "DELETE FROM jobs_vanloading"):
        with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(sql)
    assert VanLoading.objects.get().number == 1


CREWS, LOADS_EACH, ROLLS_A_LOAD, HELD = 10, 20, 3, 330


@pytest.mark.django_db(transaction=True)
def test_two_hundred_loads_at_once_never_take_more_than_the_depot_holds(monkeypatch):
    """200 loads of 3 rolls each ask for 600; the depot holds 330, and gives exactly 110 loads."""
    yard = a_yard()
    yard.receive(W170=HELD)
    crews = [yard.crew] + [
        yard.office.crew(depot=yard.depot, van=yard.office.van()) for _ in range(CREWS - 1)
    ]
    days = [next_monday(weeks) for weeks in range(1, LOADS_EACH + 1)]
    for crew in crews:
        for day in days:
            yard.visit(yard.planned_job({"W170": ROLLS_A_LOAD}), day, crew=crew)
    monkeypatch.setattr("jobs.loading.when.today", lambda: days[-1])
    done, refused, odd = [], [], []
    begin = threading.Barrier(CREWS)

    def load_all_days(crew) -> None:
        begin.wait()
        for day in days:
            try:
                done.append(mark_loaded(crew, day, 1, by=yard.planner).pk)
            except Conflict as refusal:
                refused.append(str(refusal))
            except Exception as error:  # told in the assertion below
                odd.append(repr(error))
        connections.close_all()

    threads = [threading.Thread(target=load_all_days, args=[crew]) for crew in crews]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert odd == []
    assert (len(done), len(refused)) == (HELD // ROLLS_A_LOAD, CREWS * LOADS_EACH - 110)
    assert stock_now(yard.depot) == {"W170": 0}
    assert VanLoading.objects.count() == StockMovement.objects.filter(kind="loaded").count() == 110
