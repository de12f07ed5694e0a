"""What a run does with visits that are not booked yet: plans them, fills a gap, lets them wait."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from enum import StrEnum

from jobs.planning.calendars import midnight
from jobs.planning.disturbance import Disturbance
from jobs.planning.gather import Gathered
from jobs.planning.problem import VisitToPlan, Window


class Waiting(StrEnum):
    """PLAN: they are planned with all else. FREED: they may take the time that a disturbance
    freed, of its crew and days. LEAVE: they wait on."""

    PLAN = "plan"
    FREED = "freed"
    LEAVE = "leave"


def leave_waiting(
    gathered: Gathered, waiting: Waiting, disturbed: Disturbance | None = None
) -> Gathered:
    """The problem with only those of the visits that wait that the run is to look at."""
    if waiting == Waiting.PLAN:
        return gathered
    kept = {visit.key: visit for visit in gathered.problem.visits if visit.promised is not None}
    if waiting == Waiting.FREED and disturbed is not None:
        kept |= {visit.key: visit for visit in _for_the_gap(gathered, disturbed)}
    ordered = (kept[visit.key] for visit in gathered.problem.visits if visit.key in kept)
    visits = tuple(
        replace(visit, after=tuple(one for one in visit.after if one.key in kept))
        for visit in ordered
    )
    return replace(
        gathered,
        problem=replace(gathered.problem, visits=visits),
        needs={key: need for key, need in gathered.needs.items() if key in kept},
        parts={key: parts for key, parts in gathered.parts.items() if key in kept},
        left=(),
    )


def _for_the_gap(gathered: Gathered, disturbed: Disturbance) -> Iterator[VisitToPlan]:
    """What waits and may begin with that crew on those days, bound to both.

    What must follow another visit that waits is left: that one is not planned either.
    """
    crew = f"crew:{disturbed.crew}"
    opens_s = gathered.seconds(midnight(disturbed.first_day))
    closes_s = gathered.seconds(midnight(disturbed.last_day + timedelta(days=1))) - 1
    for visit in gathered.problem.visits:
        theirs = visit.fixed_crew in (None, crew) and crew not in visit.barred_crews
        ready = all(one.key not in gathered.needs for one in visit.after)
        if visit.promised is not None or not theirs or not ready:
            continue
        agreed = visit.windows or (Window(opens_s, closes_s),)
        windows = tuple(
            replace(one, opens_s=max(one.opens_s, opens_s), closes_s=min(one.closes_s, closes_s))
            for one in agreed
            if one.opens_s <= closes_s and one.closes_s >= opens_s
        )
        if windows:
            yield replace(visit, fixed_crew=crew, windows=windows)
