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
from jobs.planning.solving.late_acceptance import Manner, Penalties
from jobs.planning.solving.parts import Part, Within
from jobs.planning.solving.routes import RoutingProblem, Wanted, improve, is_held
from jobs.planning.solving.tables import RELOAD, Tables
from jobs.planning.solving.timing import EMPTY, Timed

EXTRA_TASKS = 40
MOST_PROFILES_AT_ONCE = 4
FEWEST_TASKS_AT_ONCE = 100
STEPS_AT_A_TIME = 200
# Visits near each one that a move may join it with: among many visits, more make steps too slow.
NEIGHBOURS, NEIGHBOURS_OF_FEW = 30, 50
FEW_TASKS = 150
SHIFTS_AT_A_TIME = (6, 10, 14)
STEPS_BETWEEN_OFFERS = 500
# By what share a part that is routed at once may get dearer on the way, with so many steps to get
# cheaper again; the fewer, the less.
LEEWAY, STEPS_OF_WHOLE_LEEWAY = 0.003, 3000


def wanted_around(draft: Draft, chance: Random, shifts: int, within: Within) -> Wanted:
    """So many shifts of the part near each other, with what lies there and could be added."""
    tables = draft.tables
    left = within.left_in(draft)
    if left and chance.random() < 0.5:
        seed = chance.choice(left)
    else:
        seed = chance.choice(within.movable(draft) or range(len(tables.left_out_units)))
    place = tables.tasks[tables.first_task[seed]].place
    nearest = np.where(draft.valid, tables.seconds[draft.before, place], 1 << 40).min(axis=1)
    noise = np.array([chance.random() for _ in tables.shifts])
    rank = nearest * (0.5 + noise)
    if chance.random() < 0.5:
        day = tables.shifts[chance.randrange(len(tables.shifts))].day
        rank = np.where([row.day == day for row in tables.shifts], rank, rank + (1 << 24))
    rank = np.where(tables.allowed[seed], rank, rank * 2)
    rank = np.where(within.inside, rank, np.inf)
    nearest_first = np.argsort(rank, kind="stable")[: min(shifts, len(within.part.shifts))]
    chosen = sorted(int(shift) for shift in nearest_first)
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


def taken_over(
    draft: Draft, sequences: Mapping[int, Sequence[int]], within: Within | None = None
) -> Draft:
    """A new draft with those shifts as somebody would have them, as far as the rules let it.

    What falls out is put in again wherever it fits, within the part if one is given. A visit that
    lies in another shift by now stays there.
    """
    tables = draft.tables
    new = draft.copy()
    elsewhere = {
        item
        for items in sequences.values()
        for item in items
        if item != RELOAD and draft.shift_of[item] not in (GONE, *sequences)
    }
    before = {
        tables.tasks[item].visit
        for shift in sequences
        for item in draft.rounds[shift].items
        if item != RELOAD
    }
    for shift in sequences:
        new.set_round(shift, _only_fixed(draft, shift))
    for shift in sorted(sequences, key=lambda s: tables.shifts[s].opens_s):
        items = [item for item in sequences[shift] if item not in elsewhere]
        if items:
            take_sequence(new, shift, items)
    drop_incomplete(new)
    missing = [visit for visit in before if new.shift_of[tables.first_task[visit]] == GONE]
    fixed = [v for v in missing if tables.tasks[tables.first_task[v]].fixed_s is not None]
    if fixed:
        return draft
    _drop_orphans(new)
    wanted = new.unplaced()
    if within is not None:
        wanted = [visit for visit in wanted if visit in within.left or visit in before]
    only = None if within is None else within.only
    insert_all(new, by_urgency(tables, wanted), shifts=only)
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
    part: Part
    within: Within
    best: Draft
    steps: int
    penalties: Penalties | None

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


def route_part(search: Searching) -> None:
    """PyVRP on the whole part, for all of its steps."""
    draft, tables = search.best, search.tables
    tasks = [i for shift in search.part.shifts for i in draft.rounds[shift].items if i != RELOAD]
    tasks += [tables.first_task[visit] for visit in search.within.left_in(draft)]
    left = max(1, search.part.steps - search.steps)
    wanted = Wanted(search.part.shifts, tuple(tasks))
    leeway = LEEWAY * min(1.0, left / STEPS_OF_WHOLE_LEEWAY)
    manner = Manner(_neighbours(wanted), leeway, penalties=search.penalties)
    search.penalties = _route(search, draft, wanted, manner, left, left)


def route_again(search: Searching) -> None:
    """PyVRP on a few shifts that lie near each other."""
    draft = search.best
    shifts = search.chance.choice(SHIFTS_AT_A_TIME)
    wanted = wanted_around(draft, search.chance, shifts, search.within)
    manner = Manner(_neighbours(wanted), strict=True)
    _route(search, draft, wanted, manner, STEPS_AT_A_TIME, STEPS_AT_A_TIME // 2)


def _neighbours(wanted: Wanted) -> int:
    return NEIGHBOURS_OF_FEW if len(wanted.tasks) <= FEW_TASKS else NEIGHBOURS


def _route(
    search: Searching,
    draft: Draft,
    wanted: Wanted,
    manner: Manner,
    steps: int,
    without_gain: int,
) -> Penalties | None:
    """Hand that part of the draft to PyVRP and offer what the real rules leave of its answer.

    Gives the penalties to go on with.
    """
    problem = _startable(draft, wanted)
    if problem is None:
        search.step()
        return manner.penalties
    polling = _Polling(search, problem, draft, steps, without_gain)
    seed = search.chance.randrange(1 << 30)
    best, learned = improve(problem, seed, polling, polling.noted, manner)
    if best is not None:
        search.offer(taken_over(draft, problem.sequences(best), search.within))
    return learned


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

    It ends after so many `steps` or so many `without_gain`.
    """

    def __init__(
        self,
        search: Searching,
        problem: RoutingProblem,
        draft: Draft,
        steps: int,
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
                answer = self.problem.sequences(self.news)
                self.search.offer(taken_over(self.draft, answer, self.search.within))
            self.news = None
        over = self.since_gain > self.without_gain or self.done > self.steps
        return over or self.search.stopped()
