"""What stays booked although it does not fit any more, and why: for the planner to decide.

Only visits that a plan may not move are looked at: those held, under way, or that a run was told
to leave. What is said is what is wrong where they stand, not where else they could go.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date

from django.utils import timezone

from jobs.models import Operative, Visit
from jobs.planning.calendars import Away, at, away_between, holiday_on
from jobs.planning.gather import Gathered, shift_key
from jobs.planning.lending import lent_to
from jobs.planning.plan import Plan, Reason, Stop
from jobs.planning.problem import Shift, VisitToPlan
from jobs.planning.spelling import spell_minutes
from jobs.planning.stand_ins import StandIns

DECIDE = "Move it, give it to another crew, or let it stand if the crew comes all the same."
MINUTE_S = 60


def misfits_of(gathered: Gathered, plan: Plan) -> dict[str, tuple[Reason, ...]]:
    """What is wrong with each visit that stays and does not fit, by its key.

    One query, and one more for each that lacks people.
    """
    problem = gathered.problem
    visits = {**gathered.visits, **gathered.aside}
    if not visits:
        return {}
    away, stand_ins = away_during(list(visits.values())), StandIns(gathered, plan)
    found = {
        key: (_with_another_crew(gathered, stand_ins, visit, why_not_there(gathered, visit, away)),)
        for key, visit in gathered.aside.items()
    }
    shifts_by_key = {shift.key: shift for shift in problem.shifts}
    before = dict(_stops_before(plan))
    for key, visit in gathered.visits.items():
        to_plan = problem.visit(key)
        shift = shifts_by_key.get(shift_key(visit.crew_id, _day(visit)))
        if not to_plan.fixed or shift is None or _is_over(gathered, visit):
            continue
        wrong = tuple(_wrong(gathered, stand_ins, to_plan, visit, shift, away, before.get(key)))
        if wrong:
            found[key] = wrong
    return found


def away_during(visits: Sequence[Visit]) -> Away:
    """Who is away from the first of some visits of one company to the last. One query."""
    begins = min(visit.during.lower for visit in visits)
    ends = max(visit.during.upper for visit in visits)
    return away_between(visits[0].company_id, begins, ends)


def why_not_there(gathered: Gathered, visit: Visit, away: Away) -> Reason:
    """Why the crew cannot be planned for it: the day, an absence, or another visit."""
    crew, day = visit.crew, _day(visit)
    holiday = holiday_on(day, crew.nation)
    if not crew.is_active:
        return Reason("crew_gone", f"{crew} cannot be booked any more.", DECIDE)
    if holiday:
        words = f"{day:%a %-d %b} is a bank holiday ({holiday}) where {crew} works."
        return Reason("holiday", words, DECIDE)
    if day.isoweekday() not in crew.works_on:
        return Reason("weekday", f"{crew} does not work on {day:%A}s.", DECIDE)
    for stretch in away.crews.get(crew.pk, ()):
        if stretch.begins < visit.during.upper and stretch.ends > visit.during.lower:
            return Reason("away", f"{crew} is away then ({stretch.why}).", DECIDE)
    busy = _busy_with(gathered, visit)
    if busy is not None:
        home = busy.job.property.address_line_1
        words = f"The visit before it, at {home}, will last into it."
        return Reason("overlap", words, "Move one of the two.")
    return Reason("away", f"Nobody of {crew} can be sent that day.", DECIDE)


def _busy_with(gathered: Gathered, visit: Visit) -> Visit | None:
    """The visit of the same crew that will last into this one."""
    for key, other in gathered.visits.items():
        to_plan = gathered.problem.visit(key)
        if other.crew_id != visit.crew_id or not to_plan.fixed or to_plan.promised is None:
            continue
        ends = gathered.moment(to_plan.promised.starts_s + to_plan.service_s)
        if other.during.lower <= visit.during.lower < ends:
            return other
    return None


def _wrong(
    gathered: Gathered,
    stand_ins: StandIns,
    to_plan: VisitToPlan,
    visit: Visit,
    shift: Shift,
    away: Away,
    before: Stop | None,
) -> Iterator[Reason]:
    """What is wrong with a visit on a day on which its crew works."""
    for cut in hours_cut(gathered, visit, shift):
        yield _with_another_crew(gathered, stand_ins, visit, cut)
    along = _going_along(visit, away)
    lacking = to_plan.skills - shift.skills - {s for person in along for s in person.skills}
    if lacking:
        words = f"Nobody of {visit.crew} who is there has {', '.join(sorted(lacking))}."
        yield Reason("skills", words, stand_ins.help_for_short(visit, lacking))
    crew = gathered.crews.get(shift.crew, visit.crew)
    usual = len(crew.operatives.all())
    wanted = min(visit.need.crew_size, usual) if visit.need else 1
    if shift.crew_size + len(along) < wanted:
        there = f"Only {shift.crew_size} of {visit.crew} can come"
        words = f"{there}; {wanted} are needed."
        yield Reason("crew_size", words, stand_ins.help_for_short(visit, frozenset()))
    if before is not None:
        yield from _reached(gathered, to_plan, before)


def _going_along(visit: Visit, away: Away) -> list[Operative]:
    """Who was sent along and is not away then."""
    return [
        person
        for person in lent_to(visit)
        if not any(
            stretch.begins < visit.during.upper and stretch.ends > visit.during.lower
            for stretch in away.operatives.get(person.pk, ())
        )
    ]


def _with_another_crew(
    gathered: Gathered, stand_ins: StandIns, visit: Visit, reason: Reason
) -> Reason:
    """The same reason; what helps where the crew is not there is another one that could go."""
    if reason.would_help != DECIDE or _is_over(gathered, visit):
        return reason
    return replace(reason, would_help=stand_ins.help_for_away(visit))


def hours_cut(gathered: Gathered, visit: Visit, shift: Shift) -> Iterator[Reason]:
    """An absence that takes a part of the day away from it."""
    starts_s, ends_s = (gathered.seconds(m) for m in (visit.during.lower, visit.during.upper))
    for rest in shift.breaks:
        away = not rest.within_visit and rest.earliest_s == rest.latest_s
        if away and starts_s < rest.earliest_s + rest.length_s and ends_s > rest.earliest_s:
            yield Reason("away", f"{visit.crew}: {rest.label.lower()} during it.", DECIDE)
    day = _day(visit)
    opens_s, closes_s = (
        gathered.seconds(at(day, clock))
        for clock in (visit.crew.day_starts_at, visit.crew.day_ends_at)
    )
    came_late = shift.opens_s > opens_s and starts_s < shift.opens_s
    went_early = shift.closes_s < closes_s and ends_s > shift.closes_s
    if came_late or went_early:
        opens, closes = (gathered.moment(s) for s in (shift.opens_s, shift.closes_s))
        words = f"{visit.crew} is there only from {opens:%H:%M} to {closes:%H:%M} that day."
        yield Reason("away", words, DECIDE)


def _reached(gathered: Gathered, to_plan: VisitToPlan, before: Stop) -> Iterator[Reason]:
    """The drive from the visit before takes longer than there is time for it."""
    problem = gathered.problem
    earlier = gathered.visits.get(before.key)
    if earlier is None or to_plan.promised is None or not problem.visit(before.key).fixed:
        return
    drive_s = problem.travel_s(before.place, to_plan.place)
    time_s = to_plan.promised.starts_s - before.leaves_s
    if drive_s > time_s:
        words = (
            f"The drive from {earlier.job.property.address_line_1} takes "
            f"{spell_minutes(drive_s / MINUTE_S)}, and there are "
            f"{spell_minutes(max(0, time_s) / MINUTE_S)} for it."
        )
        yield Reason("drive", words, "Move one of the two, or start this one later.")


def _stops_before(plan: Plan) -> Iterator[tuple[str, Stop]]:
    """The visit before each visit of a round."""
    for round_ in plan.rounds:
        visits = [stop for stop in round_.stops if stop.kind == "visit"]
        for before, stop in zip(visits, visits[1:], strict=False):
            yield stop.key, before


def _is_over(gathered: Gathered, visit: Visit) -> bool:
    """Under way, or begun in the past: nothing is left to decide."""
    return visit.status != Visit.Status.BOOKED or visit.during.lower < timezone.now()


def _day(visit: Visit) -> date:
    return timezone.localtime(visit.during.lower).date()
