"""Trying quickly what giving way on one kind of rule, everywhere at once, would do for a visit.

Each trial relaxes the rule in a copy of the tables and looks for the best place again. What it
finds is narrowed to the one place it needs: a relief that `relief.py` can really grant.
"""

from __future__ import annotations

from collections.abc import Iterator
from copy import copy
from dataclasses import replace

from jobs.planning.plan import Relief
from jobs.planning.problem import VisitToPlan
from jobs.planning.solving.draft import Draft
from jobs.planning.solving.insertion import Move, best_move
from jobs.planning.solving.tables import NO_LIMIT, RELOAD, Tables, litres_of, retold

MINUTE_S = 60
OVERTIMES_MIN = (15, 30, 45, 60, 90, 120)


def reliefs(draft: Draft, visit: int) -> Iterator[tuple[Relief, Move]]:
    """Every relief that would let the visit in by itself, with the move it makes possible."""
    found = draft.tables.problem.visits[visit]
    yield from _overtime(draft, visit)
    if found.windows:
        yield from _about_visit(draft, visit, replace(found, windows=()), "window")
    if found.earliest_s:
        yield from _about_visit(draft, visit, replace(found, earliest_s=0), "earliest")
    if found.skills:
        yield from _about_visit(draft, visit, replace(found, skills=frozenset()), "skills")
    if found.crew_size > 1:
        yield from _about_visit(draft, visit, replace(found, crew_size=1), "crew_size")
    if found.fixed_crew is not None or found.barred_crews:
        free = replace(found, fixed_crew=None, barred_crews=frozenset())
        yield from _about_visit(draft, visit, free, "crew")
    if found.volume_m3:
        yield from _van(draft, visit)
    if found.stock:
        yield from _stock(draft, visit)
    if found.after:
        yield from _order(draft, visit)


def _overtime(draft: Draft, visit: int) -> Iterator[tuple[Relief, Move]]:
    """The least extra time, in steps, of one crew on one day."""
    for minutes in OVERTIMES_MIN:
        tables = copy(draft.tables)
        extra_s = minutes * MINUTE_S
        tables.shifts = [replace(r, latest_s=r.latest_s + extra_s) for r in tables.shifts]
        retold(tables, visit, draft.tables.problem.visits[visit])
        trial = _with(draft, tables)
        trial.slack_s = trial.slack_s + extra_s
        move = best_move(trial, visit)
        if move is not None:
            over = [s for s, t in move.rounds if t.returns_s > draft.tables.shifts[s].latest_s]
            if len(over) == 1:
                key = tables.problem.shifts[over[0]].key
                yield Relief("overtime", key, extra_s), move
            return


def _about_visit(
    draft: Draft, visit: int, freer: VisitToPlan, kind: str
) -> Iterator[tuple[Relief, Move]]:
    """A rule of the visit itself, given way to."""
    tables = copy(draft.tables)
    tables.tasks = list(tables.tasks)
    retold(tables, visit, freer)
    move = best_move(_with(draft, tables), visit)
    if move is None:
        return
    shift, timed = move.rounds[0]
    task = tables.first_task[visit]
    starts_s = next(row.starts_s for row in timed.rows if row.item == task)
    key = tables.problem.shifts[shift].key
    amount = starts_s if kind in ("window", "earliest") else 0
    yield Relief(kind, key, amount), move


def _van(draft: Draft, visit: int) -> Iterator[tuple[Relief, Move]]:
    """A van large enough for the round that takes the visit."""
    tables = copy(draft.tables)
    tables.shifts = [replace(row, litres=NO_LIMIT) for row in tables.shifts]
    move = best_move(_with(draft, tables), visit)
    if move is None or len(move.rounds) != 1:
        return
    shift, timed = move.rounds[0]
    yield Relief("van", tables.problem.shifts[shift].key, _largest_trip(tables, timed.items)), move


def _largest_trip(tables: Tables, items: tuple[int, ...]) -> int:
    """Litres of the fullest trip, as the checker adds them up, rounded up."""
    largest = volume_m3 = 0.0
    for item in items:
        task = tables.tasks[item] if item != RELOAD else None
        if task is None:
            volume_m3 = 0.0
            continue
        volume_m3 += tables.problem.visits[task.visit].part_volume_m3(task.part)
        largest = max(largest, volume_m3)
    return litres_of(largest) + len(items)


def _stock(draft: Draft, visit: int) -> Iterator[tuple[Relief, Move]]:
    """More of one item at one depot."""
    tables = draft.tables
    trial = _with(draft, tables)
    trial.stock = trial.stock.without_limits()
    move = best_move(trial, visit)
    if move is None or len(move.rounds) != 1:
        return
    shift, _ = move.rounds[0]
    short = draft.stock.shortfall(tables.first_task[visit], shift)
    if len(short) == 1:
        item, pieces = next(iter(short.items()))
        yield Relief("stock", tables.problem.shifts[shift].key, pieces, item), move


def _order(draft: Draft, visit: int) -> Iterator[tuple[Relief, Move]]:
    """Nothing need come before it."""
    tables = copy(draft.tables)
    tables.befores = list(tables.befores)
    tables.befores[visit] = []
    trial = _with(draft, tables)
    trial.not_before[visit] = 0
    move = best_move(trial, visit)
    if move is not None:
        yield Relief("order", tables.problem.shifts[move.rounds[0][0]].key), move


def _with(draft: Draft, tables: Tables) -> Draft:
    trial = draft.copy()
    trial.tables = tables
    return trial
