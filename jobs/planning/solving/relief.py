"""A problem with one rule given way to, for one visit: really changed, so that it can be tried."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from jobs.planning.plan import Relief
from jobs.planning.problem import DepotToPlan, PlanProblem, Shift, VisitToPlan, Window
from jobs.planning.solving.tables import LITRES_PER_M3

POINTS_SPARE = 1.0
QUARTER_S = 15 * 60


def relieved(problem: PlanProblem, key: str, relief: Relief) -> PlanProblem:
    """The problem as it would be if that rule, and each with it, gave way for that visit."""
    for one in relief.chain:
        problem = _relieved_once(problem, key, one)
    return problem


def _relieved_once(problem: PlanProblem, key: str, relief: Relief) -> PlanProblem:
    visit = relieved_visit(problem, problem.visit(key), relief)
    return PlanProblem(
        starts_at=problem.starts_at,
        days=problem.days,
        places=problem.places,
        travel=problem.travel,
        visits=tuple(visit if v.key == key else v for v in problem.visits),
        shifts=tuple(relieved_shift(shift, relief) for shift in problem.shifts),
        depots=tuple(relieved_depot(problem, depot, relief) for depot in problem.depots),
        weights=problem.weights,
        now_s=problem.now_s,
        start_step_s=problem.start_step_s,
    )


def relieved_visit(problem: PlanProblem, visit: VisitToPlan, relief: Relief) -> VisitToPlan:
    """The visit with the rule relaxed, if the relief is one about the visit."""
    if relief.kind == "window":
        agreed = Window(relief.amount, relief.amount)
        return replace(visit, windows=(*visit.windows, agreed) if visit.windows else ())
    if relief.kind == "earliest":
        return replace(visit, earliest_s=min(visit.earliest_s, relief.amount))
    if relief.kind == "skills":
        return replace(visit, skills=visit.skills & problem.shift(relief.shift).skills)
    if relief.kind == "crew_size":
        return replace(visit, crew_size=min(visit.crew_size, problem.shift(relief.shift).crew_size))
    if relief.kind == "crew":
        return replace(visit, fixed_crew=None, barred_crews=frozenset())
    if relief.kind == "order":
        return replace(visit, after=())
    if relief.kind == "split":
        return LongVisit(visit).over_days(relief.amount)
    if relief.kind == "hands":
        return LongVisit(visit).with_hands(relief.amount)
    if relief.kind == "worth":
        return replace(visit, left_out_points=relief.amount + POINTS_SPARE)
    return visit


@dataclass(frozen=True, slots=True)
class LongVisit:
    """A visit that takes long, as it would be over more days or with more hands."""

    visit: VisitToPlan

    def over_days(self, days: int) -> VisitToPlan:
        """Its work in equal parts, each to the quarter of an hour up."""
        part_s = _quarters_up(self.visit.service_s / days)
        return replace(self.visit, service_s=part_s * days, parts_s=(part_s,) * days)

    def with_hands(self, size: int) -> VisitToPlan:
        """More people work as many operative-hours in less time, to the quarter of an hour up."""
        share = self.visit.crew_size / size
        lengths = tuple(_quarters_up(length * share) for length in self.visit.lengths_s)
        parts = lengths if self.visit.parts_s else ()
        return replace(self.visit, crew_size=size, service_s=sum(lengths), parts_s=parts)


def _quarters_up(seconds: float) -> int:
    return max(1, math.ceil(round(seconds / QUARTER_S, 6))) * QUARTER_S


def relieved_shift(shift: Shift, relief: Relief) -> Shift:
    """The shift with the rule relaxed, if the relief is one about that shift."""
    if shift.key != relief.shift:
        return shift
    if relief.kind == "overtime":
        return replace(shift, overtime_s=shift.overtime_s + relief.amount)
    if relief.kind == "van":
        return replace(shift, van_volume_m3=relief.amount / LITRES_PER_M3)
    return shift


def relieved_depot(problem: PlanProblem, depot: DepotToPlan, relief: Relief) -> DepotToPlan:
    """The depot with more of an item from that shift's day on, if the relief is about stock."""
    if relief.kind != "stock":
        return depot
    shift = problem.shift(relief.shift)
    if shift.depot != depot.key:
        return depot
    days = [
        {**by_day, relief.item: by_day[relief.item] + relief.amount}
        if day >= shift.day and relief.item in by_day
        else by_day
        for day, by_day in enumerate(depot.stock_by_day)
    ]
    return replace(depot, stock_by_day=tuple(days))
