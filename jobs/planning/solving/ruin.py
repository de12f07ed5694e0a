"""Take some visits out and put them back better: the search that knows every rule.

Removing neighbours together and inserting them again one by one follows the idea of Schrimpf et
al. (2000), "Record breaking optimization results using the ruin and recreate principle", Journal
of Computational Physics 159(2), 139-171, doi 10.1006/jcph.1999.6413; the details are our own.
"""

from __future__ import annotations

from math import log
from random import Random

import numpy as np

from jobs.planning.solving.draft import Draft
from jobs.planning.solving.first_plan import by_urgency
from jobs.planning.solving.insertion import insert_all
from jobs.planning.solving.parts import Within
from jobs.planning.solving.tables import UNITS_PER_POINT

MOST_REMOVED = 12
LEFT_TRIED = 12
SKIP_SHARES = (0.0, 0.03, 0.03, 0.25)
TRIED = 5
WARMTH_POINTS = 4.0


def ruined_and_remade(draft: Draft, chance: Random, within: Within) -> Draft:
    """A new draft with some neighbours taken out and put back, and others given a chance.

    Only what lies in the part is taken out, and nothing is put in elsewhere.
    """
    new = draft.copy()
    gone = _neighbours(new, chance, within)
    left = within.left_in(new)
    chance.shuffle(left)
    new.remove(gone)
    wanted = list(dict.fromkeys([*gone, *left[:LEFT_TRIED], *_fallen(draft, new)]))
    order = _ordered(new, wanted, chance)
    insert_all(
        new,
        order,
        shifts=within.only,
        chance=chance,
        skip_share=chance.choice(SKIP_SHARES),
        tried=TRIED,
    )
    return new


def accepted(now: Draft, new: Draft, chance: Random) -> bool:
    """Whether to go on from the new draft: if it is better, or by chance a little worse."""
    threshold = -log(max(chance.random(), 1e-12)) * WARMTH_POINTS * UNITS_PER_POINT
    return new.units < now.units + threshold


def _neighbours(draft: Draft, chance: Random, within: Within) -> list[int]:
    """Visits of the part near a place or in some rounds, never fixed ones."""
    tables = draft.tables
    placed = within.movable(draft)
    if not placed:
        return []
    count = chance.randint(1, min(len(placed), MOST_REMOVED))
    left = within.left_in(draft)
    seed = chance.choice(left) if left and chance.random() < 0.3 else chance.choice(placed)
    place = tables.tasks[tables.first_task[seed]].place
    first = np.array([tables.first_task[visit] for visit in placed])
    places = np.array([tables.tasks[task].place for task in first])
    nearness = tables.seconds[place, places].astype(float)
    if chance.random() < 0.6:
        days = np.array([tables.shifts[draft.shift_of[task]].day for task in first])
        day = int(days[chance.randrange(len(days))])
        nearness += np.where(days == day, 0, 3600)
    nearness *= 0.5 + np.array([chance.random() for _ in placed])
    return [placed[index] for index in np.argsort(nearness, kind="stable")[:count]]


def _fallen(old: Draft, new: Draft) -> list[int]:
    """What was placed before and is not now: followers of what was taken out."""
    return [visit for visit in new.unplaced() if old.is_placed(visit)]


def _ordered(draft: Draft, visits: list[int], chance: Random) -> list[int]:
    """By urgency, by length, by chance or by due time: a different one each time."""
    kind = chance.randrange(4)
    problem = draft.tables.problem
    if kind == 0:
        return by_urgency(draft.tables, visits)
    if kind == 1:
        return sorted(visits, key=lambda v: (-problem.visits[v].service_s, v))
    if kind == 2:
        return sorted(visits, key=lambda v: (problem.visits[v].due_s or 1 << 40, v))
    shuffled = list(visits)
    chance.shuffle(shuffled)
    return shuffled
