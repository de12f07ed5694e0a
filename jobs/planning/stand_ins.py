"""What lets in a booked visit whose crew is short or away: who could go along, or which crew else.

Asked for the few visits of a run that stay and do not fit. People are looked up in the database,
other crews in the plan that was found: at the same time first, so that nobody has to be told.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from django.utils import timezone

from jobs.models import Operative, Visit
from jobs.planning.booking_checks import skills_for
from jobs.planning.gather import Gathered
from jobs.planning.lending import free_operatives, names
from jobs.planning.plan import Fit, Plan
from jobs.planning.problem import Promise, VisitToPlan, Window
from jobs.planning.solving.places import fits

# Other crews are looked for so long at most, for all visits of a run together [s].
LOOKED_FOR_S = 6.0
NOBODY = "Nobody of another crew who has what it takes is free then."
NO_ROOM = "No crew has room for it on the days looked at: move it to a later day."
LET_STAND = "Or let it stand if the crew comes all the same."


@dataclass(frozen=True, slots=True)
class StandIns:
    """Looks in a plan for who could stand in, other crews only until a moment of the clock [s]."""

    gathered: Gathered
    plan: Plan
    until_s: float = field(default_factory=lambda: time.monotonic() + LOOKED_FOR_S)

    def help_for_short(self, visit: Visit, missing: frozenset[str]) -> str:
        """Who could go along with a crew that lacks hands or these skills, or go instead."""
        people = [p for p in free_operatives(visit) if missing <= frozenset(p.skills)]
        joining = _joining(people) if people else NOBODY
        return " ".join((joining, *self._crews(visit), LET_STAND))

    def help_for_away(self, visit: Visit) -> str:
        """Which crew could go to a visit whose own is not there then."""
        return " ".join((*self._crews(visit), LET_STAND))

    def _crews(self, visit: Visit) -> list[str]:
        if time.monotonic() > self.until_s:
            return []
        return list(_another_crew(self.gathered, self.plan, visit))


def _joining(people: list[Operative]) -> str:
    verb = "are" if len(people) > 1 else "is"
    return f"Send somebody along on the visit’s page: {names(people)} {verb} free then."


def _another_crew(gathered: Gathered, plan: Plan, visit: Visit) -> Iterator[str]:
    """The crew that could go at the same time at the least price, else the one with room for it.

    The visit's own crew is asked about other days alone.
    """
    key = f"visit:{visit.pk}"
    free = _freed(gathered, visit, key)
    if free is None:
        return
    others = [each for each in gathered.problem.visits if each.key != key]
    problem = replace(gathered.problem, visits=(*others, free))
    starts_s = gathered.seconds(visit.during.lower)
    day = timezone.localtime(visit.during.lower).date()
    own = f"crew:{visit.crew_id}"
    is_then = {s.key: problem.days[s.day] == day for s in problem.shifts}
    shifts = [s for s in problem.shifts if s.crew != own or not is_then[s.key]]
    that_day = [s.key for s in shifts if is_then[s.key]]
    same = [fits(problem, plan, key, shift, starts_s=starts_s) for shift in that_day]
    good = [fit for fit in same if fit.ok and fit.starts_s == starts_s]
    if good:
        best = min(good, key=lambda fit: (fit.extra_points, fit.shift))
        yield f"{_crew(gathered, best)} could go at the same time."
        return
    found = [fits(problem, plan, key, shift.key) for shift in shifts]
    good = [fit for fit in found if fit.ok]
    if good:
        best = min(good, key=lambda fit: (fit.extra_points, fit.shift))
        when = gathered.moment(best.starts_s)
        yield f"{_crew(gathered, best)} has room for it on {when:%a %-d %b at %H:%M}."
    else:
        yield NO_ROOM


def _crew(gathered: Gathered, fit: Fit) -> str:
    return str(gathered.crews[gathered.problem.shift(fit.shift).crew])


def _freed(gathered: Gathered, visit: Visit, key: str) -> VisitToPlan | None:
    """The visit as something any crew may do that has what it needs; None without a position."""
    problem, need = gathered.problem, visit.need
    place = f"home:{visit.job.property_id}"
    if place not in {each.key for each in problem.places}:
        return None
    starts_s, ends_s = (gathered.seconds(m) for m in (visit.during.lower, visit.during.upper))
    known = problem.visit(key) if key in problem.visit_index else None
    windows = tuple(
        Window(gathered.seconds(w.during.lower), gathered.seconds(w.during.upper), w.whole)
        for w in (need.windows.all() if need else ())
    )
    agreed = any(window.opens_s <= starts_s <= window.closes_s for window in windows)
    return VisitToPlan(
        key=key,
        place=place,
        service_s=ends_s - starts_s,
        label=str(visit.job.property),
        windows=windows if agreed else (),
        skills=frozenset(skills_for(visit.kind, need)),
        crew_size=need.crew_size if need else 1,
        volume_m3=known.volume_m3 if known else 0.0,
        promised=Promise(f"crew:{visit.crew_id}", starts_s, told=visit.promised_at is not None),
        barred_crews=frozenset(f"crew:{c.pk}" for c in (need.barred_crews.all() if need else ())),
        fixed_crew=f"crew:{need.fixed_crew_id}" if need and need.fixed_crew_id else None,
    )
