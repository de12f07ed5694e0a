"""Trying quickly what giving way on one kind of rule, or on two, would do for a visit.

Each trial relaxes the rules, everywhere at once, in a copy of the tables and looks for the best
place again. What it finds is narrowed to the one place it needs: a relief that `relief.py` can
really grant.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from copy import copy
from dataclasses import replace
from itertools import combinations

from jobs.planning.plan import Relief
from jobs.planning.problem import VisitToPlan
from jobs.planning.solving.draft import Draft
from jobs.planning.solving.insertion import Move, best_move
from jobs.planning.solving.tables import NO_LIMIT, RELOAD, Tables, litres_of, retold

MINUTE_S = 60
OVERTIMES_MIN = (15, 30, 45, 60, 90, 120)
OVERTIME_STEP_S = 15 * MINUTE_S
# With another rule, overtime may be as much as this; it is told to the quarter of an hour.
MOST_OVERTIME_S = 120 * MINUTE_S
MOST_TOGETHER = 3
FREER: dict[str, dict[str, object]] = {
    "window": {"windows": ()},
    "earliest": {"earliest_s": 0},
    "skills": {"skills": frozenset()},
    "crew_size": {"crew_size": 1},
    "crew": {"fixed_crew": None, "barred_crews": frozenset()},
}


def reliefs(draft: Draft, visit: int) -> Iterator[tuple[Relief, Move]]:
    """Every relief that would let the visit in by itself, with the move it makes possible."""
    yield from _overtime(draft, visit)
    for kind in _kinds_of(draft.tables.problem.visits[visit]):
        yield from _tried(draft, visit, (kind,))


def reliefs_together(draft: Draft, visit: int) -> Iterator[tuple[Relief, Move]]:
    """Reliefs of two rules, else of three, that let it in together where none does alone."""
    kinds = ("overtime", *_kinds_of(draft.tables.problem.visits[visit]))
    if not any(True for _ in _tried(draft, visit, kinds, narrowed=False)):
        return
    for count in range(2, MOST_TOGETHER + 1):
        found = False
        for together in combinations(kinds, count):
            for relief, move in _tried(draft, visit, together):
                found = True
                yield relief, move
        if found:
            return


def _kinds_of(visit: VisitToPlan) -> tuple[str, ...]:
    """The rules that bind this visit and may give way."""
    bound = {
        "window": bool(visit.windows),
        "earliest": bool(visit.earliest_s),
        "skills": bool(visit.skills),
        "crew_size": visit.crew_size > 1,
        "crew": visit.fixed_crew is not None or bool(visit.barred_crews),
        "van": bool(visit.volume_m3),
        "stock": bool(visit.stock),
        "order": bool(visit.after),
    }
    return tuple(kind for kind, binds in bound.items() if binds)


def _overtime(draft: Draft, visit: int) -> Iterator[tuple[Relief, Move]]:
    """The least extra time, in steps, of one crew on one day."""
    for minutes in OVERTIMES_MIN:
        trial = loosened(draft, visit, ("overtime",), minutes * MINUTE_S)
        move = best_move(trial, visit)
        if move is not None:
            relief = _narrowed(draft, trial.tables, visit, move, "overtime", minutes * MINUTE_S)
            if relief is not None:
                yield relief, move
            return


def _tried(
    draft: Draft, visit: int, kinds: Sequence[str], *, narrowed: bool = True
) -> Iterator[tuple[Relief, Move]]:
    """Those rules relaxed at once: the place found, and what each had to give for it."""
    trial = loosened(draft, visit, kinds, MOST_OVERTIME_S)
    move = best_move(trial, visit)
    if move is None:
        return
    if not narrowed:
        yield Relief(kinds[0]), move
        return
    told: Relief | None = None
    for kind in reversed(kinds):
        relief = _narrowed(draft, trial.tables, visit, move, kind, 0)
        if relief is None:
            return
        told = relief if told is None else _chained(relief, told)
    if told is not None:
        yield told, move


def _chained(first: Relief, rest: Relief) -> Relief:
    """`first` and what must give way with it, then the rest."""
    also = rest if first.also is None else _chained(first.also, rest)
    return replace(first, also=also)


def loosened(
    draft: Draft,
    visit: int,
    kinds: Sequence[str],
    overtime_s: int,
    freer: VisitToPlan | None = None,
) -> Draft:
    """A copy of the draft in which those rules do not hold for the visit.

    `freer`: the visit as it is to be otherwise, in as many parts.
    """
    tables = copy(draft.tables)
    tables.tasks = list(tables.tasks)
    trial = draft.copy()
    trial.tables = tables
    freer = freer or draft.tables.problem.visits[visit]
    for kind in kinds:
        freer = replace(freer, **FREER.get(kind, {}))  # type: ignore[arg-type]
    if "overtime" in kinds:
        tables.shifts = [replace(r, latest_s=r.latest_s + overtime_s) for r in tables.shifts]
        trial.slack_s = trial.slack_s + overtime_s
    if "van" in kinds:
        tables.shifts = [replace(row, litres=NO_LIMIT) for row in tables.shifts]
    if "stock" in kinds:
        trial.stock = trial.stock.without_limits()
    if "order" in kinds:
        tables.befores = list(tables.befores)
        tables.befores[visit] = []
        trial.not_before[visit] = 0
    retold(tables, visit, freer)
    return trial


def _narrowed(
    draft: Draft, tables: Tables, visit: int, move: Move, kind: str, extra_s: int
) -> Relief | None:
    """What that rule had to give for the move; None if nothing, or more than one can grant."""
    shift, timed = move.rounds[0]
    key = tables.problem.shifts[shift].key
    if kind == "overtime":
        return overtime_needed(draft, move, extra_s)
    if kind == "van":
        whole = len(move.rounds) == 1
        return Relief("van", key, _largest_trip(tables, timed.items)) if whole else None
    if kind == "stock":
        return _stock_needed(draft, visit, move)
    if kind in ("skills", "crew_size"):
        return _weakest(draft, visit, move, kind)
    task = tables.first_task[visit]
    starts_s = next(row.starts_s for row in timed.rows if row.item == task)
    return Relief(kind, key, starts_s if kind in ("window", "earliest") else 0)


def _weakest(draft: Draft, visit: int, move: Move, kind: str) -> Relief | None:
    """The shift of the move that lacks most: what is let go for it does for the others too."""
    problem = draft.tables.problem
    shifts = [problem.shifts[shift] for shift, _ in move.rounds]
    if kind == "crew_size":
        return Relief(kind, min(shifts, key=lambda shift: shift.crew_size).key)
    wanted = problem.visits[visit].skills
    least = min(shifts, key=lambda shift: len(wanted & shift.skills))
    enough = all(wanted & least.skills <= shift.skills for shift in shifts)
    return Relief(kind, least.key) if enough else None


def overtime_needed(draft: Draft, move: Move, extra_s: int) -> Relief | None:
    """More time for one crew on one day, in whole steps."""
    shifts = draft.tables.shifts
    over = [(s, t.returns_s - shifts[s].latest_s) for s, t in move.rounds]
    late = [(shift, seconds) for shift, seconds in over if seconds > 0]
    if len(late) != 1:
        return None
    shift, seconds = late[0]
    steps_s = -(-seconds // OVERTIME_STEP_S) * OVERTIME_STEP_S
    return Relief("overtime", draft.tables.problem.shifts[shift].key, extra_s or steps_s)


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


def _stock_needed(draft: Draft, visit: int, move: Move) -> Relief | None:
    """More of each item that lacks at the depot of the one shift that takes the visit."""
    if len(move.rounds) != 1:
        return None
    shift = move.rounds[0][0]
    key = draft.tables.problem.shifts[shift].key
    told: Relief | None = None
    short = draft.stock.shortfall(draft.tables.first_task[visit], shift)
    for item, pieces in sorted(short.items(), reverse=True):
        told = Relief("stock", key, pieces, item, told)
    return told
