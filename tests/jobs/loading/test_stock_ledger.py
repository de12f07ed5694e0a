"""The ledger of a depot: what moves the stock, and what nobody can make it do."""

from __future__ import annotations

import threading
from uuid import uuid4

import pytest
from django.db import DatabaseError, IntegrityError, connection, connections, transaction

from jobs.errors import Conflict, Refused
from jobs.loading.movements import correct_movement, count_stock, receive_delivery, record_spoilt
from jobs.loading.stock import stock_now
from jobs.models import StockBalance, StockMovement
from tests.factories import UserFactory
from tests.jobs.loading.yard import Yard, a_yard

INSERT = """
    INSERT INTO jobs_stockmovement
        (company_id, depot_id, item_id, kind, quantity, effect, number, balance_after,
         reason, by_id, at, client_key)
    SELECT %(company)s, %(depot)s, %(item)s, %(kind)s, %(quantity)s, 0, 0, 0,
           '', %(by)s, now(), gen_random_uuid()
    FROM generate_series(1, %(times)s)
"""


@pytest.fixture
def yard(db):
    return a_yard()


def raw_insert(yard: Yard, kind: str, quantity: int, *, times: int = 1) -> None:
    values = {
        "company": yard.office.company.pk,
        "depot": yard.depot.pk,
        "item": yard.items["W170"].pk,
        "kind": kind,
        "quantity": quantity,
        "by": yard.planner.pk,
        "times": times,
    }
    with connection.cursor() as cursor:
        cursor.execute(INSERT, values)


def ledger(yard: Yard, code: str = "W170") -> list[tuple[int, int, int]]:
    rows = StockMovement.objects.filter(item=yard.items[code]).order_by("number")
    return list(rows.values_list("number", "effect", "balance_after"))


def test_every_movement_stands_in_its_place_with_the_balance_after_it(yard):
    yard.receive(W170=48)
    record_spoilt(yard.depot, {yard.items["W170"]: 3}, "wet", by=yard.planner)
    count_stock(yard.depot, {yard.items["W170"]: 44}, by=yard.planner)

    assert ledger(yard) == [(1, 48, 48), (2, -3, 45), (3, -1, 44)]
    assert stock_now(yard.depot) == {"W170": 44}


def test_a_stock_take_that_finds_no_difference_is_a_record_too(yard):
    yard.receive(W170=10)
    count_stock(yard.depot, {yard.items["W170"]: 10}, by=yard.planner)

    assert ledger(yard)[-1] == (2, 0, 10)


def test_a_correction_replaces_a_movement_and_moves_the_stock_by_the_difference(yard):
    yard.receive(W170=48)
    delivery = StockMovement.objects.get()

    correct_movement(delivery, 24, "one pallet came, not two", by=yard.planner)

    assert ledger(yard) == [(1, 48, 48), (2, -24, 24)]
    with pytest.raises(Conflict, match="corrected already"):
        correct_movement(delivery, 30, "again", by=yard.planner)
    assert stock_now(yard.depot) == {"W170": 24}


def test_the_same_delivery_sent_twice_is_stored_once(yard):
    key, wanted = uuid4(), {yard.items["W170"]: 24, yard.items["W100"]: 6}
    first = receive_delivery(yard.depot, wanted, by=yard.planner, key=key)
    again = receive_delivery(yard.depot, wanted, by=yard.planner, key=key)

    assert {row.pk for row in first} == {row.pk for row in again}
    assert stock_now(yard.depot) == {"W170": 24, "W100": 6}


def test_more_than_there_is_is_refused_in_words_that_name_item_and_numbers(yard):
    yard.receive(W170=5)
    with pytest.raises(Conflict, match="Mill Lane holds 5 of Item W170, 2 fewer") as refusal:
        record_spoilt(yard.depot, {yard.items["W170"]: 7}, "flood", by=yard.planner)

    assert refusal.value.field == "W170"
    assert stock_now(yard.depot) == {"W170": 5}


@pytest.mark.parametrize(
    ("act", "said"),
    [
        (lambda y: receive_delivery(y.depot, {}, by=y.planner), "Nothing is filled in"),
        (lambda y: receive_delivery(y.depot, {y.items["W170"]: -1}, by=y.planner), "cannot be"),
        (lambda y: count_stock(y.depot, {}, by=y.planner), "Nothing was counted"),
        (lambda y: count_stock(y.depot, {y.items["W170"]: -1}, by=y.planner), "cannot be"),
        (lambda y: record_spoilt(y.depot, {y.items["W170"]: 1}, " ", by=y.planner), "happened"),
    ],
    ids=["no delivery", "a negative delivery", "no count", "a negative count", "no reason"],
)
def test_what_cannot_be_is_refused_with_the_remedy(yard, act, said):
    with pytest.raises(Refused, match=said):
        act(yard)
    assert not StockMovement.objects.exists()


