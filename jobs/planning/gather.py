"""From the database to a planning problem: one company, some days, from a moment on.

The number of queries does not depend on how many crews, visits or days there are. Keys of the
problem: `crew:7`, `crew:7:2026-12-01` (its shift), `visit:9` (booked), `need:4` (waits),
`depot:2`; the same keys name the places they start from or lie at.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta

from django.utils import timezone

from jobs.errors import Conflict
from jobs.models import Company, Crew, Visit, VisitNeed
from jobs.planning.booked_days import opened_for_bookings
from jobs.planning.calendars import WorkingDay, at, away_between, days_from, midnight, working_day
from jobs.planning.gather_depots import Depots, depots_of, with_booked_covered
from jobs.planning.gather_visits import Left, VisitsToPlan, visits_to_plan
from jobs.planning.plan import Reason
from jobs.planning.prices import weights_of
from jobs.planning.problem import Break, Place, PlanProblem, Shift
from jobs.planning.standing import with_visits
from jobs.planning.travel import Position, travel_matrix
from jobs.planning.weights import Weights


@dataclass(frozen=True, slots=True)
class Gathered:
    """A problem and what its keys mean. `left`: what could not even be put to the solver.

    `parts`: which parts (from 1) of a need its key stands for, in order. `aside`: booked visits
    that stay although their crew cannot be planned for them (`standing.py`); not in the problem.
    `item_names`: kept items by code, which the problem knows them by. `overruns`: visits, by key,
    that will end later than booked.
    """

    problem: PlanProblem
    crews: Mapping[str, Crew]
    visits: Mapping[str, Visit]
    needs: Mapping[str, VisitNeed]
    parts: Mapping[str, tuple[int, ...]]
    left: tuple[Left, ...]
    notes: tuple[str, ...]
    aside: Mapping[str, Visit] = field(default_factory=dict)
    item_names: Mapping[str, str] = field(default_factory=dict)
    overruns: frozenset[str] = frozenset()

    def moment(self, seconds: int) -> datetime:
        """The moment that many seconds after the problem's start."""
        return self.problem.local(seconds)

    def seconds(self, moment: datetime) -> int:
        return _seconds_between(self.problem.starts_at, moment)


@dataclass(frozen=True, slots=True)
class Frame:
    """The days that are planned: `now` and whole days from the midnight before the first."""

    company_id: int
    days: tuple[date, ...]
    starts_at: datetime
    ends_at: datetime
    now: datetime

    def seconds(self, moment: datetime) -> int:
        return _seconds_between(self.starts_at, moment)

    def day_index(self, moment: datetime) -> int | None:
        day = timezone.localtime(moment).date()
        return self.days.index(day) if day in self.days else None


def _seconds_between(start: datetime, moment: datetime) -> int:
    """Real seconds: two times of one zone subtract by the clock, an hour off when it changes."""
    return round(moment.timestamp() - start.timestamp())


def gather(
    company: Company,
    first_day: date,
    days: int,
    *,
    from_moment: datetime | None = None,
    weights: Weights | None = None,
    overruns: Mapping[int, datetime] | None = None,
) -> Gathered:
    """Everything a plan of these days is made from.

    What begins before `from_moment` (now, by default) stays where it is, as do visits that a
    planner holds. `overruns`: visits, by id, that will end later than booked; they stay too.
    `weights`: the office's prices of today unless given.

    Raises:
        Conflict: no crew can be sent on any of the days.
    """
    frame = frame_of(company, first_day, days, from_moment)
    crews = crews_of(company)
    depots = depots_of(frame, crews)
    rota = _rota(frame, crews)
    based, notes = _with_start(crews, depots)
    shifts = tuple(_shift(frame, working, depots) for working in rota if working.crew.pk in based)
    if not shifts:
        raise Conflict(
            "No crew can be sent on these days.",
            field="first_day",
            remedy=" ".join(notes) or "Look at absences, holidays and the crews' days.",
        )
    weights = weights or weights_of(company)
    by_key = {shift.key: shift for shift in shifts}
    found = visits_to_plan(frame, crews, by_key, depots, overruns or {}, weights)
    depots = with_booked_covered(
        depots, found.visits, {crew_key(crew): depots.key_of(crew) for crew in crews}
    )
    places = _places(crews, based, depots, found)
    matrices = travel_matrix([(p.latitude_deg, p.longitude_deg) for p in places])
    problem = PlanProblem(
        starts_at=frame.starts_at,
        days=frame.days,
        places=places,
        travel=matrices.as_travel(),
        visits=(),
        shifts=shifts,
        depots=depots.to_plan,
        weights=weights,
        now_s=max(0, frame.seconds(frame.now)),
    )
    frame_only = Gathered(
        problem,
        {crew_key(crew): crew for crew in crews},
        found.booked,
        found.needs,
        found.parts,
        found.left,
        (*notes, *depots.notes, *found.notes, *matrices.notes),
        item_names=depots.item_names,
        overruns=frozenset(f"visit:{pk}" for pk in overruns or {}),
    )
    shifts = opened_for_bookings(problem, found.visits)
    return with_visits(replace(frame_only, problem=replace(problem, shifts=shifts)), found.visits)


