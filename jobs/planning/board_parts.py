"""What a planning board is made of: crews with their days, visits, drives and absences on them.

Plain, immutable records in steps of five minutes after local midnight; `board.py` makes them.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from jobs.models import Crew, Job, ProposedVisit, Visit
from jobs.planning.board_stock import DayStock
from jobs.planning.booking_checks import skills_for
from jobs.planning.lending import lent_to

STEP_MIN = 5
STEPS_A_DAY = 24 * 60 // STEP_MIN
STEPS_AN_HOUR = 60 // STEP_MIN
DAY_CHOICES = (1, 5, 10)
WORKING_WEEK = 5
MOVABLE = (Visit.Status.BOOKED,)

Position = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Leg:
    """Driving to a visit, or home: `minutes` and `km` of the road.

    It ends at `step + steps` and is drawn no longer than there is time; `late_min` is what lacks.
    `straight`: the road-routing server did not tell it; the straight distance stands in.
    """

    step: int
    steps: int
    minutes: int
    km: float
    late_min: int = 0
    straight: bool = False

    @property
    def is_tight(self) -> bool:
        """There is less time between the visits than the drive takes."""
        return self.late_min > 0


@dataclass(frozen=True, slots=True)
class BackAtDepot:
    """The van goes back to the depot for load `number`: `step` and `steps` of loading there.

    `leg`: the drive there; None where the depot or the home before has no position.
    """

    step: int
    steps: int
    number: int
    depot: str
    leg: Leg | None

    @property
    def words(self) -> str:
        return f"back to {self.depot} for load {self.number}"


@dataclass(frozen=True, slots=True)
class Mark:
    """What stands over a visit: a shape, and the word for it."""

    shape: str
    word: str


@dataclass(frozen=True, slots=True)
class Block:
    """One visit on the board.

    `back`: the van goes back to the depot before it. `loads_during`: loads it goes back for
    while the crew is there.
    """

    visit: Visit
    step: int
    steps: int
    minutes: int
    order: int
    volume_m3: float
    leg: Leg | None
    is_late: bool
    is_going: bool = False
    back: BackAtDepot | None = None
    loads_during: tuple[int, ...] = ()

    @property
    def skills(self) -> tuple[str, ...]:
        """What it takes of whoever goes."""
        return tuple(skills_for(self.visit.kind, self.visit.need))

    @property
    def along_skills(self) -> tuple[str, ...]:
        """What those of other crews can do who go along with it, where they can come."""
        found = {skill for person in lent_to(self.visit) for skill in person.skills}
        return tuple(sorted(found))

    @property
    def legs(self) -> tuple[Leg, ...]:
        """The drives to it, by way of the depot or not."""
        legs = (self.back.leg if self.back else None, self.leg)
        return tuple(leg for leg in legs if leg is not None)

    @property
    def during_words(self) -> str:
        """Such as “load 2”, or “loads 2 and 3”."""
        numbers = " and ".join(str(number) for number in self.loads_during)
        return f"load{'s' if len(self.loads_during) > 1 else ''} {numbers}"

    @property
    def can_move(self) -> bool:
        return self.visit.status in MOVABLE

    @property
    def marks(self) -> tuple[Mark, ...]:
        visit = self.visit
        begun = {"on_site": "begun", "done": "done", "stopped": "stopped"}.get(visit.status)
        found = [Mark(begun, visit.get_status_display().lower())] if begun else []
        if self.loads_during:
            found.append(Mark("depot", f"{self.during_words} during it"))
        if self.is_going:
            found.append(Mark("going", "would go"))
        if self.is_late:
            found.append(Mark("late", "late"))
        if visit.held:
            found.append(Mark("held", "held"))
        if visit.promised_at is not None:
            found.append(Mark("promised", "promised"))
        return tuple(found)


@dataclass(frozen=True, slots=True)
class Ghost:
    """Where a plan would put a visit of a job."""

    line: ProposedVisit
    job: Job
    step: int
    steps: int


@dataclass(frozen=True, slots=True)
class Away:
    """A stretch of a day in which a crew is not there, and why.

    `refuses`: a visit cannot be booked then. A holiday, or one operative's absence, only warns.
    """

    step: int
    steps: int
    words: str
    whole_day: bool = False
    refuses: bool = False


@dataclass(frozen=True, slots=True)
class Pause:
    """The crew's break, in the first gap that is long enough; `fits` is False where none is."""

    step: int
    steps: int
    minutes: int
    fits: bool


