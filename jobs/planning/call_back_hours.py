"""What the time proposed for a call-back is made of, in one line for whoever books it."""

from __future__ import annotations

import math

from jobs.call_backs import CallBackNeeds, call_back_needs
from jobs.models import Job, Visit, VisitNeed
from jobs.planning.needs import need_for, open_parts
from jobs.planning.spelling import spell_minutes

BY_HAND = "part_hours"
USUAL = "Usual for a call-back, by common practice; change it as you know the home."


def call_back_hours_told(job: Job) -> str:
    """Why `proposed_hours` proposes for a call-back what it does."""
    need = need_for(job, Visit.Kind.CALL_BACK)
    if need is None or not open_parts(need):
        return USUAL
    if BY_HAND in need.set_by_hand:
        return "As your office set it for this call-back."
    found = call_back_needs([job.pk]).get(job.pk)
    return USUAL if found is None else _reckoned(need, found)


def _reckoned(need: VisitNeed, found: CallBackNeeds) -> str:
    """The work by the engine, and what rounding or several days make of it."""
    steps = "setting up, carrying and laying wool" if found.rolls else "setting up"
    work = f"{spell_minutes(found.crew_hours * 60)} of work for two people"
    days = len(need.part_hours)
    share = f", shared out over {days} days" if days > 1 else ""
    told = f"{work} ({steps}, readings, handing over){share}"
    if not _is_of(need, found):
        return f"{told} are known now; the time was worked out before."
    rounded = ", rounded up to a quarter hour" if _is_rounded(need, found) else ""
    return f"{told}{rounded}. Driving and breaks come on top."


def _is_of(need: VisitNeed, found: CallBackNeeds) -> bool:
    """Whether the need was worked out of what is known now: its parts are quarter hours up."""
    quarters = math.ceil(round(found.crew_hours / len(need.part_hours) * 4, 6))
    return need.part_hours[0] == max(1, quarters) / 4


def _is_rounded(need: VisitNeed, found: CallBackNeeds) -> bool:
    return round(sum(need.part_hours) - found.crew_hours, 2) >= 0.01
