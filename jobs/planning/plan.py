"""A plan: each crew's round on each day, what stayed out and why, and what it all costs.

Times are integer seconds since the problem's `starts_at`. Plans are plain, immutable values that
can be compared, stored as JSON (`plan_json.py`) and checked (`checker.py`) without a solver.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

StopKind = Literal["visit", "reload", "break"]


@dataclass(frozen=True, slots=True)
class Stop:
    """One stop of a round.

    `kind` "visit": `key` is the visit's, `part` counts from 0. "reload": `key` is the depot's.
    "break": `key` is the break's label. `travel_s`, `travel_m` lead here from the stop before;
    the crew `arrives_s`, waits `wait_s`, works from `starts_s` to `leaves_s`. `rests`: breaks
    taken in the midst of a visit, as (start, end) in seconds; `leaves_s` is later by them.
    """

    kind: StopKind
    key: str
    place: str
    arrives_s: int
    starts_s: int
    leaves_s: int
    travel_s: int
    travel_m: int
    part: int = 0
    rests: tuple[tuple[int, int], ...] = ()

    @property
    def wait_s(self) -> int:
        """Seconds between arriving and starting."""
        return self.starts_s - self.arrives_s


@dataclass(frozen=True, slots=True)
class Round:
    """One crew's way through one day, from its start place to its end place.

    `travel_home_s`, `travel_home_m`: from the last stop to the end place.
    """

    shift: str
    departs_s: int
    returns_s: int
    stops: tuple[Stop, ...]
    travel_home_s: int
    travel_home_m: int

    @property
    def travel_s(self) -> int:
        """Seconds of driving of the whole round."""
        return sum(stop.travel_s for stop in self.stops) + self.travel_home_s

    @property
    def travel_m(self) -> int:
        """Metres of driving of the whole round."""
        return sum(stop.travel_m for stop in self.stops) + self.travel_home_m


@dataclass(frozen=True, slots=True)
class Relief:
    """One rule given way to, for one visit: what would let it in.

    `kind`: "overtime" (`amount` more seconds for `shift`), "window" (a start at `amount` s agreed),
    "earliest" (it may start from `amount` s), "skills", "crew_size" (that shift's crew may do it),
    "split" (its work in `amount` parts on as many days), "hands" (`amount` people do it in less
    time), "crew" (it is free for every crew), "van" (`amount` litres for `shift`), "stock"
    (`amount` more pieces of `item` from the day of `shift` on), "order" (nothing need come
    before), "worth" (leaving it out would cost more than `amount` points). `also`: another rule
    that must
    give way at the same time.
    """

    kind: str
    shift: str = ""
    amount: int = 0
    item: str = ""
    also: Relief | None = None

    @property
    def chain(self) -> tuple[Relief, ...]:
        """This one and all that must give way with it."""
        return (self, *(self.also.chain if self.also is not None else ()))


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a visit is not planned. `code` for code, `words` and `would_help` for a person.

    `would_help` says what would let it in. With a `relief` it was tried out by really relaxing
    that rule; without one it only says where to look.
    """

    code: str
    words: str
    would_help: str = ""
    relief: Relief | None = None


@dataclass(frozen=True, slots=True)
class Unplanned:
    """A visit that is in no round, with the reasons, weightiest first."""

    key: str
    reasons: tuple[Reason, ...] = ()


@dataclass(frozen=True, slots=True)
class Plan:
    """Rounds (at most one a shift; shifts without a round stay at home) and what stayed out."""

    rounds: tuple[Round, ...]
    unplanned: tuple[Unplanned, ...] = ()

    def placed(self) -> Iterator[tuple[Round, Stop]]:
        """Every visit stop with its round."""
        for round_ in self.rounds:
            for stop in round_.stops:
                if stop.kind == "visit":
                    yield round_, stop

    def round_of(self, shift: str) -> Round | None:
        """The round of that shift, None if the crew stays at home."""
        return next((round_ for round_ in self.rounds if round_.shift == shift), None)

    def stops_of(self, key: str) -> tuple[tuple[Round, Stop], ...]:
        """Where a visit lies: one entry a part, none if it is unplanned."""
        return tuple(found for found in self.placed() if found[1].key == key)


@dataclass(frozen=True, slots=True)
class Objective:
    """What a plan costs: amounts in plain units, and each one's points (1 = 1 minute of travel).

    Minutes: `travel_min`, `late_min` (summed over visits), `overtime_min`, `waiting_min` (told,
    not priced). `travel_km`. Counts: `crew_days`, `left_out`, `promises_moved_time`,
    `promises_moved_day`, `promises_other_crew` (those told), `booked_moved` (those not told),
    `not_preferred`. `*_points`: the price of each; `total` their sum.
    """

    travel_min: float = 0.0
    travel_km: float = 0.0
    late_min: float = 0.0
    overtime_min: float = 0.0
    waiting_min: float = 0.0
    crew_days: int = 0
    left_out: int = 0
    promises_moved_time: int = 0
    promises_moved_day: int = 0
    promises_other_crew: int = 0
    booked_moved: int = 0
    not_preferred: int = 0
    travel_points: float = 0.0
    late_points: float = 0.0
    overtime_points: float = 0.0
    crew_day_points: float = 0.0
    left_out_points: float = 0.0
    moved_points: float = 0.0
    not_preferred_points: float = 0.0

    @property
    def total(self) -> float:
        """The sum of all points: what a plan is judged by; lower is better."""
        return (
            self.travel_points
            + self.late_points
            + self.overtime_points
            + self.crew_day_points
            + self.left_out_points
            + self.moved_points
            + self.not_preferred_points
        )


@dataclass(frozen=True, slots=True)
class Violation:
    """A rule that a plan breaks. `code` for code, `where` (shift or visit key), `words`."""

    code: str
    where: str
    words: str


@dataclass(frozen=True, slots=True)
class Fit:
    """Whether a visit can lie somewhere.

    `shift`, `position` (index among the visits of the round before it), `starts_s` of its first
    part, `extra_points` for the plan as a whole; `reasons` if it does not fit.
    """

    ok: bool
    shift: str
    position: int = 0
    starts_s: int = 0
    extra_points: float = 0.0
    reasons: tuple[Reason, ...] = ()


@dataclass(frozen=True, slots=True)
class MovingCost:
    """What moving a placed visit would cost.

    `best` is the best other place (None: it fits nowhere else, and would be left out), and
    `by_component` the difference of each priced component in points, zero ones left away.
    """

    key: str
    best: Fit | None
    extra_points: float
    by_component: tuple[tuple[str, float], ...]
    words: str


@dataclass(frozen=True, slots=True)
class Change:
    """A difference between two plans for one visit, and why.

    `kind`: "added", "removed", "moved_day", "moved_time", "moved_crew". `before`, `after`:
    (shift key, start in seconds) or None. `why`: "absence", "cancelled", "overrun", "new",
    "made_room", "better_route", "no_room"; `words` says it for a person.
    """

    key: str
    kind: str
    before: tuple[str, int] | None
    after: tuple[str, int] | None
    why: str
    words: str
