"""Routing some rounds anew: which ones belong together, and taking PyVRP's answer over."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from random import Random
from typing import Protocol

import numpy as np
import pyvrp

from jobs.planning.solving.draft import GONE, Draft
from jobs.planning.solving.first_plan import by_urgency, drop_incomplete, take_sequence
from jobs.planning.solving.insertion import insert_all
from jobs.planning.solving.routes import RoutingProblem, Wanted, improve, is_held
from jobs.planning.solving.stopping import Progress
from jobs.planning.solving.tables import RELOAD, Tables
from jobs.planning.solving.timing import EMPTY, Timed

EXTRA_TASKS = 40
MOST_PROFILES_AT_ONCE = 4
FEWEST_TASKS_AT_ONCE = 100
STEPS_AT_A_TIME = 200
STEPS_WITHOUT_GAIN = 50_000
SHIFTS_AT_A_TIME = (6, 10, 14)
STEPS_BETWEEN_OFFERS = 500


def wanted_around(draft: Draft, chance: Random, shifts: int) -> Wanted:
    """So many shifts near each other, with what lies in them and what could be added."""
    tables = draft.tables
    left = [v for v in draft.unplaced() if tables.allowed[v].any()]
    if left and chance.random() < 0.5:
        seed = chance.choice(left)
    else:
        seed = chance.randrange(len(tables.left_out_units))
    place = tables.tasks[tables.first_task[seed]].place
    nearest = np.where(draft.valid, tables.seconds[draft.before, place], 1 << 40).min(axis=1)
    noise = np.array([chance.random() for _ in tables.shifts])
    rank = nearest * (0.5 + noise)
    if chance.random() < 0.5:
        day = tables.shifts[chance.randrange(len(tables.shifts))].day
        rank = np.where([row.day == day for row in tables.shifts], rank, rank + (1 << 24))
    rank = np.where(tables.allowed[seed], rank, rank * 2)
    chosen = sorted(int(s) for s in np.argsort(rank, kind="stable")[:shifts])
    return wanted_of(draft, chosen, left, place)


def wanted_of(draft: Draft, shifts: Sequence[int], left: Sequence[int], place: int) -> Wanted:
    """Those shifts with what lies in them, and the unplanned visits nearest to a place."""
    tables = draft.tables
    tasks = [item for shift in shifts for item in draft.rounds[shift].items if item != RELOAD]
    able = [
        visit
        for visit in left
        if tables.allowed[visit, list(shifts)].any()
        and len(tables.tasks_of(visit)) == 1
        and all(draft.is_placed(before) for before, _ in tables.befores[visit])
    ]
    able.sort(key=lambda v: tables.seconds_rows[place][tables.tasks[tables.first_task[v]].place])
    extra = [tables.first_task[visit] for visit in able[:EXTRA_TASKS]]
    return Wanted(tuple(shifts), tuple(tasks + extra))


def taken_over(draft: Draft, sequences: Mapping[int, Sequence[int]]) -> Draft:
    """A new draft with those shifts as PyVRP would have them, as far as the rules let it.

    What falls out is put in again wherever it fits.
    """
    tables = draft.tables
    new = draft.copy()
    before = {
        tables.tasks[item].visit
        for shift in sequences
        for item in draft.rounds[shift].items
        if item != RELOAD
    }
    for shift in sequences:
        new.set_round(shift, _only_fixed(draft, shift))
    for shift in sorted(sequences, key=lambda s: tables.shifts[s].opens_s):
        if sequences[shift]:
            take_sequence(new, shift, sequences[shift])
    drop_incomplete(new)
    missing = [visit for visit in before if new.shift_of[tables.first_task[visit]] == GONE]
    fixed = [v for v in missing if tables.tasks[tables.first_task[v]].fixed_s is not None]
    if fixed:
        return draft
    _drop_orphans(new)
    insert_all(new, by_urgency(tables, new.unplaced()))
    return new


def _only_fixed(draft: Draft, shift: int) -> Timed:
    """The round with nothing but what was fixed in it."""
    tasks = draft.tables.tasks
    items = [i for i in draft.rounds[shift].items if i != RELOAD and tasks[i].fixed_s is not None]
    return draft.timed(shift, items) or EMPTY


def _drop_orphans(draft: Draft) -> None:
    """Take out what comes after a visit that fell out."""
    tables = draft.tables
    orphans = [
        visit
        for visit in range(len(tables.left_out_units))
        if draft.is_placed(visit)
        and tables.tasks[tables.first_task[visit]].fixed_s is None
        and any(not draft.is_placed(before) for before, _ in tables.befores[visit])
    ]
    if orphans:
        draft.remove(orphans)


class Searching(Protocol):
    """What rerouting needs of the search that it is part of."""

    tables: Tables
    chance: Random
    progress: Progress

    @property
    def best(self) -> Draft: ...
    def step(self) -> None: ...
    def stopped(self) -> bool: ...
    def offer(self, draft: Draft) -> None: ...


def routable_at_once(tables: Tables) -> bool:
    """Whether one routing problem should hold everything: large, few kinds of shifts, no parts."""
    tasks = list(range(len(tables.tasks)))
    if (
        len(tasks) < FEWEST_TASKS_AT_ONCE
        or any(is_held(tables, task) for task in tasks)
        or any(tables.linked)
    ):
        return False
    columns = {
        tables.allowed[:, s].tobytes() + (tables.assign[:, s] + tables.late[:, s]).tobytes()
        for s in range(len(tables.shifts))
    }
    return len(columns) <= MOST_PROFILES_AT_ONCE


def route_everything(search: Searching) -> None:
    """PyVRP on the whole problem, until it finds nothing better for a long time."""
    tables = search.tables
    every = Wanted(tuple(range(len(tables.shifts))), tuple(range(len(tables.tasks))))
    _route(search, search.best, every, None, STEPS_WITHOUT_GAIN)


def route_again(search: Searching) -> None:
    """PyVRP on a few shifts that lie near each other."""
    draft = search.best
    wanted = wanted_around(draft, search.chance, search.chance.choice(SHIFTS_AT_A_TIME))
    _route(search, draft, wanted, STEPS_AT_A_TIME, STEPS_AT_A_TIME // 2)


def _route(
    search: Searching, draft: Draft, wanted: Wanted, steps: int | None, without_gain: int
) -> None:
    """Hand that part of the draft to PyVRP and offer what the real rules leave of its answer."""
    problem = _startable(draft, wanted)
    if problem is None:
        search.step()
        return
    polling = _Polling(search, problem, draft, steps, without_gain)
    best = improve(problem, search.chance.randrange(1 << 30), polling, polling.noted)
    if best is not None:
        search.offer(taken_over(draft, problem.sequences(best)))


def _startable(draft: Draft, wanted: Wanted) -> RoutingProblem | None:
    """The routing problem, without the shifts whose present round PyVRP would not allow."""
    for _ in range(3):
        if not wanted.shifts or not wanted.tasks:
            return None
        problem = RoutingProblem(draft, wanted)
        odd = {shift for shift, route in problem.routes() if not route.is_feasible()}
        if not odd:
            return problem
        held = {item for shift in odd for item in draft.rounds[shift].items}
        wanted = Wanted(
            tuple(shift for shift in wanted.shifts if shift not in odd),
            tuple(task for task in wanted.tasks if task not in held),
        )
    return None


class _Polling:
    """PyVRP's stopping rule: asks the search's own, counts steps, tells of better plans.

    It ends after so many `steps` (None: no such end) or so many `without_gain`.
    """

    def __init__(
        self,
        search: Searching,
        problem: RoutingProblem,
        draft: Draft,
        steps: int | None,
        without_gain: int,
    ) -> None:
        self.search, self.problem, self.draft = search, problem, draft
        self.steps, self.without_gain = steps, without_gain
        self.done = self.since_gain = 0
        self.news: pyvrp.Solution | None = None

    def noted(self, best: pyvrp.Solution) -> None:
        """PyVRP found something better."""
        self.news, self.since_gain = best, 0

    def __call__(self, best_cost: int) -> bool:
        if self.done:
            self.search.step()
        self.done += 1
        self.since_gain += 1
        # By steps, not by the clock: what is offered must be the same on every machine.
        if self.news is not None and self.done % STEPS_BETWEEN_OFFERS == 0:
            if self.news.is_feasible():
                self.search.offer(taken_over(self.draft, self.problem.sequences(self.news)))
            self.news = None
        over = self.since_gain > self.without_gain
        if self.steps is not None:
            over = over or self.done > self.steps
        return over or self.search.stopped()
