"""What is booked, as a plan: where a search for a better one begins."""

from __future__ import annotations

from collections import defaultdict

from django.utils import timezone

from jobs.planning.gather import Gathered, shift_key
from jobs.planning.plan import Plan, Round, Stop


def present_plan(gathered: Gathered) -> Plan:
    """The booked visits in the order of time, by shift.

    Drives are left at nothing: a search reads only who comes in which order. Visits of crews that
    do not work then are left out, which is what a new plan is asked for.
    """
    known = gathered.problem.shift_index
    stops: dict[str, list[Stop]] = defaultdict(list)
    for key, visit in gathered.visits.items():
        day = timezone.localtime(visit.during.lower).date()
        shift = shift_key(visit.crew_id, day)
        if shift in known:
            starts_s = gathered.seconds(visit.during.lower)
            leaves_s = gathered.seconds(visit.during.upper)
            place = gathered.problem.visit(key).place
            stops[shift].append(Stop("visit", key, place, starts_s, starts_s, leaves_s, 0, 0))
    return Plan(tuple(_round(shift, own) for shift, own in sorted(stops.items())))


def _round(shift: str, stops: list[Stop]) -> Round:
    in_order = tuple(sorted(stops, key=lambda stop: stop.starts_s))
    return Round(shift, in_order[0].starts_s, in_order[-1].leaves_s, in_order, 0, 0)
