"""What jobs and visits need from the depot, and what it can give on a day."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from jobs.loading.needs import needs_of_job, needs_of_jobs, shares_of
from jobs.loading.stock import projection_of, stock_on
from jobs.models import StockOrder, Visit
from tests.jobs.loading.yard import a_yard, accessory_line, next_monday


@pytest.fixture
def yard(db):
    return a_yard()


def order(yard, code, quantity, due_on):
    return StockOrder.objects.create(
        company=yard.office.company, depot=yard.depot, item=yard.items[code],
        quantity=quantity, due_on=due_on, ordered_by=yard.planner,
    )  # fmt: skip


def test_a_jobs_needs_are_its_rolls_and_accessories_without_kit_and_clearances(yard):
    lines = [
        accessory_line("eaves_tray", 12),
        accessory_line("draught_strip", 2.6, "m"),
        accessory_line("gloves", 2),
        accessory_line("hold_wet_timber", 1, "check"),
    ]
    needs = needs_of_job(yard.planned_job({"W100": 8, "W170": 10}, lines))

    assert needs.rolls == {"W100": 8, "W170": 10}
    assert needs.accessories == {"eaves_tray": 12, "draught_strip": 2.6}
    assert needs.volume_m3 == pytest.approx(18 * 0.19)


def test_a_job_without_layers_needs_nothing_yet(yard):
    assert needs_of_job(yard.office.job()).volume_m3 == 0


def test_needs_of_many_jobs_take_one_query(yard, django_assert_num_queries):
    jobs = [yard.planned_job({"W170": n + 1}) for n in range(5)]
    with django_assert_num_queries(1):
        found = needs_of_jobs(job.pk for job in jobs)
    assert [found[job.pk].rolls["W170"] for job in jobs] == [1, 2, 3, 4, 5]


def test_rolls_of_a_job_over_two_days_are_shared_by_length_and_add_up(yard):
    monday = next_monday()
    job = yard.planned_job({"W170": 11}, [accessory_line("eaves_tray", 6)])
    long = yard.visit(job, monday, hours=6.0)
    short = yard.visit(job, monday + timedelta(days=1), hours=3.0)

    shares = shares_of([long, short])

    assert [shares[v.pk].rolls["W170"] for v in (long, short)] == [7, 4]
    assert [shares[v.pk].first for v in (long, short)] == [True, False]


def test_a_call_back_takes_no_rolls_of_the_plan(yard):
    job = yard.planned_job({"W170": 11})
    visit = yard.visit(job, next_monday())
    Visit.objects.filter(pk=visit.pk).update(kind="call_back")

    assert shares_of(Visit.objects.filter(pk=visit.pk))[visit.pk].rolls == {}


def test_stock_on_a_day_counts_orders_due_before_it_and_bookings_only_when_asked(yard):
    monday = next_monday()
    yard.receive(W170=30)
    order(yard, "W170", 24, monday)
    yard.visit(yard.planned_job({"W170": 10}), monday)
    tuesday = monday + timedelta(days=1)

    assert stock_on(yard.depot, timezone.localdate())["W170"] == 30
    assert stock_on(yard.depot, monday)["W170"] == 30
    assert stock_on(yard.depot, tuesday)["W170"] == 54
    assert stock_on(yard.depot, tuesday, minus_booked=True)["W170"] == 44


def test_stock_on_a_day_gone_by_is_what_the_ledger_held_when_it_began(yard):
    yard.receive(W170=30)
    yesterday = timezone.localdate() - timedelta(days=1)
    assert stock_on(yard.depot, yesterday) == {}


def test_the_projection_goes_down_by_what_is_booked_and_up_by_what_arrives(yard):
    monday = next_monday()
    yard.receive(W170=30)
    order(yard, "W170", 24, monday + timedelta(days=1))
    yard.visit(yard.planned_job({"W170": 20}), monday)
    yard.visit(yard.planned_job({"W170": 15}), monday + timedelta(days=1))
    yard.visit(yard.planned_job({"W170": 15}), monday + timedelta(days=2))

    projection = projection_of(yard.depot, monday, 4)

    rows = [(d.opening, d.needed, d.arriving, d.closing) for d in projection.by_item["W170"]]
    assert rows == [(30, 20, 0, 10), (10, 15, 24, 19), (19, 15, 0, 4), (4, 0, 0, 4)]
    assert projection.short_on(monday + timedelta(days=1)) == {"W170": 5}
    assert projection.short_on(monday) == {}


def test_the_projection_takes_as_many_queries_for_many_visits_as_for_one(
    yard, django_assert_max_num_queries
):
    monday = next_monday()
    for n in range(5):
        yard.visit(yard.planned_job({"W170": 5}), monday + timedelta(days=n))
    with django_assert_max_num_queries(12):
        projection = projection_of(yard.depot, monday, 7)
    assert sum(row.needed for row in projection.by_item["W170"]) == 25
