"""What a planner wants of one run, in the office's words: what matters more, what may move."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from enum import StrEnum
from typing import Any

from jobs.planning.disturbance import Disturbance
from jobs.planning.gather import Gathered
from jobs.planning.problem import VisitToPlan
from jobs.planning.standing import clashing_visits, with_visits
from jobs.planning.waiting import Waiting, leave_waiting
from jobs.planning.weights import MOST_POINTS, Weights


class MayMove(StrEnum):
    """Which of the booked visits a run may move. Those held, begun or past never move.

    CLASHES: those whose crew is away or has gone home by then, and those of its day that come
    after a visit which lasts longer. If a run is about one disturbance, only its own.
    """

    ALL = "all"
    UNPROMISED = "unpromised"
    CLASHES = "clashes"
    NOTHING = "nothing"


@dataclass(frozen=True, slots=True)
class Wishes:
    """Factors on the office's usual prices (1 is as usual, 0.01 to 100), and what may move.

    `travel`: driving; `late`: ending after the due time; `overtime`: crews after their day;
    `left_out`: leaving a visit out; `promises`: moving what is booked or promised. `waiting`: what
    becomes of visits that are not booked yet. `disturbed`: what came between, if the run is asked
    for because of it.
    """

    travel: float = 1.0
    late: float = 1.0
    overtime: float = 1.0
    left_out: float = 1.0
    promises: float = 1.0
    may_move: MayMove = MayMove.ALL
    waiting: Waiting = Waiting.PLAN
    disturbed: Disturbance | None = None

    def __post_init__(self) -> None:
        for name in ("travel", "late", "overtime", "left_out", "promises"):
            value = getattr(self, name)
            if not 0.01 <= value <= 100:
                raise ValueError(f"{name} is {value}; give a factor from 0.01 to 100.")
        if self.waiting == Waiting.FREED and self.disturbed is None:
            raise ValueError("waiting is freed; say in `disturbed` whose time is freed.")

    def as_json(self) -> dict[str, Any]:
        return asdict(self) | {"disturbed": self.disturbed and self.disturbed.as_json()}

    @classmethod
    def from_json(cls, kept: Mapping[str, Any]) -> Wishes:
        """What a run's row holds; nothing means as usual."""
        given = dict(kept)
        disturbed = given.get("disturbed")
        read = {
            "may_move": MayMove(given.get("may_move", MayMove.ALL)),
            "waiting": Waiting(given.get("waiting", Waiting.PLAN)),
            "disturbed": Disturbance.from_json(disturbed) if disturbed else None,
        }
        return cls(**given | read)

    def of(self, usual: Weights) -> Weights:
        """The office's weights with these factors on them."""
        return replace(
            usual,
            travel_hour=_priced(usual.travel_hour, self.travel),
            travel_km=_priced(usual.travel_km, self.travel),
            late_hour=_priced(usual.late_hour, self.late),
            overtime_hour=_priced(usual.overtime_hour, self.overtime),
            left_out=tuple(_priced(points, self.left_out) for points in usual.left_out),
            promise_time=_priced(usual.promise_time, self.promises),
            promise_day=_priced(usual.promise_day, self.promises),
            promise_crew=_priced(usual.promise_crew, self.promises),
            promise_tolerance_s=self._tolerance_s(usual),
        )

    def _tolerance_s(self, usual: Weights) -> int:
        """Where only clashes move, what could stay to the minute is not moved by a few of them."""
        return 0 if self.may_move == MayMove.CLASHES else usual.promise_tolerance_s


def wished(gathered: Gathered, wishes: Wishes) -> Gathered:
    """The same problem with the planner's wishes in it."""
    if wishes == Wishes():
        return gathered
    gathered = leave_waiting(gathered, wishes.waiting, wishes.disturbed)
    problem = gathered.problem
    visits = tuple(_wished(gathered, visit, wishes) for visit in problem.visits)
    if wishes.may_move == MayMove.CLASHES:
        clashing = clashing_visits(gathered, visits)
        if wishes.disturbed is not None:
            clashing = {key for key in clashing if wishes.disturbed.touches(gathered.visits[key])}
        free = replace(wishes, may_move=MayMove.ALL)
        visits = tuple(
            _soon(_wished(gathered, was, free), now) if was.key in clashing else now
            for was, now in zip(problem.visits, visits, strict=True)
        )
    return with_visits(gathered, visits, wishes.of(problem.weights))


def _soon(free: VisitToPlan, booked: VisitToPlan) -> VisitToPlan:
    """What has to move is wanted as soon after its time as can be: due when it was to be over."""
    if free.promised is None:
        return free
    over_s = free.promised.starts_s + booked.service_s
    return replace(free, due_s=over_s if free.due_s is None else min(over_s, free.due_s))


def _wished(gathered: Gathered, visit: VisitToPlan, wishes: Wishes) -> VisitToPlan:
    points = visit.left_out_points
    if points is not None:
        points = _priced(points, wishes.left_out)
    if visit.fixed or not _must_stay(visit, wishes.may_move):
        return replace(visit, left_out_points=points)
    booked = gathered.visits[visit.key].during
    booked_s = gathered.seconds(booked.upper) - gathered.seconds(booked.lower)
    return replace(visit, left_out_points=points, fixed=True, service_s=booked_s)


def _must_stay(visit: VisitToPlan, may_move: MayMove) -> bool:
    """A booked visit stays if the planner says so, whatever speaks against it."""
    if visit.promised is None or may_move == MayMove.ALL:
        return False
    return may_move in (MayMove.NOTHING, MayMove.CLASHES) or visit.promised.told


def _priced(points: float, factor: float) -> float:
    return min(points * factor, float(MOST_POINTS))
