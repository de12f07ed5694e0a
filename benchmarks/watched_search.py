"""A search watched: the plan it had after each of so many seconds.

Seconds are processor seconds unless the clock is asked for. With several processes they are those
that a machine would take which has a processor for each of them and nothing else to do: what this
process uses, and of each sharing of the work, how long it would take if whoever is free takes the
next part, by the processor seconds that each part took (`Sides.evened_s`).
"""

from __future__ import annotations

import os
import time
from collections.abc import Sequence
from dataclasses import dataclass, field

from jobs.planning.plan import Objective, Plan
from jobs.planning.problem import PlanProblem
from jobs.planning.solving.solve import SolveResult, solve_plan
from jobs.planning.solving.stopping import Progress


@dataclass(slots=True)
class Watch:
    """Ends a search after so many seconds, and tells how many there were."""

    seconds: float
    by_clock: bool
    begun_s: float = field(default_factory=time.monotonic)
    begun_processor_s: float = field(default_factory=time.process_time)
    progress: Progress | None = None

    @property
    def spent_s(self) -> float:
        """Seconds since the start; before the search counts its own, those of this process."""
        if self.by_clock:
            return time.monotonic() - self.begun_s
        if self.progress is None:
            return time.process_time() - self.begun_processor_s
        return self.progress.processor_s

    def __call__(self, progress: Progress) -> bool:
        self.progress = progress
        return self.spent_s >= self.seconds


@dataclass(frozen=True, slots=True)
class Watched:
    """`at[s]`: the plan after s seconds (absent if there was none yet); `first_s`, `first`: the
    first plan; `clock_s`: seconds of the clock in all."""

    result: SolveResult
    at: dict[float, Plan]
    first: Plan
    first_s: float
    clock_s: float


def watched_search(
    problem: PlanProblem,
    seconds: Sequence[float],
    *,
    seed: int,
    cores: int,
    by_clock: bool = False,
    start_from: Plan | None = None,
) -> Watched:
    """One search as long as the longest of those times; each plan at the time it was there."""
    watch = Watch(max(seconds), by_clock)
    at: dict[float, Plan] = {}
    first: list[tuple[float, Plan]] = []

    def note(plan: Plan, objective: Objective, elapsed_s: float) -> None:
        spent_s = watch.spent_s
        if not first:
            first.append((spent_s, plan))
        at.update({limit: plan for limit in seconds if spent_s <= limit})

    result = solve_plan(
        problem, stop=watch, seed=seed, on_better=note, cores=cores, start_from=start_from
    )
    at[max(seconds)] = result.plan
    clock_s = time.monotonic() - watch.begun_s
    return Watched(result, at, first[0][1], first[0][0], clock_s)


def load_of_the_machine() -> str:
    """How busy the machine is, for the report."""
    return (
        f"{len(os.sched_getaffinity(0))} processors, "
        f"load {' '.join(f'{load:.1f}' for load in os.getloadavg())} (1, 5, 15 minutes)"
    )
