"""What would run out, and what to order by when."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.utils import timezone

from jobs.loading.ordering import Kind, WorkingDays, overdue_orders, warnings_of
from jobs.models import Depot, DepotHours, StockOrder
from tests.jobs.loading.yard import a_yard, next_monday


@pytest.fixture
def yard(db):
    return a_yard()


def a_depot(nation: str, weekdays: range = range(5)) -> Depot:
    depot = Depot(company=a_yard().office.company, name=f"In {nation}", nation=nation)
    depot.save()
    for weekday in weekdays:
        DepotHours.objects.create(depot=depot, weekday=weekday)
    return depot


def test_nothing_is_warned_of_where_everything_is_there(yard):
    yard.receive(W170=60)
    yard.visit(yard.planned_job({"W170": 12}), next_monday(2))
    assert warnings_of(yard.depot) == ()


def test_an_item_that_runs_out_says_the_day_the_visits_and_whole_packs(yard):
    yard.receive(W170=60)
    monday = next_monday(2)
    yard.visit(yard.planned_job({"W170": 40}), monday)
    taker = yard.visit(yard.planned_job({"W170": 30}), monday + timedelta(days=1))

    (warning,) = warnings_of(yard.depot)

    assert (warning.kind, warning.on) == (Kind.RUNS_OUT, monday + timedelta(days=1))
    assert warning.left == -10
    assert [visit.pk for visit in warning.visits] == [taker.pk]
    assert (warning.packs, warning.units) == (2, 48)  # 10 missing and 20 to keep, in packs of 24
    assert warning.sentence == f"Item W170: 10 too few on {warning.on:%a %-d %b}."


def test_falling_below_the_reorder_point_is_warned_of_before_anything_is_missing(yard):
    yard.receive(W170=60)
    yard.visit(yard.planned_job({"W170": 45}), next_monday(2))

    (warning,) = warnings_of(yard.depot)

    assert (warning.kind, warning.left, warning.packs) == (Kind.LOW, 15, 1)
    assert not warning.late


def test_an_order_that_is_due_in_time_ends_the_warning_and_a_late_one_does_not(yard):
    yard.receive(W170=60)
    monday = next_monday(2)
    yard.visit(yard.planned_job({"W170": 70}), monday)
    order = StockOrder.objects.create(
        company=yard.office.company, depot=yard.depot, item=yard.items["W170"], quantity=48,
        due_on=monday, ordered_by=yard.planner,
    )  # fmt: skip
    (warning,) = warnings_of(yard.depot)
    assert (warning.kind, warning.left) == (Kind.RUNS_OUT, -10)

    order.due_on = monday - timedelta(days=3)
    order.save()
    assert warnings_of(yard.depot) == ()


def test_an_order_that_never_came_is_told_and_not_counted_on(yard):
    yesterday = timezone.localdate() - timedelta(days=1)
    order = StockOrder.objects.create(
        company=yard.office.company, depot=yard.depot, item=yard.items["W170"], quantity=48,
        due_on=yesterday, ordered_by=yard.planner,
    )  # fmt: skip
    assert overdue_orders(yard.depot, timezone.localdate()) == [order]
    yard.visit(yard.planned_job({"W170": 30}), next_monday())
    assert warnings_of(yard.depot)[0].kind is Kind.RUNS_OUT


def test_a_roll_that_the_depot_does_not_keep_is_told(yard):
    yard.receive(W170=60)
    yard.visit(yard.planned_job({"N100": 4}), next_monday())

    (warning,) = warnings_of(yard.depot)

    assert (warning.kind, warning.left, warning.packs) == (Kind.NOT_KEPT, -4, 0)
    assert "the depot keeps none" in warning.sentence


def test_what_is_needed_sooner_than_it_can_come_is_late(yard):
    today = timezone.localdate()
    yard.items["W170"].lead_time_days = 60
    yard.items["W170"].save()
    yard.visit(yard.planned_job({"W170": 4}), next_monday())

    (warning,) = warnings_of(yard.depot)

    assert warning.late
    assert warning.order_by < today < warning.comes_on


def test_lead_times_count_working_days_and_leave_out_weekends_and_bank_holidays(db):
    """Christmas Day 2026 is a Friday, so that Boxing Day is kept on Monday the 28th.

    Bank holidays of England and Wales and of Scotland as published at gov.uk/bank-holidays for
    2026 and 2027 (from memory, not opened; the `holidays` library holds the same days).
    """
    england, scotland = WorkingDays(a_depot("england")), WorkingDays(a_depot("scotland"))
    needed = date(2026, 12, 30)  # a Wednesday: there on Tuesday the 29th

    assert england.order_by(needed, 1) == date(2026, 12, 24)
    assert england.order_by(needed, 3) == date(2026, 12, 22)
    assert england.comes_on(date(2026, 12, 24), 1) == date(2026, 12, 29)
    # 2 January is kept in Scotland only: in 2027 on Monday the 4th.
    assert england.comes_on(date(2026, 12, 31), 1) == date(2027, 1, 4)
    assert scotland.comes_on(date(2026, 12, 31), 1) == date(2027, 1, 5)


def test_a_delivery_comes_on_a_day_the_depot_is_open(db):
    yard = WorkingDays(a_depot("england", weekdays=range(1)))  # Mondays only
    assert yard.comes_on(date(2026, 12, 1), 1) == date(2026, 12, 7)
    assert yard.order_by(date(2026, 12, 9), 2) == date(2026, 12, 3)
