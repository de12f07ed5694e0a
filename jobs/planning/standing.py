"""Booked visits that stay where they are although the problem has no room for them.

A visit that a planner holds, or that a run was told not to move, is never taken off by a plan. If
its crew has no shift then, or another visit now lasts into it, it is put aside: the search plans
round it, and whoever comes after it waits for its end. `misfits.py` says what is wrong.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from jobs.planning.objective import day_of
from jobs.planning.problem import DepotToPlan, PlanProblem, VisitToPlan

if TYPE_CHECKING:
    from jobs.planning.gather import Gathered
    from jobs.planning.weights import Weights


def with_visits(
    gathered: Gathered, visits: Sequence[VisitToPlan], weights: Weights | None = None
) -> Gathered:
    """The problem with those visits, but for the fixed ones that have no place in it (`aside`)."""
    problem = gathered.problem
    by_key = {visit.key: visit for visit in visits}
    gone = [by_key[key] for key in by_key if key in _without_place(problem, visits)]
    ends_s = {visit.key: _end_s(visit) for visit in gone}
    return replace(
        gathered,
        problem=replace(
            problem,
            visits=tuple(_behind(visit, ends_s) for visit in visits if visit.key not in ends_s),
            depots=tuple(_without_stock(gathered, depot, gone) for depot in problem.depots),
            weights=weights or problem.weights,
        ),
        visits={key: visit for key, visit in gathered.visits.items() if key not in ends_s},
        aside={**gathered.aside, **{key: gathered.visits[key] for key in ends_s}},
    )


def _without_place(problem: PlanProblem, visits: Sequence[VisitToPlan]) -> set[str]:
    """Fixed visits whose crew is not sent that day, or that an earlier one lasts into."""
    at_work = {(shift.crew, shift.day) for shift in problem.shifts}
    by_crew: dict[str, list[VisitToPlan]] = defaultdict(list)
    found: set[str] = set()
    for visit in visits:
        if not visit.fixed or visit.promised is None:
            continue
        if (visit.promised.crew, day_of(problem, visit.promised.starts_s)) in at_work:
            by_crew[visit.promised.crew].append(visit)
        else:
            found.add(visit.key)
    for own in by_crew.values():
        busy_until_s = 0
        for visit in sorted(own, key=_start_s):
            if _start_s(visit) < busy_until_s:
                found.add(visit.key)
            else:
                busy_until_s = _end_s(visit)
    return found


def clashing_visits(gathered: Gathered, visits: Sequence[VisitToPlan]) -> set[str]:
    """Booked visits that cannot stay as they are: crew away or gone home, or an overrun before.

    `visits` as they would be if all that is booked stayed.
    """
    problem = gathered.problem
    shifts = {(shift.crew, shift.day): shift for shift in problem.shifts}
    found = _without_place(problem, visits) | _pushed(gathered, visits)
    for visit in visits:
        if visit.promised is None:
            continue
        shift = shifts.get((visit.promised.crew, day_of(problem, _start_s(visit))))
        if shift is not None and (
            _start_s(visit) < shift.opens_s or _end_s(visit) > shift.closes_s + shift.overtime_s
        ):
            found.add(visit.key)
    return found


def _pushed(gathered: Gathered, visits: Sequence[VisitToPlan]) -> set[str]:
    """What an overrun pushes on: the crew cannot be at the door in time, and so on down the day."""
    problem, found = gathered.problem, set[str]()
    by_start = sorted((visit for visit in visits if visit.promised is not None), key=_start_s)
    for longer in (visit for visit in by_start if visit.key in gathered.overruns):
        free_s, here = _end_s(longer), longer.place
        for visit in by_start:
            if not _later_that_day(problem, longer, visit):
                continue
            there_s = free_s + problem.travel_s(here, visit.place)
            if _start_s(visit) >= there_s:
                break
            found.add(visit.key)
            free_s, here = there_s + visit.service_s, visit.place
    return found


def _later_that_day(problem: PlanProblem, first: VisitToPlan, other: VisitToPlan) -> bool:
    if first.promised is None or other.promised is None or first.key == other.key:
        return False
    same_day = day_of(problem, _start_s(first)) == day_of(problem, _start_s(other))
    return (
        same_day
        and first.promised.crew == other.promised.crew
        and _start_s(other) >= _start_s(first)
    )


def _start_s(visit: VisitToPlan) -> int:
    return visit.promised.starts_s if visit.promised is not None else 0


def _end_s(visit: VisitToPlan) -> int:
    return _start_s(visit) + visit.service_s


def _behind(visit: VisitToPlan, ends_s: Mapping[str, int]) -> VisitToPlan:
    """The visit, not before the end of what was put aside and must come first."""
    waits = [ends_s[after.key] + after.gap_s for after in visit.after if after.key in ends_s]
    if not waits:
        return visit
    after = tuple(each for each in visit.after if each.key not in ends_s)
    return replace(visit, after=after, earliest_s=max(visit.earliest_s, *waits))


def _without_stock(
    gathered: Gathered, depot: DepotToPlan, gone: Sequence[VisitToPlan]
) -> DepotToPlan:
    """The depot without what those visits will take from their day on."""
    days = [dict(stock) for stock in depot.stock_by_day]
    for visit in gone:
        if depot.key != f"depot:{gathered.visits[visit.key].crew.depot_id}":
            continue
        for day in range(max(0, day_of(gathered.problem, _start_s(visit))), len(days)):
            for item, count in visit.stock.items():
                if item in days[day]:
                    days[day][item] = max(0, days[day][item] - count)
    return replace(depot, stock_by_day=tuple(days))
