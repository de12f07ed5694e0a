"""The demo's depots: ten weeks of movements that add up, and something to order."""

from __future__ import annotations

from datetime import datetime, time, timedelta

import pytest
from django.db.models import Sum

from deploy.demo.courses import LONDON, working_days
from deploy.demo.people import make_cast
from deploy.demo.yard import make_yards
from jobs.loading.load_list import load_list_of_day
from jobs.loading.ordering import overdue_orders, warnings_of
from jobs.models import Depot, StockBalance, StockMovement, VanLoading
from tests.factories import JobFactory, LayerPlanFactory, PropertyFactory, VisitFactory
from tests.jobs.loading.yard import accessory_line, roll_line


@pytest.fixture
def stocked(db):
    """The demo's company, whose Crew Wren fits a loft on every working day."""
    now = datetime.now(LONDON)
    cast = make_cast(now.date())
    crew = cast.crews["Crew Wren"]
    days = working_days(now.date() - timedelta(weeks=9), now.date() + timedelta(days=12))
    for day in days:
        home = PropertyFactory(company=cast.company)
        job = JobFactory(company=cast.company, property=home, scheme=cast.schemes[0])
        lines = {
            "rolls": [roll_line("W170", 6), roll_line("W100", 4)],
            "accessories": [accessory_line("sealant", 1, "tube")],
        }
        LayerPlanFactory(job=job, roll_count=10, packed_volume_m3=1.9, quantities=lines)
        starts = datetime.combine(day, time(8), LONDON)
        VisitFactory(
            job=job,
            crew=crew,
            van=crew.van,
            booked_by=cast.people["planner"],
            during=(starts, starts + timedelta(hours=5)),
            status="done" if day < now.date() else "booked",
        )
    make_yards(cast, now)
    return crew, now.date(), days


def test_every_balance_is_the_sum_of_its_movements(stocked):
    sums = StockMovement.objects.order_by().values_list("depot", "item").annotate(Sum("effect"))
    balances = {(b.depot_id, b.item_id): b.quantity for b in StockBalance.objects.all()}
    assert {(depot, item): total for depot, item, total in sums} == balances
    assert min(balances.values()) >= 0


def test_every_day_gone_by_was_loaded_and_the_days_ahead_are_still_to_load(stocked):
    crew, today, days = stocked
    gone = [day for day in days if day < today]
    assert list(VanLoading.objects.order_by("day").values_list("day", flat=True)) == gone
    assert load_list_of_day(crew, gone[-1]).next_load is None
    assert load_list_of_day(crew, days[-1]).next_load.number == 1


def test_something_runs_short_and_an_order_never_came(stocked):
    _, today, _ = stocked
    midlands = Depot.objects.get(name="Midlands depot")
    assert "W170" in {warning.code for warning in warnings_of(midlands)}
    assert overdue_orders(midlands, today)
