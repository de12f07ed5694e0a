"""The first plan: what stands already, then every other visit where it adds least."""

from __future__ import annotations

from collections.abc import Sequence

from jobs.planning.plan import Plan, Stop
from jobs.planning.solving.draft import GONE, Draft
from jobs.planning.solving.insertion import insert_all, place_fixed
from jobs.planning.solving.tables import RELOAD, Tables


def first_draft(tables: Tables, start_from: Plan | None) -> Draft:
    """A whole draft, made in a moment: fixed visits, what stands already, the rest by urgency.

    What stands already is `start_from`, or else what was promised.
    """
    draft = Draft(tables)
    place_fixed(draft)
    if start_from is not None:
        restore(draft, start_from)
    else:
        keep_promises(draft)
    insert_all(draft, by_urgency(tables, draft.unplaced()))
    return draft


def by_urgency(tables: Tables, visits: Sequence[int]) -> list[int]:
    """Dearest to leave out first, then by fewest places to go, due time, length and remoteness."""
    problem = tables.problem
    last_s = 1 << 40

    def order(visit: int) -> tuple[int, bool, int, int, int, int]:
        found = problem.visits[visit]
        due_s = found.due_s if found.due_s is not None else last_s
        single = len(found.lengths_s) == 1
        return (
            -tables.left_out_units[visit],
            single,
            tables.choices[visit],
            due_s,
            -found.service_s,
            -tables.remote_s[visit],
        )

    return sorted(visits, key=order)


def restore(draft: Draft, plan: Plan) -> None:
    """Put into the draft what that plan holds and this problem still allows."""
    problem = draft.tables.problem
    known = [round_ for round_ in plan.rounds if round_.shift in problem.shift_index]
    rows = [(problem.shift_index[round_.shift], round_) for round_ in known]
    touched = sorted(rows, key=lambda row: draft.tables.shifts[row[0]].opens_s)
    for shift, round_ in touched:
        take_sequence(draft, shift, _items(draft, shift, round_.stops))
    drop_incomplete(draft)


def keep_promises(draft: Draft) -> None:
    """Put into the draft every visit where it was promised, as far as that is still allowed."""
    tables = draft.tables
    problem = tables.problem
    by_shift: dict[int, list[tuple[int, int]]] = {}
    for number, visit in enumerate(problem.visits):
        promise = visit.promised
        if promise is None or visit.fixed or len(visit.lengths_s) > 1:
            continue
        for shift in tables.rows_of_crew.get(promise.crew, ()):
            here = tables.shifts[shift].day == tables.promised_day[number]
            if here and tables.allowed[number, shift]:
                found = by_shift.setdefault(shift, [])
                found.append((promise.starts_s, tables.first_task[number]))
    for shift in sorted(by_shift, key=lambda row: tables.shifts[row].opens_s):
        take_sequence(draft, shift, _with_fixed(draft, shift, by_shift[shift]))


def drop_incomplete(draft: Draft) -> None:
    """Take out visits that lost a part on the way, and with them what follows."""
    tables = draft.tables
    broken = []
    for visit in range(len(tables.left_out_units)):
        placed = [draft.shift_of[task] != GONE for task in tables.tasks_of(visit)]
        if any(placed) and (not all(placed) or not _in_a_row(draft, visit)):
            broken.append(visit)
    if broken:
        draft.remove(broken)


def _in_a_row(draft: Draft, visit: int) -> bool:
    """Whether the parts lie on consecutive working days of one crew."""
    tables = draft.tables
    shifts = [draft.shift_of[task] for task in tables.tasks_of(visit)]
    row = tables.rows_of_crew[tables.problem.shifts[shifts[0]].crew]
    begin = row.index(shifts[0])
    return row[begin : begin + len(shifts)] == shifts


def take_sequence(draft: Draft, shift: int, items: Sequence[int]) -> None:
    """Make that sequence the shift's round, or as much of it as breaks no rule."""
    timed = draft.timed(shift, items)
    if timed is not None and draft.accepts(shift, timed):
        draft.set_round(shift, timed)
        return
    kept: list[int] = list(draft.rounds[shift].items)
    for item in items:
        if item == RELOAD or item in kept:
            continue
        rank = {other: number for number, other in enumerate(items)}
        place = sum(1 for other in kept if rank.get(other, -1) < rank[item])
        for middle in ((item,), (RELOAD, item)):
            tried = [*kept[:place], *middle, *kept[place:]]
            timed = draft.timed(shift, tried)
            if timed is not None and draft.accepts(shift, timed):
                draft.set_round(shift, timed)
                kept = tried
                break


def _items(draft: Draft, shift: int, stops: Sequence[Stop]) -> list[int]:
    """The stops as items, with what is fixed in that shift merged in by time."""
    tables = draft.tables
    problem = tables.problem
    found: list[tuple[int, int]] = []
    for stop in stops:
        if stop.kind == "reload":
            found.append((stop.starts_s, RELOAD))
        elif stop.kind == "visit" and stop.key in problem.visit_index:
            visit = problem.visit_index[stop.key]
            task = tables.first_task[visit] + stop.part
            known = stop.part < len(tables.tasks_of(visit))
            free = known and tables.tasks[task].fixed_s is None
            may = tables.able if stop.part else tables.allowed
            if free and may[visit, shift]:
                found.append((stop.starts_s, task))
    return _with_fixed(draft, shift, found)


def _with_fixed(draft: Draft, shift: int, found: list[tuple[int, int]]) -> list[int]:
    """Those items by time, with what is fixed in the shift among them."""
    tasks = draft.tables.tasks
    fixed = [(tasks[item].fixed_s or 0, item) for item in draft.rounds[shift].items if item >= 0]
    return [item for _, item in sorted([*found, *fixed], key=lambda one: one[0])]
