"""What the planner is told of one visit: why it lies where it lies, and where else it could."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Q
from django.utils import timezone

from jobs.models import Crew, ProposedVisit, User, Visit, VisitNeed
from jobs.planning.board import board_of
from jobs.planning.board_engine import moving_cost, standing_of, why_left_out
from jobs.planning.board_fit import more_driving
from jobs.planning.board_needs import WhyNot
from jobs.planning.board_parts import Board
from jobs.planning.board_places import (
    Closed,
    Opening,
    cost_where_it_is,
    moment_of,
    places_on,
    to_place,
)
from jobs.planning.booking import hours_of
from jobs.planning.spelling import spell_minutes

PLACES_TOLD = 6
REASONS_TOLD = 4
ONLY_BY_HAND = (
    "A plan finds no other place for it on these days: driving, hours, breaks or stock do not "
    "allow one. By hand it can be put here, at the price that each says."
)

NOWHERE = "On the days shown it fits nowhere else: a plan that moved it would leave it out."


@dataclass(frozen=True, slots=True)
class OtherPlace:
    """Somewhere else a visit could lie, and what that would cost."""

    crew: Crew
    starts_at: datetime
    words: str


@dataclass(frozen=True, slots=True)
class Sheet:
    """What stands about one visit. `moving`: the least that moving it would cost, in words."""

    visit: Visit
    hours: float
    drive_words: str
    moving: str
    others: tuple[OtherPlace, ...]
    planned: ProposedVisit | None


@dataclass(frozen=True, slots=True)
class WhyWaiting:
    """Why something waits: places that are free for it, else what keeps it out."""

    places: tuple[OtherPlace, ...]
    reasons: tuple[WhyNot, ...]


def sheet_of(user: User, visit: Visit, first: date, count: int) -> Sheet:
    """A visit on the days shown; its reasons from the last plan that said something of it."""
    board = board_of(user, first, count)
    now = cost_where_it_is(board, visit)
    others = _others(board, visit, now or 0.0)
    return Sheet(
        visit,
        hours_of(visit),
        f"{spell_minutes(now)} of driving because of it" if now is not None else "",
        _moving_words(user, visit, first, count, others),
        others,
        _last_planned(visit),
    )


def why_waiting(user: User, need: VisitNeed, first: date, count: int) -> WhyWaiting:
    """Free places for what waits on the days shown, or the reasons there is none."""
    found = places_on(board_of(user, first, count), to_place(need))
    openings = _best([place for place in found if isinstance(place, Opening)])
    places = tuple(_as_place(opening, 0.0) for opening in openings)
    if places:
        return WhyWaiting(places, ())
    standing = standing_of(user, first, count)
    told = why_left_out(standing, need) if standing is not None else ()
    if told:
        return WhyWaiting((), tuple(WhyNot(reason.words, reason.would_help) for reason in told))
    closed = [place for place in found if isinstance(place, Closed)]
    return WhyWaiting((), _why_closed(closed))


def _others(board: Board, visit: Visit, saved_min: float) -> tuple[OtherPlace, ...]:
    found = places_on(board, to_place(visit))
    openings = [place for place in found if isinstance(place, Opening)]
    elsewhere = [place for place in openings if _is_elsewhere(place, visit)]
    return tuple(_as_place(opening, saved_min) for opening in _best(elsewhere))


def _is_elsewhere(place: Opening, visit: Visit) -> bool:
    start = moment_of(place.track.day, place.step)
    return (place.row.crew.pk, start) != (visit.crew_id, visit.during.lower)


def _best(openings: Sequence[Opening]) -> list[Opening]:
    """Those without a warning first, then by driving."""
    order = sorted(openings, key=lambda place: (len(place.warnings), place.extra_min))
    return order[:PLACES_TOLD]


def _as_place(opening: Opening, saved_min: float) -> OtherPlace:
    words = ", ".join((more_driving(opening.extra_min - saved_min), *opening.warnings))
    return OtherPlace(opening.row.crew, moment_of(opening.track.day, opening.step), words)


def _moving_words(
    user: User, visit: Visit, first: date, count: int, others: Sequence[OtherPlace]
) -> str:
    """The engine's price of moving it, else that of the best free place by driving."""
    if visit.held:
        return "It is held: a new plan leaves it here."
    standing = standing_of(user, first, count)
    cost = moving_cost(standing, visit) if standing is not None else None
    if cost is not None and cost.best is None:
        return ONLY_BY_HAND if others else NOWHERE
    if cost is not None:
        return cost.words
    if not others:
        return "There is no other place for it on these days."
    best = others[0]
    start = timezone.localtime(best.starts_at)
    return f"Best elsewhere: {best.crew}, {start:%a %-d %b at %H:%M}, {best.words}."


def _last_planned(visit: Visit) -> ProposedVisit | None:
    """The line of the latest plan that put this visit here, or left it here, with its reason."""
    about = Q(visit=visit, change=ProposedVisit.Change.KEPT)
    accepted = Q(answer=ProposedVisit.Answer.ACCEPTED, crew=visit.crew_id, during=visit.during)
    about |= accepted & Q(visit=visit)
    if visit.need_id is not None:
        about |= accepted & Q(need=visit.need_id, part=visit.part)
    return (
        ProposedVisit.objects.filter(about, run__company=visit.company_id).order_by("-run").first()
    )


def _why_closed(closed: Sequence[Closed]) -> tuple[WhyNot, ...]:
    """What keeps it out, the commonest first, with what would let it in."""
    counted = Counter(place.code for place in closed)
    found = []
    for code, count in counted.most_common(REASONS_TOLD):
        places = [place for place in closed if place.code == code]
        if code == "room":
            found.append(_no_room(places, count))
        elif code == "skill":
            crews = {place.row.crew.pk for place in places}
            why = f"{places[0].why} So it is with {len(crews)} of the crews."
            found.append(WhyNot(why, HELPS[code]))
        else:
            found.append(WhyNot(f"{places[0].why} ({count} crew days)", HELPS[code]))
    return tuple(found)


# What would let it in, by what keeps it out of a crew's day; `room` has numbers of its own.
HELPS = {
    "skill": "Somebody with that skill in one more crew: record it on the crews page.",
    "away": "Another day, or the absence taken back if they come.",
    "passed": "Later days on the board.",
    "far": "A crew with a base nearer to it, or its work shared out over several days.",
    "agreed": "Another time agreed with the householder, or other days on the board.",
}


def _no_room(places: Sequence[Closed], count: int) -> WhyNot:
    nearest = min(places, key=lambda place: place.lacks_min or 0)
    day, lacks = nearest.track.day, nearest.lacks_min or 0
    return WhyNot(
        f"No gap is long enough on {count} crew days.",
        f"{spell_minutes(lacks)} more with {nearest.row.crew} on {day:%a %-d %b}, by overtime "
        "or by moving a visit.",
    )
