"""What is to be planned: visits, crews' shifts, depots, travel and prices. Plain, immutable data.

Every time is an integer number of seconds since `PlanProblem.starts_at`; volumes are cubic
metres; distances metres. Nothing here knows of a database: a problem can be built from one, from
a benchmark file or by hand, and everything that plans, checks or explains reads only this.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from jobs.planning.plan_errors import require
from jobs.planning.problem_checks import check_problem
from jobs.planning.weights import PRIORITIES, Weights

Matrix = npt.NDArray[np.int64]
NOTHING: Mapping[str, int] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class Place:
    """Somewhere a crew can be: a home, a depot, a base. Degrees are WGS 84."""

    key: str
    label: str = ""
    latitude_deg: float = 0.0
    longitude_deg: float = 0.0

    def __post_init__(self) -> None:
        inside = -90 <= self.latitude_deg <= 90 and -180 <= self.longitude_deg <= 180
        found = f"lies at {self.latitude_deg}, {self.longitude_deg}."
        require(inside, self.key, "latitude_deg", found, "Give degrees on the globe.")


@dataclass(frozen=True, slots=True, eq=False)
class Travel:
    """Driving times in seconds and distances in metres, from row to column, by place index.

    Both are square arrays of integers >= 0 with a diagonal of 0; they may be asymmetric.
    """

    seconds: Matrix
    metres: Matrix

    def __post_init__(self) -> None:
        for name in ("seconds", "metres"):
            given = np.array(getattr(self, name), dtype=np.int64)
            square = given.ndim == 2 and given.shape[0] == given.shape[1]
            require(square, "travel", name, f"has shape {given.shape}.", "Give a square matrix.")
            fine = bool((given >= 0).all()) and not given.diagonal().any()
            remedy = "Give numbers from 0 on, 0 from a place to itself."
            require(fine, "travel", name, "has a negative value or a loop.", remedy)
            given.setflags(write=False)
            object.__setattr__(self, name, given)
        same = self.seconds.shape == self.metres.shape
        require(same, "travel", "metres", "differs in size from seconds.", "Give both alike.")


@dataclass(frozen=True, slots=True)
class Window:
    """A time agreed with the householder, or opening hours: seconds from and to, both included.

    A visit must start inside (that is when the crew is expected at the door); with `whole` it
    must also end inside.
    """

    opens_s: int
    closes_s: int
    whole: bool = False

    def __post_init__(self) -> None:
        found = f"opens at {self.opens_s} s and closes at {self.closes_s} s."
        require(self.opens_s <= self.closes_s, "window", "closes_s", found, "Close it later.")


@dataclass(frozen=True, slots=True)
class After:
    """A visit that must have ended (its last part) before another starts, with a gap in seconds."""

    key: str
    gap_s: int = 0


@dataclass(frozen=True, slots=True)
class Promise:
    """Where a visit stands now: crew and start. `told`: the householder knows of it."""

    crew: str
    starts_s: int
    told: bool = True


@dataclass(frozen=True, slots=True)
class VisitToPlan:
    """One visit to be planned, with everything that decides where it may lie.

    `place`: key of a place. `service_s`: seconds at the door, all parts together.
    `windows`: it starts inside one of them (of several, any); none means any time.
    `earliest_s`: not before. `due_s`: ending later is late (soft, priced).
    `priority`: 1 to 5, 5 the most urgent. `skills`, `crew_size`: what the crew must have.
    `volume_m3`, `stock`: what the van must carry, and pieces of each item from the depot.
    `goods_ready_s`: its goods can be loaded at the depot from then on.
    `fixed_crew`: only this one; `preferred_crews`: others cost; `barred_crews`: never.
    `after`: what must have ended before. `parts_s`: seconds on each day of a job longer than a
    day, in order, on consecutive working days of one crew (windows bind the first part; load and
    stock are shared out by length). `promised`: where it stands now; moving it costs.
    `fixed`: it may not move from there, and what a person fixed is not judged by the rules.
    `required`: a plan must have it. `left_out_points`: what leaving it out costs, in points,
    instead of the weight of its priority.
    """

    key: str
    place: str
    service_s: int
    label: str = ""
    windows: tuple[Window, ...] = ()
    earliest_s: int = 0
    due_s: int | None = None
    priority: int = 3
    skills: frozenset[str] = frozenset()
    crew_size: int = 1
    volume_m3: float = 0.0
    stock: Mapping[str, int] = field(default_factory=lambda: NOTHING)
    goods_ready_s: int = 0
    fixed_crew: str | None = None
    preferred_crews: frozenset[str] = frozenset()
    barred_crews: frozenset[str] = frozenset()
    after: tuple[After, ...] = ()
    parts_s: tuple[int, ...] = ()
    promised: Promise | None = None
    fixed: bool = False
    required: bool = False
    left_out_points: float | None = None

    def __post_init__(self) -> None:
        key = self.key
        require(bool(key), "visit", "key", "is empty.", "Give each visit a key of its own.")
        require(self.service_s >= 0, key, "service_s", f"is {self.service_s}.", "Give 0 or more.")
        known = self.priority in PRIORITIES
        require(known, key, "priority", f"is {self.priority}.", "Give a whole number, 1 to 5.")
        require(self.crew_size >= 1, key, "crew_size", f"is {self.crew_size}.", "Give 1 or more.")
        require(self.volume_m3 >= 0, key, "volume_m3", f"is {self.volume_m3}.", "Give 0 or more.")
        enough = all(count >= 0 for count in self.stock.values())
        require(enough, key, "stock", "has a negative count.", "Give pieces, 0 or more.")
        whole = not self.parts_s or sum(self.parts_s) == self.service_s
        found = f"add up to {sum(self.parts_s)} s, service_s is {self.service_s} s."
        require(whole, key, "parts_s", found, "Make the parts add up to service_s.")
        ever = all(part > 0 for part in self.parts_s)
        require(ever, key, "parts_s", "has an empty part.", "Give each part some time.")
        placed = not self.fixed or self.promised is not None
        require(placed, key, "fixed", "stands nowhere yet.", "Give `promised`, or do not fix it.")
        one = not (self.fixed and len(self.parts_s) > 1)
        remedy = "Give each booked part as a fixed visit of its own."
        require(one, key, "fixed", "has several parts.", remedy)
        apart = self.fixed_crew not in self.barred_crews
        require(apart, key, "fixed_crew", "is barred as well.", "Take it off one of the two.")

    @property
    def lengths_s(self) -> tuple[int, ...]:
        """Seconds of each part; one part for an ordinary visit."""
        return self.parts_s or (self.service_s,)

    def part_volume_m3(self, part: int) -> float:
        """Cubic metres that part needs: the volume shared out by length."""
        if len(self.lengths_s) == 1:
            return self.volume_m3
        return self.volume_m3 * self.lengths_s[part] / self.service_s

    def part_stock(self, part: int) -> dict[str, int]:
        """Pieces of each item that part needs: shared out by length, whole pieces, none lost."""
        if len(self.lengths_s) == 1:
            return dict(self.stock)
        before_s = sum(self.lengths_s[:part])
        until_s = before_s + self.lengths_s[part]
        total_s = self.service_s
        return {
            item: -(-count * until_s // total_s) - -(-count * before_s // total_s)
            for item, count in self.stock.items()
        }


@dataclass(frozen=True, slots=True)
class Break:
    """A rest, or another time away in the middle of a shift, that starts between two times.

    It lies between stops, in the midst of a visit if `within_visit` (which then ends later by its
    length), or at base before the crew sets off or after it is back. `earliest_s` = `latest_s`
    says exactly when; together with `within_visit=False` that is a crew away for an hour.
    """

    earliest_s: int
    latest_s: int
    length_s: int
    label: str = "Break"
    within_visit: bool = True

    def __post_init__(self) -> None:
        found = f"starts from {self.earliest_s} s to {self.latest_s} s."
        require(self.earliest_s <= self.latest_s, "break", "latest_s", found, "Give it in order.")
        require(self.length_s > 0, "break", "length_s", f"is {self.length_s}.", "Give some time.")


@dataclass(frozen=True, slots=True)
class Shift:
    """One crew on one day, absences and holidays already taken out.

    `day`: index into `PlanProblem.days`. The crew leaves `start_place` not before `opens_s` and
    is back at `end_place` by `closes_s`, or up to `overtime_s` later at a price. Its van starts
    loaded from `depot` and can reload there; without a depot it never reloads, and no stock is
    counted. `van_volume_m3` None: no limit. `first_start_s`: no visit starts before, though the
    crew may set off (0: it is free to).
    """

    key: str
    crew: str
    day: int
    opens_s: int
    closes_s: int
    start_place: str
    end_place: str
    crew_label: str = ""
    overtime_s: int = 0
    breaks: tuple[Break, ...] = ()
    depot: str | None = None
    van_volume_m3: float | None = None
    skills: frozenset[str] = frozenset()
    crew_size: int = 1
    first_start_s: int = 0

    def __post_init__(self) -> None:
        found = f"opens at {self.opens_s} s and closes at {self.closes_s} s."
        require(self.opens_s < self.closes_s, self.key, "closes_s", found, "Close it later.")
        found = f"is {self.overtime_s}."
        require(self.overtime_s >= 0, self.key, "overtime_s", found, "Give 0 or more.")
        room = self.van_volume_m3 is None or self.van_volume_m3 >= 0
        require(room, self.key, "van_volume_m3", f"is {self.van_volume_m3}.", "Give 0 or more.")
        ends = [(rest.earliest_s, rest.latest_s + rest.length_s) for rest in self.breaks]
        apart = all(now[1] <= later[0] for now, later in zip(ends, ends[1:], strict=False))
        require(apart, self.key, "breaks", "may overlap.", "Give them in order and apart.")


@dataclass(frozen=True, slots=True)
class DepotToPlan:
    """Where vans load. `windows`: when it is open; none means always. `reload_s`: one reload.

    `stock_by_day[d]` is how many pieces of each item can have been loaded, in all, by the end of
    day `d`: what lies there now and every delivery expected until then. An item that is not named
    is not counted. Empty: no stock is counted.
    """

    key: str
    place: str
    label: str = ""
    windows: tuple[Window, ...] = ()
    stock_by_day: tuple[Mapping[str, int], ...] = ()
    reload_s: int = 0

    def __post_init__(self) -> None:
        found = f"is {self.reload_s}."
        require(self.reload_s >= 0, self.key, "reload_s", found, "Give 0 or more.")


@dataclass(frozen=True, slots=True, eq=False, weakref_slot=True)
class PlanProblem:
    """All that a plan is made from.

    `starts_at`: an aware time, local midnight of the first of `days`; in its zone, which should be
    the office's own, days are told apart and times are said. `now_s`: nothing that is
    not fixed sets off or starts before. `start_step_s`: visits that are not fixed start on a
    multiple of it (300: on five minutes). Raises `PlanProblemError` with the key and a remedy.
    """

    starts_at: datetime
    days: tuple[date, ...]
    places: tuple[Place, ...]
    travel: Travel
    visits: tuple[VisitToPlan, ...]
    shifts: tuple[Shift, ...]
    depots: tuple[DepotToPlan, ...] = ()
    weights: Weights = field(default_factory=Weights)
    now_s: int = 0
    start_step_s: int = 300
    visit_index: Mapping[str, int] = field(init=False)
    shift_index: Mapping[str, int] = field(init=False)
    place_index: Mapping[str, int] = field(init=False)
    depot_index: Mapping[str, int] = field(init=False)

    def __post_init__(self) -> None:
        for kind in ("visit", "shift", "place", "depot"):
            things = getattr(self, f"{kind}s")
            index = {thing.key: number for number, thing in enumerate(things)}
            unique = len(index) == len(things)
            require(unique, f"{kind}s", "key", "holds a key twice.", "Give each its own key.")
            object.__setattr__(self, f"{kind}_index", index)
        check_problem(self)

    def visit(self, key: str) -> VisitToPlan:
        """The visit of that key (`KeyError` if there is none)."""
        return self.visits[self.visit_index[key]]

    def shift(self, key: str) -> Shift:
        """The shift of that key (`KeyError` if there is none)."""
        return self.shifts[self.shift_index[key]]

    def depot(self, key: str) -> DepotToPlan:
        """The depot of that key (`KeyError` if there is none)."""
        return self.depots[self.depot_index[key]]

    def local(self, at_s: int) -> datetime:
        """The moment that many seconds after the start, on the clock of `starts_at`'s zone."""
        moment = self.starts_at.astimezone(UTC) + timedelta(seconds=at_s)
        return moment.astimezone(self.starts_at.tzinfo)

    def travel_s(self, origin: str, goal: str) -> int:
        """Seconds of driving between two places, by their keys."""
        return int(self.travel.seconds[self.place_index[origin], self.place_index[goal]])

    def travel_m(self, origin: str, goal: str) -> int:
        """Metres of driving between two places, by their keys."""
        return int(self.travel.metres[self.place_index[origin], self.place_index[goal]])

    def crew_shifts(self, crew: str) -> tuple[Shift, ...]:
        """The crew's shifts in order of time: its working days."""
        own = (shift for shift in self.shifts if shift.crew == crew)
        return tuple(sorted(own, key=lambda shift: shift.opens_s))
