"""A depot with stock, a crew that loads there, and jobs with invented layer plans."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from django.utils import timezone

from jobs.loading.movements import receive_delivery
from jobs.models import Crew, Depot, DepotHours, Job, Stage, StockItem, User, Visit
from tests.factories import LayerPlanFactory, OperativeFactory
from tests.jobs.planner_scene import Office, an_office

ROLL_M3 = {"W170": 0.19, "W100": 0.19, "N100": 0.065}


def roll_line(code: str, count: int) -> dict[str, Any]:
    return {"roll": code, "name": f"Wool {code[1:]} (invented)", "count": count}


def accessory_line(item: str, quantity: float, unit: str = "piece", **more: str) -> dict[str, Any]:
    return {
        "item": item,
        "name": item.replace("_", " ").capitalize(),
        "quantity": quantity,
        "unit": unit,
        "reason": "asked for by a test",
        "caution": "",
    } | more


@dataclass
class Yard:
    office: Office
    depot: Depot
    crew: Crew
    items: dict[str, StockItem]

    @property
    def planner(self) -> User:
        return self.office.planner

    def item(self, code: str, **values: Any) -> StockItem:
        item = StockItem.objects.create(
            company=self.office.company, code=code, name=f"Item {code}", **values
        )
        self.items[code] = item
        return item

    def receive(self, **quantities: int) -> None:
        wanted = {self.items[code]: quantity for code, quantity in quantities.items()}
        receive_delivery(self.depot, wanted, by=self.planner)

    def installer(self, crew: Crew | None = None, **values: Any) -> User:
        user = self.office.person("installer")
        OperativeFactory(company=self.office.company, crew=crew or self.crew, user=user, **values)
        return user

    def planned_job(
        self, rolls: Mapping[str, int], accessories: list[dict[str, Any]] | None = None
    ) -> Job:
        """A job to plan, whose layer plan takes these rolls and accessories."""
        job = self.office.job(Stage.TO_PLAN)
        volume = sum(ROLL_M3[code] * count for code, count in rolls.items())
        LayerPlanFactory(
            job=job,
            roll_count=sum(rolls.values()),
            packed_volume_m3=volume,
            quantities={
                "rolls": [roll_line(code, count) for code, count in rolls.items()],
                "accessories": accessories or [],
            },
        )
        return job

    def visit(self, job: Job, day: date, hour: int = 8, **given: Any) -> Visit:
        given.setdefault("crew", self.crew)
        given.setdefault("van", given["crew"].van)
        return self.office.booked(job, starts_at=on(day, hour), **given)


def on(day: date, hour: int = 8) -> datetime:
    return timezone.make_aware(datetime.combine(day, time(hour)))


def a_yard(*, van_m3: float = 11.0) -> Yard:
    """An office with one depot, open on working days, and one crew with a van."""
    office = an_office()
    depot = Depot.objects.create(company=office.company, name="Mill Lane", nation="england")
    for weekday in range(5):
        DepotHours.objects.create(depot=depot, weekday=weekday)
    van = office.van(load_volume_m3=van_m3)
    crew = office.crew(depot=depot, van=van)
    yard = Yard(office, depot, crew, {})
    yard.item("W170", unit="roll", units_per_pack=24, pack_volume_m3=4.56, reorder_point=20)
    yard.item("W100", unit="roll", units_per_pack=24, pack_volume_m3=4.56)
    return yard


def next_monday(weeks: int = 1) -> date:
    """A Monday so many weeks ahead, so that nothing booked lies in the past."""
    today = timezone.localdate()
    return today - timedelta(days=today.weekday()) + timedelta(weeks=weeks)