@dataclass(frozen=True, slots=True)
class Track:
    """One crew on one day. `loads`: how many times the van is loaded for the day's rolls."""

    day: date
    opens: int
    closes: int
    overtime: int
    blocks: tuple[Block, ...]
    away: tuple[Away, ...]
    way_home: Leg | None
    pause: Pause | None
    available_h: float
    booked_h: float
    volume_m3: float
    van_m3: float | None
    ghosts: tuple[Ghost, ...] = ()
    loads: int = 1

    @property
    def closed(self) -> Away | None:
        return next((stretch for stretch in self.away if stretch.whole_day), None)

    @property
    def over_hours(self) -> bool:
        return self.booked_h > self.available_h + 0.01

    @property
    def over_volume(self) -> bool:
        """More rolls than one load holds: the van comes back to the depot during the day."""
        return self.van_m3 is not None and self.volume_m3 > self.van_m3 + 0.01

    @property
    def legs(self) -> tuple[Leg, ...]:
        """Every drive of the day, in order."""
        home = (self.way_home,) if self.way_home else ()
        return (*(leg for block in self.blocks for leg in block.legs), *home)

    @property
    def drive_min(self) -> int:
        return sum(leg.minutes for leg in self.legs)

    @property
    def straight_legs(self) -> int:
        """How many drives are reckoned from the straight distance for want of an answer."""
        return sum(leg.straight for leg in self.legs)


@dataclass(frozen=True, slots=True)
class CrewRow:
    """A crew with its days. `stamp` changes whenever anything shown in the row does."""

    crew: Crew
    skills: frozenset[str]
    tracks: tuple[Track, ...]
    stamp: str

    @property
    def size(self) -> int:
        """How many operatives it has."""
        return len(self.crew.operatives.all())


@dataclass(frozen=True, slots=True)
class HourMark:
    """An hour of the axis and the step it begins at."""

    hour: int
    step: int


@dataclass(frozen=True, slots=True)
class DayHead:
    """What all crews together have on one day."""

    day: date
    available_h: float
    booked_h: float
    visits: int
    holiday: str = ""
    stock: DayStock | None = None

    @property
    def share(self) -> float:
        """Booked hours as a part of the available ones, 0 where there are none."""
        return self.booked_h / self.available_h if self.available_h else 0.0


@dataclass(frozen=True, slots=True)
class Board:
    """`opens` and `hours`: the hour the time axis begins with, and how many it has.

    `run_id`: the run whose proposals are laid over it.
    """

    first: date
    count: int
    days: tuple[date, ...]
    heads: tuple[DayHead, ...]
    rows: tuple[CrewRow, ...]
    opens: int
    hours: int
    run_id: int | None = None

    @property
    def marks(self) -> tuple[HourMark, ...]:
        """The hours written on the axis."""
        hours = range(self.opens, self.opens + self.hours)
        return tuple(HourMark(hour, hour * STEPS_AN_HOUR) for hour in hours)

    @property
    def before(self) -> date:
        return working_days_from(self.first, -self.count)

    @property
    def after(self) -> date:
        return working_days_from(self.first, self.count)


def working_days_from(day: date, count: int) -> date:
    """The day `count` working days (Monday to Friday) after `day`, or before it."""
    step = timedelta(days=1 if count >= 0 else -1)
    left = abs(count)
    while left:
        day += step
        if day.weekday() < WORKING_WEEK:
            left -= 1
    return day


def first_working_day(day: date) -> date:
    while day.weekday() >= WORKING_WEEK:
        day += timedelta(days=1)
    return day
