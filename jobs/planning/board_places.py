"""Where on the board a visit could lie: the best gap of every crew's day, by driving.

A quick look for the hand that moves a visit, made from what the board shows: gaps, drives, hours,
skills and agreed times. The plan runs weigh everything against everything; this does not.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from django.db.backends.postgresql.psycopg_any import DateTimeTZRange
from django.utils import timezone

from jobs.models import Skill, Visit, VisitNeed
from jobs.planning.board import base_of, position_of, step_of
from jobs.planning.board_parts import STEP_MIN, Block, Board, CrewRow, Position, Track
from jobs.planning.booking import hours_of
from jobs.planning.booking_checks import skills_for
from jobs.planning.calendars import at
from jobs.planning.going_along import coming_along, going_along
from jobs.planning.needs import open_parts
from jobs.planning.spelling import spell_minutes
from jobs.planning.travel import drive_between, known_roads

MOST_OVER_MIN = 120
"""A place whose way and work take this much more than the crew's day is none: our own choice."""


@dataclass(frozen=True, slots=True)
class ToPlace:
    """What is to be placed: its length in steps, where, what it takes, when it was agreed.

    `along_skills`: what those of other crews can do who go along with `visit` so far.
    """

    visit: Visit | None
    steps: int
    at: Position | None
    skills: tuple[str, ...]
    windows: tuple[tuple[datetime, datetime], ...]
    due_on: date | None
    only_crew: int | None
    along_skills: frozenset[str] = frozenset()

    @property
    def visit_id(self) -> int | None:
        return self.visit.pk if self.visit else None


@dataclass(frozen=True, slots=True)
class Opening:
    """The best gap of a track. `extra_min`: driving more than the crew does without it."""

    row: CrewRow
    track: Track
    step: int
    extra_min: float
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Closed:
    """No gap on a track: why, and how many minutes lack in its longest gap, if that is all."""

    row: CrewRow
    track: Track
    why: str
    code: str
    lacks_min: int | None = None


