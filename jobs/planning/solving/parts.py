"""A plan shared out: parts that can be improved at the same time, each by itself.

A part holds some shifts with what lies in them, and some of the visits that lie nowhere. Two parts
of one sharing have no shift and no visit in common, so that what each of them gains adds up. The
seams run otherwise each time: along a direction on the map, between crews, or between days.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from random import Random

import numpy as np
import numpy.typing as npt

from jobs.planning.solving.draft import GONE, Draft
from jobs.planning.solving.late_acceptance import Penalties
from jobs.planning.solving.tables import RELOAD, BoolArray, Tables

Ranks = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Part:
    """What one process is to improve.

    `shifts`: numbers of shifts; `left`: numbers of visits that lie nowhere and may be put there;
    `seed`, `steps`: chance, and how many steps to do; `at_once`: as one routing problem, with the
    `penalties` that earlier parts came to.
    """

    shifts: tuple[int, ...]
    left: tuple[int, ...]
    seed: int
    steps: int
    at_once: bool
    penalties: Penalties | None = None


class Within:
    """A part as the searches see it: which shifts, which visits may be moved or put in."""

    def __init__(self, tables: Tables, part: Part) -> None:
        self.tables, self.part = tables, part
        self.left = frozenset(part.left)
        inside: BoolArray = np.zeros(len(tables.shifts), dtype=bool)
        inside[list(part.shifts)] = True
        self.inside = inside
        self.whole = bool(inside.all())

    @property
    def only(self) -> BoolArray | None:
        """The shifts as a mask; None if it is all of them."""
        return None if self.whole else self.inside

    def movable(self, draft: Draft) -> list[int]:
        """Visits that lie in the part and may be taken out, with nothing of theirs outside."""
        tables = self.tables
        return [
            visit
            for visit, task in enumerate(tables.first_task[:-1])
            if draft.shift_of[task] != GONE
            and tables.tasks[task].fixed_s is None
            and (self.whole or self._lies_inside(draft, visit))
        ]

    def left_in(self, draft: Draft) -> list[int]:
        """Visits that lie nowhere and may be put into the part."""
        tables = self.tables
        return [
            visit
            for visit in draft.unplaced()
            if tables.allowed[visit].any() and (self.whole or visit in self.left)
        ]

    def _lies_inside(self, draft: Draft, visit: int) -> bool:
        """Whether all its parts, and all that would fall with it, lie in these shifts."""
        tables = self.tables
        if not all(self.inside[draft.shift_of[task]] for task in tables.tasks_of(visit)):
            return False
        return all(
            not draft.is_placed(after) or self._lies_inside(draft, after)
            for after, _ in tables.afters[visit]
        )


def shared_out(draft: Draft, chance: Random, count: int, *, by_place: bool) -> list[Part]:
    """So many parts with about as many visits each, without steps or ways yet.

    `by_place`: seams only along directions on the map, which suits shifts that are all alike.
    """
    tables = draft.tables
    groups: list[list[int]] = [list(range(len(tables.shifts)))]
    while len(groups) < count:
        ranks = _ranks(draft, chance, groups[0], by_place=by_place)
        groups = [half for group in groups for half in _halves(draft, group, ranks)]
    of_shift = np.zeros(len(tables.shifts), dtype=np.int64)
    for number, group in enumerate(groups):
        of_shift[group] = number
    left: list[list[int]] = [[] for _ in groups]
    for visit in draft.unplaced():
        near = _nearest_shift(draft, visit)
        if near is not None:
            left[of_shift[near]].append(visit)
    return [
        Part(tuple(sorted(group)), tuple(lost), chance.randrange(1 << 30), 0, by_place)
        for group, lost in zip(groups, left, strict=True)
    ]


def _nearest_shift(draft: Draft, visit: int) -> int | None:
    """The shift that passes nearest of those that may take the visit."""
    tables = draft.tables
    rows = tables.allowed_rows[visit]
    if not len(rows):
        return None
    place = tables.tasks[tables.first_task[visit]].place
    ways = np.where(draft.valid[rows], tables.seconds_to[place][draft.before[rows]], 1 << 40)
    return int(rows[ways.min(axis=1).argmin()])


def _halves(draft: Draft, group: Sequence[int], ranks: Ranks) -> tuple[list[int], list[int]]:
    """The group cut in two by rank, with about as many visits on each side."""
    order = sorted(group, key=lambda shift: (ranks[shift], shift))
    weights = np.array([4 * len(draft.rounds[shift].items) + 1 for shift in order])
    passed = weights.cumsum()
    cut = int(np.searchsorted(passed, passed[-1] / 2)) + 1
    cut = min(max(1, cut), max(1, len(order) - 1))
    return order[:cut], order[cut:]


def _ranks(draft: Draft, chance: Random, group: Sequence[int], *, by_place: bool) -> Ranks:
    """Where each shift lies along a direction drawn by chance."""
    tables = draft.tables
    ranks = _along(draft, chance, group)
    kind = 0.0 if by_place else chance.random()
    if kind < 0.35:
        return ranks
    if kind < 0.65:
        # Days that lie together on one side; a job over several days keeps its crew's days.
        return tables.days + np.array([chance.random() for _ in tables.shifts]) / 2
    by_crew = np.zeros(len(ranks))
    for rows in tables.rows_of_crew.values():
        by_crew[rows] = ranks[rows].mean()
    return by_crew


def _along(draft: Draft, chance: Random, group: Sequence[int]) -> Ranks:
    """How much nearer each round lies to one place than to another far from it.

    An empty round lies anywhere.
    """
    tables = draft.tables
    tasks = [i for shift in group for i in draft.rounds[shift].items if i != RELOAD]
    ranks = np.array([chance.random() - 0.5 for _ in tables.shifts])
    if not tasks:
        return ranks
    places = np.array([tables.tasks[task].place for task in tasks])
    origin = int(places[chance.randrange(len(places))])
    far = places[np.argsort(tables.seconds[origin, places], kind="stable")]
    goal = int(far[len(far) - 1 - chance.randrange(1 + len(far) // 3)])
    nearer = tables.seconds[origin] - tables.seconds[goal]
    scale = 1 + int(np.abs(nearer).max())
    for shift in range(len(ranks)):
        own = [tables.tasks[i].place for i in draft.rounds[shift].items if i != RELOAD]
        ranks[shift] = nearer[own].mean() / scale if own else ranks[shift]
    return ranks