RAW = {
    "an update of a movement": "UPDATE jobs_stockmovement SET quantity = 1",
    "a deletion of a movement": "DELETE FROM jobs_stockmovement",
    "a balance set by hand": "UPDATE jobs_stockbalance SET quantity = 900",
    "a deleted balance": "DELETE FROM jobs_stockbalance",
}


@pytest.mark.parametrize("sql", RAW.values(), ids=RAW.keys())
def test_raw_sql_does_not_rewrite_the_ledger(yard, sql):
    yard.receive(W170=10)
    with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql)
    assert ledger(yard) == [(1, 10, 10)]
    assert stock_now(yard.depot) == {"W170": 10}


@pytest.mark.parametrize(
    ("kind", "quantity", "constraint"),
    [
        ("spoilt", -11, "stock_never_below_zero"),
        ("counted", -11, "stock_never_below_zero"),
        ("received", -1, "stock_movement_sign_fits_kind"),
        ("spoilt", 1, "stock_movement_sign_fits_kind"),
        ("loaded", -1, "stock_movement_of_a_crews_day"),
    ],
)
def test_raw_sql_does_not_bring_stock_below_zero_nor_turn_a_sign(yard, kind, quantity, constraint):
    yard.receive(W170=10)
    with pytest.raises(IntegrityError, match=constraint), transaction.atomic():
        raw_insert(yard, kind, quantity)
    assert stock_now(yard.depot) == {"W170": 10}


def test_many_rows_in_one_statement_are_counted_one_after_another(yard):
    yard.receive(W170=10)
    raw_insert(yard, "spoilt", -1, times=10)
    assert ledger(yard)[-1] == (11, -1, 0)
    with pytest.raises(IntegrityError), transaction.atomic():
        raw_insert(yard, "received", 1, times=3)
        raw_insert(yard, "spoilt", -1, times=4)
    assert stock_now(yard.depot) == {"W170": 0}


def test_an_insert_that_a_conflict_would_drop_does_not_move_the_balance(yard):
    yard.receive(W170=10)
    row = StockMovement.objects.get()
    copy = StockMovement(
        company=row.company, depot=row.depot, item=row.item, kind="received", quantity=10,
        by=row.by, client_key=row.client_key,
    )  # fmt: skip
    with pytest.raises(IntegrityError, match="stored already"), transaction.atomic():
        StockMovement.objects.bulk_create([copy], ignore_conflicts=True)
    assert stock_now(yard.depot) == {"W170": 10}


def test_a_movement_names_nothing_of_another_company(yard):
    other = a_yard()
    with pytest.raises(IntegrityError, match="of_one_company"), transaction.atomic():
        StockMovement.objects.create(
            company=yard.office.company, depot=yard.depot, item=other.items["W170"],
            kind="received", quantity=1, by=yard.planner,
        )  # fmt: skip
        connection.check_constraints()


ATTEMPTS, THREADS, HELD = 200, 10, 60


@pytest.mark.django_db(transaction=True)
def test_two_hundred_takings_at_once_never_take_more_than_there_is():
    yard = a_yard()
    yard.receive(W170=HELD)
    user = UserFactory(company=yard.office.company)
    taken, refused = [], []
    begin = threading.Barrier(THREADS)

    def take() -> None:
        begin.wait()
        for _ in range(ATTEMPTS // THREADS):
            try:
                record_spoilt(yard.depot, {yard.items["W170"]: 1}, "taken", by=user)
                taken.append(1)
            except Conflict:
                refused.append(1)
        connections.close_all()

    threads = [threading.Thread(target=take) for _ in range(THREADS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert (len(taken), len(refused)) == (HELD, ATTEMPTS - HELD)
    assert StockBalance.objects.get().quantity == 0
    numbers = StockMovement.objects.order_by("number").values_list("number", flat=True)
    assert list(numbers) == list(range(1, HELD + 2))
    running = 0
    for _, effect, after in ledger(yard):
        running += effect
        assert after == running