def to_place(thing: Visit | VisitNeed) -> ToPlace:
    """A booked visit, or the next part of a need, as something to be placed."""
    need = thing.need if isinstance(thing, Visit) else thing
    windows = tuple((w.during.lower, w.during.upper) for w in need.windows.all()) if need else ()
    if isinstance(thing, Visit):
        hours = hours_of(thing)
    else:
        part = next(iter(open_parts(thing)), len(thing.part_hours))
        hours = thing.part_hours[part - 1]
    return ToPlace(
        thing if isinstance(thing, Visit) else None,
        -(round(hours * 60) // -STEP_MIN),
        position_of(thing.job.property),
        tuple(skills_for(thing.kind, need)),
        windows,
        need.due_on if need else thing.job.due_on,
        need.fixed_crew_id if need else None,
        _skills_along(thing) if isinstance(thing, Visit) else frozenset(),
    )


def _skills_along(visit: Visit) -> frozenset[str]:
    people = going_along(visit, visit.crew)
    return frozenset(skill for person in people for skill in person.skills)


def places_on(board: Board, thing: ToPlace, now: datetime | None = None) -> list[Opening | Closed]:
    """The best opening of every crew and day of the board, or why there is none."""
    now = now or timezone.now()
    with known_roads(_stops(board, thing.at)):
        return [_place_on(row, track, thing, now) for row in board.rows for track in row.tracks]


def _stops(board: Board, home: Position | None = None) -> Iterator[list[Position | None]]:
    """Where each crew is on each day, and the home that something is to be placed at."""
    for row in board.rows:
        for track in row.tracks:
            yield [home, base_of(row.crew), *(_at(block) for block in track.blocks)]


def cost_where_it_is(board: Board, visit: Visit) -> float | None:
    """How much driving a booked visit causes where it lies [min]; None if it is not shown."""
    for row in board.rows:
        for track in row.tracks:
            for nth, block in enumerate(track.blocks):
                if block.visit.pk == visit.pk:
                    others = [b for b in track.blocks if b is not block]
                    with known_roads(_stops(board)):
                        return _extra(row, others, nth, position_of(visit.job.property))
    return None


def _place_on(row: CrewRow, track: Track, thing: ToPlace, now: datetime) -> Opening | Closed:
    missing = [skill for skill in thing.skills if skill not in row.skills]
    if not thing.along_skills.issuperset(missing):
        return _nobody_can(row, track, [s for s in missing if s not in thing.along_skills])
    if track.closed is not None and track.closed.refuses:
        return Closed(row, track, f"{row.crew} is away: {track.closed.words}.", "away")
    today = timezone.localtime(now).date()
    if track.day < today:
        return Closed(row, track, "That day has passed.", "passed")
    earliest = max(track.opens, step_of(now) + 1) if track.day == today else track.opens
    if earliest >= track.closes:
        return Closed(row, track, "The day is over.", "passed")
    too_far = _too_far(row, track, thing)
    if too_far is not None:
        return too_far
    blocks = [block for block in track.blocks if block.visit.pk != thing.visit_id]
    found = list(_openings(row, track, blocks, thing, earliest))
    fitting = [opening for opening in found if isinstance(opening, Opening)]
    fitting.sort(key=lambda opening: (round(opening.extra_min), opening.step))
    best = next((each for each in fitting if _can_be_done(each, thing, missing)), None)
    if best is not None:
        return best
    if fitting:
        return _nobody_can(row, track, missing, "; who goes along cannot come")
    lacking = [closed for closed in found if isinstance(closed, Closed)]
    return min(lacking, key=lambda closed: closed.lacks_min or 10_000)


def _can_be_done(opening: Opening, thing: ToPlace, missing: Sequence[str]) -> bool:
    """Whether who goes along has what the crew lacks and can come then; a query where it lacks."""
    if not missing or thing.visit is None:
        return not missing
    start = moment_of(opening.track.day, opening.step)
    lasts = timedelta(hours=hours_of(thing.visit))
    people = coming_along(thing.visit, opening.row.crew, DateTimeTZRange(start, start + lasts))
    return {skill for person in people for skill in person.skills}.issuperset(missing)


def _nobody_can(row: CrewRow, track: Track, missing: Sequence[str], besides: str = "") -> Closed:
    skill = Skill(missing[0]).label.lower()
    return Closed(row, track, f"Nobody in {row.crew} can do it: {skill}{besides}.", "skill")


def _too_far(row: CrewRow, track: Track, thing: ToPlace) -> Closed | None:
    """Whether the way there and back and the work take far more than the crew's whole day."""
    there_and_back = 2 * _minutes(base_of(row.crew), thing.at)
    takes_min = there_and_back + thing.steps * STEP_MIN
    has_min = (track.closes + track.overtime - track.opens) * STEP_MIN
    if takes_min <= has_min + MOST_OVER_MIN:
        return None
    return Closed(
        row,
        track,
        f"{spell_minutes(there_and_back)} there and back: too far for a day.",
        "far",
    )


def _openings(
    row: CrewRow, track: Track, blocks: Sequence[Block], thing: ToPlace, earliest: int
) -> Iterator[Opening | Closed]:
    """Each gap between visits: a start in it, or what it lacks."""
    bounds = sorted(
        [(block.step, block.step + block.steps, block) for block in blocks]
        + [(away.step, away.step + away.steps, None) for away in track.away if away.refuses],
        key=lambda bound: bound[0],
    )
    base = base_of(row.crew)
    here, free, place = base, earliest, 0
    for begins, ends, block in [*bounds, (track.closes + track.overtime, 0, None)]:
        there = _at(block) if block else base
        start = max(earliest, free + _steps(here, thing.at) if place else free)
        start = _in_window(track.day, start, thing.windows)
        last = begins - (_steps(thing.at, there) if block else 0)
        if start is None:
            yield Closed(row, track, "The householder agreed to other times.", "agreed")
        elif start + thing.steps <= last:
            extra = _extra(row, blocks, sum(b.step < begins for b in blocks), thing.at)
            yield Opening(row, track, start, extra, _warnings(row, track, thing, start))
        else:
            lacks = (start + thing.steps - last) * STEP_MIN
            yield Closed(row, track, f"No gap is long enough: {lacks} min short.", "room", lacks)
        here, free, place = there, max(free, ends), place + 1


def _at(block: Block) -> Position | None:
    return position_of(block.visit.job.property)


def _steps(here: Position | None, there: Position | None) -> int:
    """Steps of five minutes that a drive takes, rounded up."""
    return -(round(_minutes(here, there)) // -STEP_MIN)


def _minutes(here: Position | None, there: Position | None) -> float:
    return drive_between(here, there).minutes if here and there else 0.0


def _extra(row: CrewRow, others: Sequence[Block], nth: int, home: Position | None) -> float:
    """Driving more with a stop at `home` as the `nth` among the others than without [min]."""
    base = base_of(row.crew)
    before = _at(others[nth - 1]) if nth else base
    after = _at(others[nth]) if nth < len(others) else base
    without = _minutes(before, after) if others else 0.0
    return _minutes(before, home) + _minutes(home, after) - without


def _in_window(day: date, start: int, windows: Sequence[tuple[datetime, datetime]]) -> int | None:
    """The first step from `start` on that an agreed time allows; None if none does."""
    if not windows:
        return start
    fitting = []
    for opens, closes in windows:
        first = timezone.localtime(opens).date()
        last = timezone.localtime(closes).date()
        if first <= day <= last:
            begins = step_of(opens) if first == day else 0
            ends = step_of(closes) if last == day else 288
            if max(start, begins) <= ends:
                fitting.append(max(start, begins))
    return min(fitting, default=None)


def _warnings(row: CrewRow, track: Track, thing: ToPlace, start: int) -> tuple[str, ...]:
    found = []
    if track.closed is not None:
        found.append(f"{track.closed.words}")
    if start + thing.steps > track.closes:
        found.append(f"{(start + thing.steps - track.closes) * STEP_MIN} min of overtime")
    if thing.due_on is not None and track.day > thing.due_on:
        found.append("after its due date")
    if thing.only_crew is not None and thing.only_crew != row.crew.pk:
        found.append("another crew should do it")
    return tuple(found)


def moment_of(day: date, step: int) -> datetime:
    """The moment of a step of a day, by the local clock."""
    hours, minutes = divmod(step * STEP_MIN, 60)
    return at(day, time(hours, minutes))