def frame_of(
    company: Company, first_day: date, days: int, from_moment: datetime | None = None
) -> Frame:
    span = days_from(first_day, days)
    now = from_moment or timezone.now()
    return Frame(company.pk, span, midnight(first_day), midnight(span[-1] + timedelta(days=1)), now)


def crews_of(company: Company) -> list[Crew]:
    """Bookable crews with van, depot and operatives. Two queries."""
    crews = Crew.objects.filter(company=company, is_active=True)
    return list(crews.select_related("van", "depot").prefetch_related("operatives"))


def crew_key(crew: Crew) -> str:
    return f"crew:{crew.pk}"


def shift_key(crew_id: int, day: date) -> str:
    return f"crew:{crew_id}:{day.isoformat()}"


def no_position(what: str) -> Reason:
    return Reason(
        "no_position",
        f"{what} has no position, so no drive to it can be worked out.",
        "Give its latitude and longitude.",
    )


def _rota(frame: Frame, crews: Sequence[Crew]) -> list[WorkingDay]:
    away = away_between(frame.company_id, frame.starts_at, frame.ends_at)
    found = (working_day(crew, day, away) for crew in crews for day in frame.days)
    return [working for working in found if working is not None and working.closes > frame.now]


def _with_start(
    crews: Sequence[Crew], depots: Depots
) -> tuple[dict[int, Position], tuple[str, ...]]:
    """Where each crew starts and ends its day: its base, or else its depot."""
    based: dict[int, Position] = {}
    notes = []
    for crew in crews:
        if crew.base_latitude_deg is not None and crew.base_longitude_deg is not None:
            based[crew.pk] = (crew.base_latitude_deg, crew.base_longitude_deg)
        elif crew.depot_id in depots.positions:
            based[crew.pk] = depots.positions[crew.depot_id]
            notes.append(f"{crew.name} has no base of its own; its days start at its depot.")
        else:
            notes.append(
                f"{crew.name} has no base and is not planned: "
                "give its latitude and longitude on the crews page."
            )
    return based, tuple(notes)


def _shift(frame: Frame, working: WorkingDay, depots: Depots) -> Shift:
    crew, day = working.crew, working.day
    base = crew_key(crew)
    return Shift(
        key=shift_key(crew.pk, day),
        crew=crew_key(crew),
        crew_label=crew.name,
        day=frame.days.index(day),
        opens_s=frame.seconds(working.opens),
        closes_s=frame.seconds(working.closes),
        start_place=base,
        end_place=base,
        overtime_s=crew.overtime_minutes * 60 if _whole_evening(working) else 0,
        breaks=_breaks(frame, working),
        depot=depots.key_of(crew),
        van_volume_m3=crew.van.load_volume_m3 if crew.van else None,
        skills=working.skills,
        crew_size=working.crew_size,
    )


def _whole_evening(working: WorkingDay) -> bool:
    """No absence cuts the end of the day off, so that it may be longer."""
    return working.closes == at(working.day, working.crew.day_ends_at)


def _breaks(frame: Frame, working: WorkingDay) -> tuple[Break, ...]:
    """The crew's own break where it is in the day and apart from its pauses, and those."""
    found = [
        Break(
            frame.seconds(pause.begins),
            frame.seconds(pause.begins),
            frame.seconds(pause.ends) - frame.seconds(pause.begins),
            label=f"Away ({pause.why})",
            within_visit=False,
        )
        for pause in working.pauses
    ]
    crew = working.crew
    if crew.break_minutes:
        length = crew.break_minutes * 60
        earliest = frame.seconds(at(working.day, crew.break_earliest))
        latest = frame.seconds(at(working.day, crew.break_latest))
        opens, closes = frame.seconds(working.opens), frame.seconds(working.closes)
        clear = all(
            latest + length <= away.earliest_s or away.earliest_s + away.length_s <= earliest
            for away in found
        )
        if opens <= earliest and latest + length <= closes and clear:
            found.append(Break(earliest, latest, length))
    return tuple(sorted(found, key=lambda rest: rest.earliest_s))


def _places(
    crews: Sequence[Crew], based: Mapping[int, Position], depots: Depots, found: VisitsToPlan
) -> tuple[Place, ...]:
    bases = [
        Place(crew_key(crew), f"{crew.name}, base", *based[crew.pk])
        for crew in crews
        if crew.pk in based
    ]
    return (*bases, *depots.places, *found.places)
