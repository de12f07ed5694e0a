"""What a plan costs, worked out from the plan alone, component by component.

It reads only the problem and the plan's times, so it holds a solver's own arithmetic to account.
"""

from __future__ import annotations

from dataclasses import dataclass

from jobs.planning.plan import Objective, Plan
from jobs.planning.problem import PlanProblem, VisitToPlan

MINUTE_S = 60
HOUR_S = 3600
KM_M = 1000


@dataclass(frozen=True, slots=True)
class PromiseKept:
    """How a placed visit stands to its promise: what moved, and the points for it."""

    other_time: bool = False
    other_day: bool = False
    other_crew: bool = False
    points: float = 0.0


def promise_kept(
    problem: PlanProblem, visit: VisitToPlan, crew: str, day: int, starts_s: int
) -> PromiseKept:
    """What moving a visit from where it stood to that crew, day (index) and start (s) means."""
    promise = visit.promised
    if promise is None or visit.fixed:
        return PromiseKept()
    weights = problem.weights
    other_day = day != day_of(problem, promise.starts_s)
    off = abs(starts_s - promise.starts_s) > weights.promise_tolerance_s
    other_crew = crew != promise.crew
    points = (
        weights.promise_day * other_day
        + weights.promise_time * (off and not other_day)
        + weights.promise_crew * other_crew
    )
    share = 1.0 if promise.told else weights.booked_share
    return PromiseKept(off and not other_day, other_day, other_crew, points * share)


def day_of(problem: PlanProblem, at_s: int) -> int:
    """Index of the day that a time falls on by the clock of `starts_at`; -1 if it is none."""
    day = problem.local(at_s).date()
    return problem.days.index(day) if day in problem.days else -1


def objective_of(problem: PlanProblem, plan: Plan) -> Objective:
    """Every component of the plan's cost, with amounts and points."""
    weights = problem.weights
    travel_s = sum(round_.travel_s for round_ in plan.rounds)
    travel_m = sum(round_.travel_m for round_ in plan.rounds)
    overtime_s = sum(
        max(0, round_.returns_s - problem.shift(round_.shift).closes_s) for round_ in plan.rounds
    )
    waiting_s = sum(stop.wait_s for round_ in plan.rounds for stop in round_.stops)
    crew_days = sum(1 for round_ in plan.rounds if round_.stops)
    late_s, late_points = _lateness(problem, plan)
    kept, not_preferred = _promises_and_preferences(problem, plan)
    told = [one for visit, one in kept if visit.promised is not None and visit.promised.told]
    return Objective(
        travel_min=travel_s / MINUTE_S,
        travel_km=travel_m / KM_M,
        late_min=late_s / MINUTE_S,
        overtime_min=overtime_s / MINUTE_S,
        waiting_min=waiting_s / MINUTE_S,
        crew_days=crew_days,
        left_out=len(plan.unplanned),
        promises_moved_time=sum(one.other_time for one in told),
        promises_moved_day=sum(one.other_day for one in told),
        promises_other_crew=sum(one.other_crew for one in told),
        booked_moved=sum(
            one.other_time or one.other_day or one.other_crew
            for visit, one in kept
            if visit.promised is not None and not visit.promised.told
        ),
        not_preferred=not_preferred,
        travel_points=travel_s / HOUR_S * weights.travel_hour + travel_m / KM_M * weights.travel_km,
        late_points=late_points,
        overtime_points=overtime_s / HOUR_S * weights.overtime_hour,
        crew_day_points=crew_days * weights.crew_day,
        left_out_points=sum(leaving_out(problem, problem.visit(one.key)) for one in plan.unplanned),
        moved_points=sum(one.points for _, one in kept),
        not_preferred_points=not_preferred * weights.not_preferred,
    )


def leaving_out(problem: PlanProblem, visit: VisitToPlan) -> float:
    """Points for leaving that visit out."""
    if visit.left_out_points is not None:
        return visit.left_out_points
    return problem.weights.leaving_out(visit.priority)


def _lateness(problem: PlanProblem, plan: Plan) -> tuple[int, float]:
    """Seconds late in all, and their points: the end of a visit's last part against its due."""
    ends: dict[str, int] = {}
    for _, stop in plan.placed():
        ends[stop.key] = max(stop.leaves_s, ends.get(stop.key, stop.leaves_s))
    seconds, points = 0, 0.0
    for key, ends_s in ends.items():
        visit = problem.visit(key)
        if visit.due_s is not None and ends_s > visit.due_s:
            seconds += ends_s - visit.due_s
            points += (ends_s - visit.due_s) / HOUR_S * problem.weights.late_hour * visit.priority
    return seconds, points


def late_as_booked(problem: PlanProblem) -> tuple[float, float]:
    """Minutes late of what is booked, if all of it stayed, and their points.

    What a change makes late is what a plan has beside this.
    """
    seconds, points = 0, 0.0
    for visit in problem.visits:
        if visit.promised is None or visit.due_s is None:
            continue
        late_s = max(0, visit.promised.starts_s + visit.service_s - visit.due_s)
        seconds += late_s
        points += late_s / HOUR_S * problem.weights.late_hour * visit.priority
    return seconds / MINUTE_S, points


def _promises_and_preferences(
    problem: PlanProblem, plan: Plan
) -> tuple[list[tuple[VisitToPlan, PromiseKept]], int]:
    """How each placed visit stands to its promise; how many went to a crew not preferred."""
    kept: list[tuple[VisitToPlan, PromiseKept]] = []
    not_preferred = 0
    for round_, stop in plan.placed():
        if stop.part:
            continue
        visit, shift = problem.visit(stop.key), problem.shift(round_.shift)
        kept.append((visit, promise_kept(problem, visit, shift.crew, shift.day, stop.starts_s)))
        not_preferred += bool(visit.preferred_crews) and shift.crew not in visit.preferred_crews
    return kept, not_preferred
