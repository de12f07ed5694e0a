"""When to stop searching: small objects that look at the progress and say yes or no."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol


@dataclass(slots=True)
class Progress:
    """How far a search has come.

    `elapsed_s`: seconds of the clock; `processor_s`: seconds of processor time, as if each process
    of the search had a processor for itself; `iterations`: steps done, counted
    when the parts they belong to are joined; `since_better`: steps since the plan last got better;
    `best_points`.
    """

    started_at_s: float
    started_processor_s: float
    iterations: int = 0
    since_better: int = 0
    best_points: float = float("inf")
    evened_s: float = 0.0

    @classmethod
    def begin(cls) -> Progress:
        """Progress that starts now."""
        return cls(time.monotonic(), time.process_time())

    @property
    def elapsed_s(self) -> float:
        """Seconds of the clock since the start."""
        return time.monotonic() - self.started_at_s

    @property
    def processor_s(self) -> float:
        """Seconds of processor time since the start, as if no other program took any."""
        return time.process_time() - self.started_processor_s + self.evened_s


@dataclass(slots=True)
class Pacing:
    """Lets something costly be done now and then, for a tenth of the time at most.

    `least_s`: processor seconds between two times, at least.
    """

    least_s: float
    next_at_s: float = 0.0
    begun_at_s: float = 0.0

    def is_due(self, progress: Progress) -> bool:
        """Whether it is time; if so, the doing begins now."""
        self.begun_at_s = progress.processor_s
        return self.begun_at_s >= self.next_at_s

    def done(self, progress: Progress) -> None:
        """The doing that `is_due` began is over."""
        now_s = progress.processor_s
        self.next_at_s = now_s + max(self.least_s, 9 * (now_s - self.begun_at_s))


class Stop(Protocol):
    """Says whether to stop, asked after every step."""

    def __call__(self, progress: Progress) -> bool: ...


@dataclass(frozen=True, slots=True)
class AfterSeconds:
    """Stop after so many seconds of the clock. Not repeatable: depends on the machine."""

    seconds: float

    def __call__(self, progress: Progress) -> bool:
        return progress.elapsed_s >= self.seconds


@dataclass(frozen=True, slots=True)
class AfterProcessorSeconds:
    """Stop after so many seconds of processor time: fair on a machine that is shared."""

    seconds: float

    def __call__(self, progress: Progress) -> bool:
        return progress.processor_s >= self.seconds


@dataclass(frozen=True, slots=True)
class AfterIterations:
    """Stop after so many steps: the same plan on every machine for the same seed."""

    iterations: int

    def __call__(self, progress: Progress) -> bool:
        return progress.iterations >= self.iterations


@dataclass(frozen=True, slots=True)
class NoImprovement:
    """Stop after so many steps in a row that made nothing better."""

    iterations: int

    def __call__(self, progress: Progress) -> bool:
        return progress.since_better >= self.iterations


@dataclass(frozen=True, slots=True)
class WhenAsked:
    """Stop when that function says so: somebody pressed the button, or the worker must go."""

    asked: Callable[[], bool]

    def __call__(self, progress: Progress) -> bool:
        return self.asked()


@dataclass(frozen=True, slots=True)
class AnyOf:
    """Stop as soon as one of those says so."""

    rules: tuple[Stop, ...]

    def __call__(self, progress: Progress) -> bool:
        return any(rule(progress) for rule in self.rules)


def steps_left(stop: Stop, progress: Progress) -> int | None:
    """After how many steps at most the rule says yes; None if it does not go by steps."""
    match stop:
        case AfterIterations(iterations):
            return max(0, iterations - progress.iterations)
        case NoImprovement(iterations):
            return max(0, iterations - progress.since_better)
        case AnyOf(rules):
            known = [left for rule in rules if (left := steps_left(rule, progress)) is not None]
            return min(known, default=None)
        case _:
            return None
