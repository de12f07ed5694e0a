"""Trying a place out before anything is written: would it be refused, and what would it cost?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.backends.postgresql.psycopg_any import DateTimeTZRange
from django.utils import timezone

from jobs.errors import Refused
from jobs.models import Crew, Property, Van, Visit, VisitNeed
from jobs.planning.booking import check_stage, hours_of, refuse_past, span
from jobs.planning.booking_checks import Intended, objections
from jobs.planning.calendars import at, holiday_on
from jobs.planning.clashes import clashing_visits, in_words
from jobs.planning.going_along import left_behind
from jobs.planning.spelling import spell_minutes
from jobs.planning.travel import Drive, Position, drive_between, known_roads

NOT_BY_ROAD = "The road-routing server does not tell its drives now: straight distances stand in."


@dataclass(frozen=True, slots=True)
class Trial:
    """What would become of a visit at a place.

    `words`: why it would be refused, nothing if it would not. `warnings`: what a planner should
    know and may decide. `extra_travel_min`: how much more the crews drive; None without positions.
    `leaves`: ids of operatives who go along so far and could not come; a warning names each.
    """

    ok: bool
    words: tuple[str, ...]
    warnings: tuple[str, ...]
    extra_travel_min: float | None
    leaves: tuple[int, ...] = ()


def try_move(visit: Visit, crew: Crew, starts_at: datetime, *, hours: float | None = None) -> Trial:
    """What `move_visit` would say; the van goes along unless the crew changes."""
    van = visit.van if crew.pk == visit.crew_id else crew.van
    try:
        during = span(starts_at, hours if hours is not None else hours_of(visit))
    except Refused as refusal:
        return _refused(refusal)
    intended = Intended(visit.job, visit.kind, crew, van, during, visit.need, visit=visit)
    refusals = list(objections(intended))
    if visit.status != Visit.Status.BOOKED:
        word = visit.get_status_display().lower()
        refusals.insert(0, Refused(f"This visit is “{word}” and cannot be moved."))
    return _trial(intended, refusals)


def try_booking(
    need: VisitNeed, crew: Crew, starts_at: datetime, *, part: int = 1, hours: float | None = None
) -> Trial:
    """What `book_visit` for a part (from 1) of a need would say, with the crew's usual van."""
    try:
        during = span(starts_at, hours if hours is not None else need.part_hours[part - 1])
        check_stage(need.job, need.kind)
    except Refused as refusal:
        return _refused(refusal)
    intended = Intended(need.job, need.kind, crew, crew.van, during, need)
    return _trial(intended, list(objections(intended)))


def _refused(refusal: Refused) -> Trial:
    return Trial(False, (str(refusal),), (), None)


def _trial(intended: Intended, refusals: list[Refused]) -> Trial:
    try:
        refuse_past(intended.during.lower)
    except Refused as refusal:
        refusals.insert(0, refusal)
    clashes = clashing_visits(intended.during, intended.crew, intended.van, but=intended.visit)
    words = (*(str(refusal) for refusal in refusals), *(in_words(visit) for visit in clashes))
    with known_roads(_stops_about(intended)):
        neighbours, visit = _Neighbours.of(intended), intended.visit
        left = left_behind(visit, intended.crew, intended.during) if visit is not None else []
        warnings = (*(each.sentence for each in left), *_warnings(intended), *neighbours.warnings())
        leaves = tuple(each.person.pk for each in left)
        return Trial(not words, words, warnings, neighbours.extra_travel_min(), leaves)


# --- What a planner should know


def _warnings(intended: Intended) -> Iterator[str]:
    yield from _calendar_warnings(intended.crew, intended.during)
    need = intended.need
    if need is None:
        return
    starts = timezone.localtime(intended.during.lower)
    if need.due_on and starts.date() > need.due_on:
        yield f"It was due on {need.due_on:%-d %b}."
    if need.earliest_on and starts.date() < need.earliest_on:
        yield f"It should not begin before {need.earliest_on:%-d %b}."
    windows = list(need.windows.all())
    if windows and not any(
        window.during.lower <= intended.during.lower <= window.during.upper for window in windows
    ):
        agreed = ", ".join(_window_words(window.during) for window in windows[:3])
        yield f"The householder agreed to another time: {agreed}."
    yield from _crew_warnings(need, intended.crew, intended.van)


def _calendar_warnings(crew: Crew, during: DateTimeTZRange) -> Iterator[str]:
    starts, ends = timezone.localtime(during.lower), timezone.localtime(during.upper)
    holiday = holiday_on(starts.date(), crew.nation)
    if holiday:
        yield f"{starts:%-d %b} is a bank holiday for {crew} ({holiday})."
    elif starts.isoweekday() not in crew.works_on:
        yield f"{crew} does not usually work on {starts:%A}s."
    closes = at(starts.date(), crew.day_ends_at)
    if starts < at(starts.date(), crew.day_starts_at):
        yield f"{crew}'s day begins at {crew.day_starts_at:%H:%M}."
    if ends > closes + timedelta(minutes=crew.overtime_minutes):
        over = (ends - closes).total_seconds() / 60
        yield f"{crew} would work {over:.0f} min longer than its day."


