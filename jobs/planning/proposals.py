"""From a plan to what it proposes: each visit beside where it is booked, with price and reason."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.backends.postgresql.psycopg_any import DateTimeTZRange
from django.db.models import Count, Q, QuerySet
from django.utils import timezone

from jobs.managers import BREAKS_PROMISE
from jobs.models import Crew, PlanRun, ProposedVisit, Visit
from jobs.planning.causes import causes_of
from jobs.planning.gather import Gathered
from jobs.planning.gather_visits import Left
from jobs.planning.misfits import misfits_of
from jobs.planning.plan import MovingCost, Plan, Reason, Round, Stop
from jobs.planning.spelling import spell_items

Change = ProposedVisit.Change
LONGEST_WHY = 600
NO_ROOM = Reason(
    "no_room",
    "It does not fit together with what else is fixed that day.",
    "Move it, or let something else of that day move.",
)


def proposals_of(run: PlanRun) -> QuerySet[ProposedVisit]:
    """The lines of a run with all that a page shows of them. One query."""
    return run.proposals.with_place().order_by("crew__name", "during", "id")


@dataclass(frozen=True, slots=True)
class RunSummary:
    """How many lines of each kind a run has. `told`: moved or taken off although promised.
    `misfits`: stay as booked, and do not fit any more.
    """

    new: int
    moved: int
    other_crew: int
    kept: int
    taken_off: int
    left: int
    told: int
    misfits: int
    unanswered: int

    @property
    def changing(self) -> int:
        return self.new + self.moved + self.other_crew + self.taken_off


def summary_of(run: PlanRun) -> RunSummary:
    """Counts over the lines of a run. One query."""
    would_change = Q(change__in=("new", "moved", "other_crew", "taken_off"))
    return RunSummary(
        **run.proposals.aggregate(
            **{change.value: Count("pk", filter=Q(change=change)) for change in Change},
            told=Count("pk", filter=BREAKS_PROMISE),
            misfits=Count("pk", filter=Q(change="kept") & ~Q(reasons=[])),
            unanswered=Count("pk", filter=would_change & Q(answer="none")),
        )
    )


# --- Making them


def propose(
    run: PlanRun,
    gathered: Gathered,
    plan: Plan,
    costs: Mapping[str, MovingCost],
) -> list[ProposedVisit]:
    """The lines of a plan, not yet stored. `costs`: what moving a placed visit would cost."""
    lines: list[ProposedVisit] = []
    misfits, causes = misfits_of(gathered, plan), causes_of(gathered)
    for round_ in plan.rounds:
        visits = [stop for stop in round_.stops if stop.kind == "visit"]
        for sequence, stop in enumerate(visits, start=1):
            line = _placed(run, gathered, round_, stop, sequence, costs.get(stop.key))
            kept = line.change == Change.KEPT
            told = misfits.get(stop.key, ()) if kept else _first(causes.get(stop.key))
            line.reasons = _told(told, gathered.item_names)
            lines.append(line)
    for left in plan.unplanned:
        if left.key in gathered.visits and gathered.problem.visit(left.key).fixed:
            words = _told(left.reasons or [NO_ROOM], gathered.item_names)
            lines.append(_standing(run, gathered.visits[left.key], words))
        else:
            told = [*_first(causes.get(left.key)), *left.reasons]
            lines.append(_unplanned(run, gathered, left.key, told))
    lines += [
        _standing(run, visit, _told(misfits[key], gathered.item_names))
        for key, visit in gathered.aside.items()
    ]
    lines += [_left(run, each) for each in gathered.left]
    return lines


def _first(cause: Reason | None) -> tuple[Reason, ...]:
    """Why a booked visit cannot stay, before anything else that is told of it."""
    return () if cause is None else (cause,)


def _standing(run: PlanRun, visit: Visit, told: list[dict[str, str]]) -> ProposedVisit:
    """A visit that stays booked although the plan has no room for it: the planner decides."""
    line = ProposedVisit(
        run=run,
        need=visit.need,
        visit=visit,
        part=visit.part,
        change=Change.KEPT,
        crew=visit.crew,
        van=visit.van,
        during=visit.during,
        reasons=told,
    )
    return _as_seen(line)


def _placed(
    run: PlanRun,
    gathered: Gathered,
    round_: Round,
    stop: Stop,
    sequence: int,
    cost: MovingCost | None,
) -> ProposedVisit:
    crew = gathered.crews[gathered.problem.shift(round_.shift).crew]
    during = DateTimeTZRange(gathered.moment(stop.starts_s), gathered.moment(stop.leaves_s))
    visit = gathered.visits.get(stop.key)
    need = gathered.needs.get(stop.key)
    change = _change(visit, crew, during, stop)
    line = ProposedVisit(
        run=run,
        need=need or (visit.need if visit else None),
        visit=visit,
        part=visit.part if visit else gathered.parts[stop.key][stop.part],
        change=change,
        crew=crew,
        van=_van(visit, crew),
        during=visit.during if visit and change == Change.KEPT else during,
        sequence=sequence,
        travel_s=stop.travel_s,
        travel_m=stop.travel_m,
        cost_min=cost.extra_points if cost else None,
        why=_why(change, visit, crew, during, stop, cost)[:LONGEST_WHY],
    )
    return _as_seen(line)


def _change(visit: Visit | None, crew: Crew, during: DateTimeTZRange, stop: Stop) -> Change:
    """What the plan does to a visit; a break that it only finds room for within it is nothing."""
    if visit is None:
        return Change.NEW
    if visit.crew_id != crew.pk:
        return Change.OTHER_CREW
    rests = timedelta(seconds=sum(ends_s - begins_s for begins_s, ends_s in stop.rests))
    as_booked = during.upper in (visit.during.upper, visit.during.upper + rests)
    return Change.KEPT if visit.during.lower == during.lower and as_booked else Change.MOVED


def _van(visit: Visit | None, crew: Crew) -> Any:
    return visit.van if visit is not None and visit.crew_id == crew.pk else crew.van


def _as_seen(line: ProposedVisit) -> ProposedVisit:
    """With what the plan saw of need and visit, so that a later change is noticed."""
    if line.need is not None:
        line.need_version = line.need.version
    if line.visit is not None:
        line.visit_version = line.visit.version
        line.was_crew_id, line.was_during = line.visit.crew_id, line.visit.during
    return line


def _unplanned(
    run: PlanRun, gathered: Gathered, key: str, reasons: Iterable[Reason]
) -> ProposedVisit:
    visit, need = gathered.visits.get(key), gathered.needs.get(key)
    told = _told(reasons, gathered.item_names)
    line = ProposedVisit(
        run=run,
        need=need or (visit.need if visit else None),
        visit=visit,
        part=visit.part if visit else gathered.parts[key][0],
        change=Change.TAKEN_OFF if visit else Change.LEFT,
        reasons=told,
        why=" ".join(_sentence(reason) for reason in told[:2])[:LONGEST_WHY],
    )
    return _as_seen(line)


def _left(run: PlanRun, left: Left) -> ProposedVisit:
    told = _told([left.reason], {})
    line = ProposedVisit(
        run=run,
        need=left.need,
        change=Change.LEFT,
        reasons=told,
        why=_sentence(told[0])[:LONGEST_WHY],
    )
    return _as_seen(line)


def _told(reasons: Iterable[Reason], names: Mapping[str, str]) -> list[dict[str, str]]:
    return [
        {
            "code": each.code,
            "words": spell_items(each.words, names),
            "would_help": spell_items(each.would_help, names),
        }
        for each in reasons
    ]


def _sentence(told: Mapping[str, str]) -> str:
    return f"{told['words']} {told['would_help']}".strip()


# --- Why, in words


def _why(
    change: Change,
    visit: Visit | None,
    crew: Crew,
    during: DateTimeTZRange,
    stop: Stop,
    cost: MovingCost | None,
) -> str:
    parts = [_from_to(change, visit, crew, during)]
    if stop.travel_s:
        parts.append(f"{stop.travel_s / 60:.0f} min drive, {stop.travel_m / 1000:.0f} km, to it.")
    if cost is not None and cost.words:
        parts.append(cost.words)
    return " ".join(part for part in parts if part)


def _from_to(change: Change, visit: Visit | None, crew: Crew, during: DateTimeTZRange) -> str:
    if visit is None or change == Change.KEPT:
        return ""
    was, now = when_words(visit.during.lower), when_words(during.lower)
    if change == Change.OTHER_CREW:
        return f"From {visit.crew}, {was}, to {crew}, {now}."
    if visit.during.lower == during.lower:
        return f"Until {timezone.localtime(during.upper):%H:%M} instead of " + (
            f"{timezone.localtime(visit.during.upper):%H:%M}."
        )
    return f"From {was} to {now}."


def when_words(moment: datetime) -> str:
    return f"{timezone.localtime(moment):%a %-d %b %H:%M}"
