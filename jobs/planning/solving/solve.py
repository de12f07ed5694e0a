"""From a problem to a plan: a first one in a moment, better ones until told to stop."""

from __future__ import annotations

import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from jobs.planning.checker import check_plan
from jobs.planning.objective import objective_of
from jobs.planning.plan import Objective, Plan
from jobs.planning.problem import PlanProblem
from jobs.planning.solving.draft import Draft
from jobs.planning.solving.first_plan import first_draft
from jobs.planning.solving.part_work import PartAnswer
from jobs.planning.solving.reasons import with_reasons
from jobs.planning.solving.rerouting import taken_over
from jobs.planning.solving.sharing import Sharing
from jobs.planning.solving.sides import Sides
from jobs.planning.solving.stopping import Pacing, Progress, Stop, steps_left
from jobs.planning.solving.tables import UNITS_PER_POINT, Tables, tables_of

log = logging.getLogger(__name__)

OnBetter = Callable[[Plan, Objective, float], None]
SECONDS_BETWEEN_TELLING = 0.5
FEWEST_VISITS_TO_SHARE = 30
MAY_REMAIN = frozenset({"required_left_out", "fixed_left_out"})


@dataclass(frozen=True, slots=True)
class SolveResult:
    """What a search came to.

    `plan` breaks no rule but that a required visit may be left out, if it fits nowhere
    (`check_plan` tells). `first_s`: seconds until the first whole plan; `elapsed_s`,
    `processor_s`: in all; `iterations`: steps done by all processes; `lost_processes`: how many of
    those beside this one could not be started or died, the others having gone on.
    """

    plan: Plan
    objective: Objective
    iterations: int
    first_s: float
    elapsed_s: float
    processor_s: float
    lost_processes: int


def solve_plan(
    problem: PlanProblem,
    *,
    stop: Stop,
    seed: int = 0,
    on_better: OnBetter | None = None,
    start_from: Plan | None = None,
    explain: bool = False,
    cores: int = 1,
) -> SolveResult:
    """The best plan found until `stop` says so.

    `on_better(plan, objective, elapsed_s)` gets the first plan and better ones as they come, at
    most some two a second. `start_from`: the present plan, kept where nothing is gained by changing
    it. `explain`: work out the reasons of what stayed out at the end. `cores`: how many processes
    look at the same time, this one among them. The same seed, `cores` and `AfterIterations` limit
    give the same plan, even if a process dies meanwhile.
    """
    progress = Progress.begin()
    undecided = sum(not visit.fixed for visit in problem.visits)
    beside = cores - 1 if undecided >= FEWEST_VISITS_TO_SHARE else 0
    with Sides(problem, beside) as sides:
        search = _Search(tables_of(problem), stop, on_better, progress)
        search.offer(first_draft(search.tables, start_from))
        first_s = progress.elapsed_s
        sharing = Sharing(search.tables, seed, cores)
        while undecided and not search.stopped():
            parts = sharing.parts(search.best, steps_left(stop, progress))
            before = search.best
            shown = None if steps_left(stop, progress) is not None else search.offer
            answers = sides.work(before, parts, search.stopped, shown)
            progress.evened_s = sides.evened_s
            search.count(sum(answer.steps for answer in answers))
            search.offer(joined(before, answers))
            sharing.note(answers, gained=search.best.units < before.units)
        lost = sides.lost
    plan = search.sound_plan()
    if explain:
        plan = with_reasons(problem, plan)
    return SolveResult(
        plan=plan,
        objective=objective_of(problem, plan),
        iterations=progress.iterations,
        first_s=first_s,
        elapsed_s=progress.elapsed_s,
        processor_s=progress.processor_s,
        lost_processes=lost,
    )


def joined(draft: Draft, answers: Sequence[PartAnswer]) -> Draft:
    """The draft with the answer of each part that makes it better, one after the other.

    Parts that took the last of a depot's stock at the same time, or moved two visits that follow
    each other, do not go together: then the earlier part has it.
    """
    for answer in answers:
        if answer.rounds:
            new = taken_over(draft, answer.rounds)
            draft = new if new.units < draft.units else draft
    return draft


class _Search:
    """The best draft, what was told of it, and when to stop."""

    def __init__(
        self, tables: Tables, stop: Stop, on_better: OnBetter | None, progress: Progress
    ) -> None:
        self.tables, self.stop, self.on_better = tables, stop, on_better
        self.progress = progress
        self._best: Draft | None = None
        self._told: Draft | None = None
        self._pacing = Pacing(SECONDS_BETWEEN_TELLING)
        self._sound: Plan | None = None

    @property
    def best(self) -> Draft:
        """The best draft so far."""
        assert self._best is not None, "The first draft is offered before anything asks for it."
        return self._best

    def count(self, steps: int) -> None:
        """Count steps that were done."""
        self.progress.iterations += steps
        self.progress.since_better += steps

    def stopped(self) -> bool:
        """Whether to stop now; also the moment to tell of what got better."""
        if self._pacing.is_due(self.progress):
            self._tell()
            self._pacing.done(self.progress)
        return self.stop(self.progress)

    def offer(self, draft: Draft) -> None:
        """Keep the draft if it is the best so far."""
        if self._best is not None and draft.units >= self._best.units:
            return
        first = self._best is None
        self._best = draft
        self.progress.since_better = 0
        self.progress.best_points = draft.units / UNITS_PER_POINT
        if first:
            self._tell()

    def sound_plan(self) -> Plan:
        """The best plan, as the independent checker lets it pass."""
        self._tell()
        return self._sound or Draft(self.tables).to_plan()

    def _tell(self) -> None:
        """Check what is new, keep it as sound, and tell whoever listens."""
        if self._best is None or self._best is self._told:
            return
        self._told = self._best
        plan = self._best.to_plan()
        problem = self.tables.problem
        broken = [v for v in check_plan(problem, plan) if v.code not in MAY_REMAIN]
        if broken:
            log.error("A plan was thrown away, since it breaks rules: %s", broken[:5])
            return
        self._sound = plan
        if self.on_better is not None:
            self.on_better(plan, objective_of(problem, plan), self.progress.elapsed_s)
