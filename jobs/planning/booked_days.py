"""Days that somebody booked so that the crew sets off before its hours, or is home after them.

A visit at eight with half an hour's way to it is booked every day, and its crew simply leaves at
half past seven. A plan takes that as it is: the shift of that day begins early enough to reach the
first booked visit and lasts until the way home from the last one, but no visit starts before the
crew's own hours.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace

from jobs.planning.problem import PlanProblem, Shift, VisitToPlan


def opened_for_bookings(problem: PlanProblem, visits: Iterable[VisitToPlan]) -> tuple[Shift, ...]:
    """The shifts of the problem, longer where what is booked in them needs it."""
    booked: dict[str, list[VisitToPlan]] = defaultdict(list)
    for visit in visits:
        if visit.promised is not None and not visit.fixed:
            booked[visit.promised.crew].append(visit)
    return tuple(_opened(problem, shift, booked[shift.crew]) for shift in problem.shifts)


def _opened(problem: PlanProblem, shift: Shift, booked: Sequence[VisitToPlan]) -> Shift:
    """One shift; visits that begin or end outside its hours change nothing about it."""
    latest_s = shift.closes_s + shift.overtime_s
    early, late = shift.opens_s, latest_s
    for visit in booked:
        assert visit.promised is not None, "Only booked visits are given."
        starts_s = visit.promised.starts_s
        ends_s = starts_s + visit.service_s
        if starts_s < shift.opens_s or ends_s > latest_s:
            continue
        early = min(early, starts_s - problem.travel_s(shift.start_place, visit.place))
        late = max(late, ends_s + problem.travel_s(visit.place, shift.end_place))
    if (early, late) == (shift.opens_s, latest_s):
        return shift
    return replace(
        shift,
        opens_s=early,
        first_start_s=shift.opens_s,
        overtime_s=late - shift.closes_s,
    )
