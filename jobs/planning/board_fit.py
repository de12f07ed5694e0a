"""Whether a visit fits somewhere on the board: asked while it is moved, and for its sheet."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from jobs.models import Crew, Visit, VisitNeed
from jobs.planning.spelling import spell_minutes
from jobs.planning.trying import Trial, try_booking, try_move
from jobs.planning.board_moves import next_part

YES, DEAR, NO = "yes", "dear", "no"
WORTH_TELLING_MIN = 1.0
DEAR_FROM_MIN = 30.0
"""More driving than this is a price worth a word: our own choice."""


@dataclass(frozen=True, slots=True)
class PlaceFit:
    """One place: `fit` is yes, dear (possible, at a price) or no; `why` in sentences."""

    fit: str
    why: tuple[str, ...]
    travel_min: float | None = None


@dataclass(frozen=True, slots=True)
class TrackFit:
    """The best place on one crew's day, or why there is none. `starts_at` on the local clock."""

    crew: int
    day: str
    fit: str
    words: str
    starts_at: str = ""


def fit_of(thing: Visit | VisitNeed, crew: Crew, starts_at: datetime) -> PlaceFit:
    """What the database and the domain would say to a place, without writing anything."""
    if isinstance(thing, Visit):
        trial = try_move(thing, crew, starts_at)
    else:
        trial = try_booking(thing, crew, starts_at, part=next_part(thing))
    return _as_fit(trial)


def _as_fit(trial: Trial) -> PlaceFit:
    if not trial.ok:
        return PlaceFit(NO, trial.words)
    why = trial.warnings
    extra = trial.extra_travel_min
    if extra is not None and abs(extra) >= WORTH_TELLING_MIN:
        more = "more" if extra > 0 else "less"
        why = (*why, f"{spell_minutes(abs(extra))} {more} driving.")
    dear = trial.warnings or (extra is not None and extra >= DEAR_FROM_MIN)
    return PlaceFit(DEAR if dear else YES, why, extra)


@dataclass(frozen=True, slots=True)
class Sheet:
    """What stands about one visit."""

    visit: Visit
    hours: float


def places_for(thing: Visit | VisitNeed, first: date, count: int) -> list[TrackFit]:
    return []


def sheet_of(visit: Visit, first: date, count: int) -> Sheet:
    return Sheet(visit, (visit.during.upper - visit.during.lower).total_seconds() / 3600)


def why_not_planned(need: VisitNeed, first: date, count: int) -> list[str]:
    return []
