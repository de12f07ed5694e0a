"""The planning engine asked about the board as it stands: does it fit, what would moving cost.

The engine reads a problem and a plan. Both are made from the database once for every state of the
board and kept for the next question, since a hand that moves a visit asks several times a second.
"""

from __future__ import annotations

from collections import OrderedDict, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime

from django.utils import timezone

from jobs.errors import Conflict
from jobs.models import Crew, User, Visit, VisitNeed
from jobs.planning.board import stamps_of
from jobs.planning.board_needs import waiting_stamp
from jobs.planning.board_parts import working_days_from
from jobs.planning.gather import Gathered, gather, shift_key
from jobs.planning.plan import Fit, MovingCost, Plan, Reason, Round, Stop
from jobs.planning.plan_errors import NotInPlan, PlanProblemError
from jobs.planning.road_router import in_a_hurry
from jobs.planning.solving.places import fits
from jobs.planning.solving.reasons import cost_of_moving, explain_unplanned
from jobs.planning.spelling import spell_items

KEPT = 3
Asked = tuple[int, date, int]
_kept: OrderedDict[Asked, tuple[str, Standing]] = OrderedDict()


@dataclass(frozen=True, slots=True)
class Standing:
    """What is to be planned and what is booked, as the engine reads them."""

    gathered: Gathered
    plan: Plan

    def key_of(self, thing: Visit | VisitNeed) -> str | None:
        """What the problem calls it; None where the days do not hold it."""
        key = f"visit:{thing.pk}" if isinstance(thing, Visit) else thing.key
        return key if key in self.gathered.problem.visit_index else None


def standing_of(user: User, first: date, count: int) -> Standing | None:
    """The board of `count` working days from `first`, from today on; None with no crew to send.

    Kept in the process until anything on the board or anything that waits changes.
    """
    company = user.company
    assert company is not None
    asked = (company.pk, first, count)
    mark = f"{stamps_of(user, first, count)}{waiting_stamp(user)}{timezone.now():%d%H%M}"
    found = _kept.pop(asked, None)
    if found is None or found[0] != mark:
        begin = max(first, timezone.localdate())
        days = (working_days_from(first, count) - begin).days
        if days < 1:
            return None
        try:
            with in_a_hurry():
                gathered = gather(company, begin, days)
        except (Conflict, PlanProblemError):
            return None
        found = (mark, Standing(gathered, plan_of(gathered)))
    _kept[asked] = found
    while len(_kept) > KEPT:
        _kept.popitem(last=False)
    return found[1]


def plan_of(gathered: Gathered) -> Plan:
    """What is booked, as a plan: each crew's visits of a day in order of time."""
    problem = gathered.problem
    rounds: dict[str, list[Stop]] = defaultdict(list)
    for visit in problem.visits:
        booked = gathered.visits.get(visit.key)
        if booked is None:
            continue
        starts_s = gathered.seconds(booked.during.lower)
        day = timezone.localtime(booked.during.lower).date()
        stop = Stop(
            kind="visit",
            key=visit.key,
            place=visit.place,
            arrives_s=starts_s,
            starts_s=starts_s,
            leaves_s=starts_s + visit.service_s,
            travel_s=0,
            travel_m=0,
        )
        rounds[shift_key(booked.crew_id, day)].append(stop)
    known = {key: stops for key, stops in rounds.items() if key in problem.shift_index}
    return Plan(tuple(_round(problem.shift(key).key, stops) for key, stops in known.items()))


def _round(shift: str, stops: list[Stop]) -> Round:
    ordered = tuple(sorted(stops, key=lambda stop: stop.starts_s))
    return Round(shift, ordered[0].starts_s, ordered[-1].leaves_s, ordered, 0, 0)


def engine_fit(
    standing: Standing, thing: Visit | VisitNeed, crew: Crew, starts_at: datetime
) -> Fit | None:
    """What the engine says to a place; None where it does not know the visit or the shift."""
    key = standing.key_of(thing)
    shift = shift_key(crew.pk, timezone.localtime(starts_at).date())
    if key is None:
        return None
    starts_s = standing.gathered.seconds(starts_at)
    try:
        fit = fits(standing.gathered.problem, standing.plan, key, shift, starts_s=starts_s)
    except NotInPlan:
        return None
    return replace(fit, reasons=_named(standing, fit.reasons))


def moving_cost(standing: Standing, visit: Visit) -> MovingCost | None:
    """What moving a booked visit would cost at least; None for one that does not move."""
    key = standing.key_of(visit)
    if key is None or standing.gathered.problem.visit(key).fixed:
        return None
    try:
        return cost_of_moving(standing.gathered.problem, standing.plan, key)
    except NotInPlan:
        return None


def why_left_out(standing: Standing, need: VisitNeed) -> tuple[Reason, ...]:
    """What keeps something that waits out of what is booked, and what would let it in."""
    key = standing.key_of(need)
    if key is None:
        left = [left.reason for left in standing.gathered.left if left.need == need]
        return tuple(left)
    told = explain_unplanned(standing.gathered.problem, standing.plan, key)
    return _named(standing, told)


def _named(standing: Standing, reasons: Iterable[Reason]) -> tuple[Reason, ...]:
    """The engine's reasons with the names of kept items, which it knows by their codes."""
    names = standing.gathered.item_names
    return tuple(
        replace(
            reason,
            words=spell_items(reason.words, names),
            would_help=spell_items(reason.would_help, names),
        )
        for reason in reasons
    )
