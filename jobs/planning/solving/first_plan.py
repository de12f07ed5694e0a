"""The first plan: what stands already, then every other visit where it adds least."""

from __future__ import annotations

from collections.abc import Sequence

from jobs.planning.plan import Plan, Stop
from jobs.planning.solving.draft import GONE, Draft
from jobs.planning.solving.insertion import insert_all, place_fixed
from jobs.planning.solving.tables import RELOAD, Tables


def first_draft(tables: Tables, start_from: Plan | None) -> Draft:
    """A whole draft, made in a moment: fixed visits, the present plan, then by urgency."""
    draft = Draft(tables)
    place_fixed(draft)
    if start_from is not None:
        restore(draft, start_from)
    insert_all(draft, by_urgency(tables, draft.unplaced()))
    return draft


def by_urgency(tables: Tables, visits: Sequence[int]) -> list[int]:
    """Dearest to leave out first, then by fewest places to go, due time and length."""
    problem = tables.problem
    last_s = 1 << 40

    def order(visit: int) -> tuple[int, bool, int, int, int]:
        found = problem.visits[visit]
        due_s = found.due_s if found.due_s is not None else last_s
        single = len(found.lengths_s) == 1
        return (
            -tables.left_out_units[visit],
            single,
            tables.choices[visit],
            due_s,
            -found.service_s,
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
    for item in draft.rounds[shift].items:
        if item != RELOAD:
            found.append((tables.tasks[item].fixed_s or 0, item))
    return [item for _, item in sorted(found, key=lambda one: one[0])]
