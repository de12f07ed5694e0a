"""Why a booked visit cannot stay where it is: what its line of a plan says before all else."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from django.utils import timezone

from jobs.models import Visit
from jobs.planning.calendars import Away
from jobs.planning.gather import Gathered, shift_key
from jobs.planning.misfits import away_during, hours_cut, why_not_there
from jobs.planning.plan import Reason
from jobs.planning.problem import VisitToPlan
from jobs.planning.standing import clashing_visits


def causes_of(gathered: Gathered) -> dict[str, Reason]:
    """What keeps each movable booked visit from staying, by its key. One query."""
    clashing = clashing_visits(gathered, tuple(_as_booked(gathered)))
    movable = {v.key for v in gathered.problem.visits if v.promised is not None and not v.fixed}
    found = {key: gathered.visits[key] for key in clashing & movable}
    if not found:
        return {}
    away = away_during(list(found.values()))
    return {key: _cause(gathered, visit, away) for key, visit in found.items()}


def _as_booked(gathered: Gathered) -> Iterator[VisitToPlan]:
    """The booked visits as if none of them could move."""
    for visit in gathered.problem.visits:
        if visit.promised is None or visit.fixed:
            yield visit
            continue
        booked = gathered.visits[visit.key].during
        booked_s = gathered.seconds(booked.upper) - gathered.seconds(booked.lower)
        yield replace(visit, fixed=True, service_s=booked_s)


def _cause(gathered: Gathered, visit: Visit, away: Away) -> Reason:
    day = timezone.localtime(visit.during.lower).date()
    shift = gathered.problem.shift_index.get(shift_key(visit.crew_id, day))
    longer = _longer_before(gathered, visit)
    if longer is not None:
        home, ends = longer.job.property.address_line_1, _new_end(gathered, longer)
        return Reason("overrun", f"The visit at {home} before it lasts until {ends}.")
    if shift is None:
        return replace(why_not_there(gathered, visit, away), would_help="")
    cut = next(hours_cut(gathered, visit, gathered.problem.shifts[shift]), None)
    words = cut.words if cut else f"{visit.crew} is not there at that time any more."
    return Reason("away", words)


def _longer_before(gathered: Gathered, visit: Visit) -> Visit | None:
    """The visit of the crew's same day, before this one, that lasts longer than booked."""
    known = {**gathered.visits, **gathered.aside}
    for key in gathered.overruns & known.keys():
        other = known[key]
        same_day = timezone.localtime(other.during.lower).date() == (
            timezone.localtime(visit.during.lower).date()
        )
        if same_day and other.crew_id == visit.crew_id and other.during < visit.during:
            return other
    return None


def _new_end(gathered: Gathered, visit: Visit) -> str:
    key = f"visit:{visit.pk}"
    if key not in gathered.problem.visit_index:
        return f"{timezone.localtime(visit.during.upper):%H:%M} and longer"
    to_plan = gathered.problem.visit(key)
    assert to_plan.promised is not None, "What lasts longer is booked."
    return f"{gathered.moment(to_plan.promised.starts_s + to_plan.service_s):%H:%M}"
