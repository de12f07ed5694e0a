"""From a problem to a plan: a first one in a moment, better ones until told to stop."""

from __future__ import annotations

import logging
from collections.abc import Callable
from dataclasses import dataclass
from random import Random

from jobs.planning.checker import check_plan
from jobs.planning.objective import objective_of
from jobs.planning.plan import Objective, Plan
from jobs.planning.problem import PlanProblem
from jobs.planning.solving.draft import Draft
from jobs.planning.solving.first_plan import first_draft
from jobs.planning.solving.reasons import with_reasons
from jobs.planning.solving.rerouting import routable_at_once, route_again, route_everything
from jobs.planning.solving.ruin import accepted, ruined_and_remade
from jobs.planning.solving.stopping import Pacing, Progress, Stop
from jobs.planning.solving.tables import UNITS_PER_POINT, Tables, tables_of

log = logging.getLogger(__name__)

OnBetter = Callable[[Plan, Objective, float], None]
RUINS_IN_A_ROW = 60
SECONDS_BETWEEN_TELLING = 0.5


@dataclass(frozen=True, slots=True)
class SolveResult:
    """What a search came to.

    `plan` breaks no rule but that a required visit may be left out, if it fits nowhere
    (`check_plan` tells). `first_s`: seconds until the first whole plan; `elapsed_s`,
    `processor_s`: in all; `iterations`: steps done.
    """

    plan: Plan
    objective: Objective
    iterations: int
    first_s: float
    elapsed_s: float
    processor_s: float


def solve_plan(
    problem: PlanProblem,
    *,
    stop: Stop,
    seed: int = 0,
    on_better: OnBetter | None = None,
    start_from: Plan | None = None,
    explain: bool = False,
) -> SolveResult:
    """The best plan found until `stop` says so.

    `on_better(plan, objective, elapsed_s)` gets the first plan and better ones as they come, at
    most some two a second. `start_from`: the present plan, kept where nothing is gained by changing
    it. `explain`: work out the reasons of what stayed out at the end. The same seed and an
    `AfterIterations` limit give the same plan.
    """
    search = _Search(tables_of(problem), seed, stop, on_better)
    search.offer(first_draft(search.tables, start_from))
    first_s = search.progress.elapsed_s
    if routable_at_once(search.tables):
        route_everything(search)
    undecided = not all(visit.fixed for visit in problem.visits)
    while undecided and not search.stopped():
        _one_round_of_search(search)
    plan = search.sound_plan()
    if explain:
        plan = with_reasons(problem, plan)
    return SolveResult(
        plan=plan,
        objective=objective_of(problem, plan),
        iterations=search.progress.iterations,
        first_s=first_s,
        elapsed_s=search.progress.elapsed_s,
        processor_s=search.progress.processor_s,
    )


def _one_round_of_search(search: _Search) -> None:
    """Many small changes that know every rule, then one large one that knows routes."""
    now = search.best
    for _ in range(RUINS_IN_A_ROW):
        new = ruined_and_remade(now, search.chance)
        search.step()
        if accepted(now, new, search.chance):
            now = new
        search.offer(now)
        if search.stopped():
            return
    route_again(search)


class _Search:
    """The state that the ways of searching share: the best draft, chance, and when to stop."""

    def __init__(self, tables: Tables, seed: int, stop: Stop, on_better: OnBetter | None) -> None:
        self.tables, self.stop, self.on_better = tables, stop, on_better
        self.chance = Random(seed)
        self.progress = Progress.begin()
        self._best: Draft | None = None
        self._told: Draft | None = None
        self._pacing = Pacing(SECONDS_BETWEEN_TELLING)
        self._sound: Plan | None = None

    @property
    def best(self) -> Draft:
        """The best draft so far."""
        assert self._best is not None, "The first draft is offered before anything asks for it."
        return self._best

    def step(self) -> None:
        """Count one step."""
        self.progress.iterations += 1
        self.progress.since_better += 1

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


MAY_REMAIN = frozenset({"required_left_out", "fixed_left_out"})