def _crew_warnings(need: VisitNeed, crew: Crew, van: Van | None) -> Iterator[str]:
    if need.fixed_crew_id and need.fixed_crew_id != crew.pk:
        yield f"Only {need.fixed_crew} should do it."
    elif need.preferred_crew_id and need.preferred_crew_id != crew.pk:
        yield f"{need.preferred_crew} was meant to do it."
    if any(barred.pk == crew.pk for barred in need.barred_crews.all()):
        yield f"{crew} should not be sent to this home."
    size = len(crew.operatives.all())
    if size < need.crew_size:
        yield f"It needs {need.crew_size} operatives; {crew} has {size}."
    if van is not None and need.volume_m3 > van.load_volume_m3:
        yield (
            f"Its rolls take {need.volume_m3:.1f} m³; {van} holds {van.load_volume_m3:.1f} m³: "
            "more than one load."
        )


def _window_words(during: DateTimeTZRange) -> str:
    starts, ends = timezone.localtime(during.lower), timezone.localtime(during.upper)
    if starts.date() == ends.date():
        return f"{starts:%a %-d %b %H:%M}–{ends:%H:%M}"
    return f"{starts:%a %-d %b %H:%M} to {ends:%a %-d %b %H:%M}"


# --- Drives to and from the visits beside it


def _stops_about(intended: Intended) -> Iterator[list[Position | None]]:
    """Where the crew is on the day it is meant for, and where it was to be seen so far."""
    visit = intended.visit
    days = [(intended.crew, intended.during.lower)]
    days += [(visit.crew, visit.during.lower)] if visit is not None else []
    for crew, moment in days:
        others = _of_day(crew, timezone.localtime(moment).date(), None)
        homes = [intended.job.property, *(other.job.property for other in others)]
        yield [_base(crew), *(_position(home) for home in homes)]


@dataclass(frozen=True, slots=True)
class _Neighbours:
    """The visits of the crew before and after, and where the visit was driven to from so far."""

    intended: Intended
    before: Visit | None
    after: Visit | None
    saved_min: float

    @classmethod
    def of(cls, intended: Intended) -> _Neighbours:
        day = timezone.localtime(intended.during.lower).date()
        visits = _of_day(intended.crew, day, intended.visit)
        before = [v for v in visits if v.during.lower < intended.during.lower]
        after = [v for v in visits if v.during.lower >= intended.during.lower]
        saved = _saved(intended.visit) if intended.visit else 0.0
        return cls(intended, before[-1] if before else None, after[0] if after else None, saved)

    def warnings(self) -> Iterator[str]:
        """Drives that take longer than there is time."""
        here = _position(self.intended.job.property)
        if here is None:
            yield "The home has no position: drives to it are unknown."
            return
        during = self.intended.during
        if self.before is not None:
            gap = during.lower - self.before.during.upper
            yield from _tight(self.before, here, gap, "from")
        if self.after is not None:
            yield from _tight(self.after, here, self.after.during.lower - during.upper, "to")
        if any(drive.straight for drive in self.drives()):
            yield NOT_BY_ROAD

    def drives(self) -> Iterator[Drive]:
        """The drives to it and on from it."""
        here, base = _position(self.intended.job.property), _base(self.intended.crew)
        for other in (self.before, self.after):
            there = _position(other.job.property) if other else base
            if here is not None and there is not None:
                yield drive_between(there, here)

    def extra_travel_min(self) -> float | None:
        here, base = _position(self.intended.job.property), _base(self.intended.crew)
        if here is None:
            return None
        start = _position(self.before.job.property) if self.before else base
        end = _position(self.after.job.property) if self.after else base
        without = _minutes(start, end) if self.before or self.after else 0.0
        return _minutes(start, here) + _minutes(here, end) - without - self.saved_min


def _tight(other: Visit, here: Position, gap: timedelta, way: str) -> Iterator[str]:
    there = _position(other.job.property)
    minutes = drive_between(there, here).minutes if there else 0.0
    short = minutes - gap.total_seconds() / 60
    if 0.5 <= short and gap >= timedelta(0):
        home = other.job.property.address_line_1
        takes, lacks = spell_minutes(minutes), spell_minutes(short)
        yield f"The drive {way} {home} takes {takes}, {lacks} more than there is."


def _saved(visit: Visit) -> float:
    """What is driven less once the visit is no more where it is [min]."""
    day = timezone.localtime(visit.during.lower).date()
    others = _of_day(visit.crew, day, visit)
    base, here = _base(visit.crew), _position(visit.job.property)
    if here is None:
        return 0.0
    before = [v for v in others if v.during.lower < visit.during.lower]
    after = [v for v in others if v.during.lower >= visit.during.lower]
    start = _position(before[-1].job.property) if before else base
    end = _position(after[0].job.property) if after else base
    without = _minutes(start, end) if others else 0.0
    return _minutes(start, here) + _minutes(here, end) - without


def _of_day(crew: Crew, day: date, but: Visit | None) -> list[Visit]:
    visits = Visit.objects.live().on_day(day).filter(crew=crew)
    if but is not None:
        visits = visits.exclude(pk=but.pk)
    return list(visits.select_related("job__property").order_by("during"))


def _minutes(start: Position | None, end: Position | None) -> float:
    drive: Drive | None = drive_between(start, end) if start and end else None
    return drive.minutes if drive else 0.0


def _position(home: Property) -> Position | None:
    if home.latitude_deg is None or home.longitude_deg is None:
        return None
    return home.latitude_deg, home.longitude_deg


def _base(crew: Crew) -> Position | None:
    if crew.base_latitude_deg is None or crew.base_longitude_deg is None:
        return None
    return crew.base_latitude_deg, crew.base_longitude_deg
