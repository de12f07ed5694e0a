"""Whether a visit fits somewhere on the board: asked while it is moved."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from jobs.models import Crew, User, Visit, VisitNeed
from jobs.planning.board import board_of
from jobs.planning.board_engine import Standing, engine_fit
from jobs.planning.board_moves import next_part
from jobs.planning.board_places import (
    Closed,
    Opening,
    cost_where_it_is,
    moment_of,
    places_on,
    to_place,
)
from jobs.planning.plan import Fit
from jobs.planning.spelling import spell_minutes, spell_skills
from jobs.planning.trying import Trial, try_booking, try_move

YES, DEAR, NO = "yes", "dear", "no"
WORTH_TELLING_MIN = 1.0
DEAR_FROM_MIN = 30.0
"""More driving than this is a price worth a word: our own choice."""


@dataclass(frozen=True, slots=True)
class PlaceFit:
    """One place: `fit` is yes, dear (possible, at a price) or no; `why` in sentences.

    `leaves`: ids of who goes along so far and could not come.
    """

    fit: str
    why: tuple[str, ...]
    travel_min: float | None = None
    leaves: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class TrackFit:
    """The best place on one crew's day, or why there is none. `starts_at` on the local clock.

    `extra_min`: minutes of driving more than now, where there is a place.
    """

    crew: int
    day: str
    fit: str
    words: str
    starts_at: str = ""
    extra_min: float | None = None


def fit_of(
    thing: Visit | VisitNeed, crew: Crew, starts_at: datetime, standing: Standing | None
) -> PlaceFit:
    """What the database, the domain and the engine say to a place, without writing anything.

    What the database or the domain would refuse is a no; what only the engine would not do (a
    drive too long, no room for the break, stock that is short) is possible at a price.
    """
    if isinstance(thing, Visit):
        trial = try_move(thing, crew, starts_at)
    else:
        trial = try_booking(thing, crew, starts_at, part=next_part(thing))
    if not trial.ok:
        return PlaceFit(NO, trial.words)
    fit = engine_fit(standing, thing, crew, starts_at) if standing is not None else None
    return _possible(trial, fit)


def _possible(trial: Trial, fit: Fit | None) -> PlaceFit:
    why = trial.warnings
    if fit is not None and not fit.ok:
        told = (spell_skills(reason.words) for reason in fit.reasons[:2])
        why = (*why, *(words for words in told if words not in why))
    extra = trial.extra_travel_min
    if extra is not None and abs(extra) >= WORTH_TELLING_MIN:
        words = more_driving(extra)
        why = (*why, f"{words[:1].upper()}{words[1:]}.")
    dear = (
        trial.warnings
        or (fit is not None and not fit.ok)
        or (extra is not None and extra >= DEAR_FROM_MIN)
    )
    return PlaceFit(DEAR if dear else YES, why, extra, trial.leaves)


def places_for(user: User, thing: Visit | VisitNeed, first: date, count: int) -> list[TrackFit]:
    """The best place on every crew's day, for the tracks of the board while something moves."""
    board = board_of(user, first, count)
    wanted = to_place(thing)
    now = cost_where_it_is(board, thing) if isinstance(thing, Visit) else None
    return [_track_fit(place, now or 0.0) for place in places_on(board, wanted)]


def _track_fit(place: Opening | Closed, saved_min: float) -> TrackFit:
    crew, day = place.row.crew.pk, place.track.day.isoformat()
    if isinstance(place, Closed):
        return TrackFit(crew, day, NO, place.why)
    words = ", ".join((_opening_words(place, saved_min), *place.warnings))
    fit = DEAR if place.warnings else YES
    starts_at = f"{moment_of(place.track.day, place.step):%H:%M}"
    return TrackFit(crew, day, fit, words, starts_at, round(place.extra_min - saved_min, 1))


def _opening_words(place: Opening, saved_min: float) -> str:
    start = moment_of(place.track.day, place.step)
    return f"{start:%H:%M}, {more_driving(place.extra_min - saved_min)}"


def more_driving(minutes: float) -> str:
    """Such as “12 min more driving”, or “the same driving” for less than a minute."""
    if abs(minutes) < WORTH_TELLING_MIN:
        return "the same driving"
    return f"{spell_minutes(abs(minutes))} {'more' if minutes > 0 else 'less'} driving"
