"""A plan while it is being made: rounds that can be changed, tried and copied quickly.

Whatever a draft holds breaks no rule: each change is timed, and refused if a round has no way, an
order would be broken or a depot would run out.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from jobs.planning.plan import Plan, Round, Stop, StopKind, Unplanned
from jobs.planning.solving.stock import StockUse
from jobs.planning.solving.tables import RELOAD, IntArray, Tables
from jobs.planning.solving.timing import BREAK, EMPTY, Timed, time_round

FIRST_POSITIONS = 6
GONE = -1


class Draft:
    """Rounds by shift, what is where, and what it costs (units of 1/3600 point).

    `shift_of[task]`: the shift it lies in, -1 if nowhere. `before`, `after`, `way_s`,
    `way_units`, `free_s`, `valid`: for each shift and position at which an item could be put in,
    the places on both sides, the way between them, and when the crew is free before it; for
    estimates over all positions at once.
    """

    def __init__(self, tables: Tables) -> None:
        self.tables = tables
        count = len(tables.shifts)
        self.rounds: list[Timed] = [EMPTY] * count
        self.shift_of: list[int] = [GONE] * len(tables.tasks)
        self.not_before: list[int] = [0] * len(tables.left_out_units)
        self.stock = StockUse(tables)
        self.units = sum(tables.left_out_units)
        starts = [row.start for row in tables.shifts]
        ends = [row.end for row in tables.shifts]
        shape = (count, FIRST_POSITIONS)
        self.before: IntArray = np.zeros(shape, dtype=np.int64)
        self.after: IntArray = np.zeros(shape, dtype=np.int64)
        self.free_s: IntArray = np.zeros(shape, dtype=np.int64)
        self.valid = np.zeros(shape, dtype=bool)
        self.slack_s: IntArray = np.array(
            [row.latest_s - row.opens_s for row in tables.shifts], dtype=np.int64
        )
        self.before[:, 0], self.after[:, 0] = starts, ends
        self.free_s[:, 0] = [max(row.opens_s, tables.now_s) for row in tables.shifts]
        self.valid[:, 0] = True
        self.way_s: IntArray = tables.seconds[self.before, self.after]
        self.way_units: IntArray = tables.units[self.before, self.after]

    def copy(self) -> Draft:
        """A draft that can be changed apart from this one."""
        twin = Draft.__new__(Draft)
        twin.tables = self.tables
        twin.rounds = self.rounds.copy()
        twin.shift_of = self.shift_of.copy()
        twin.not_before = self.not_before.copy()
        twin.stock = self.stock.copy()
        twin.units = self.units
        twin.before, twin.after = self.before.copy(), self.after.copy()
        twin.free_s, twin.valid = self.free_s.copy(), self.valid.copy()
        twin.way_s, twin.way_units = self.way_s.copy(), self.way_units.copy()
        twin.slack_s = self.slack_s.copy()
        return twin

    def packed(self) -> dict[str, Any]:
        """All that another process needs, beside the tables, to have the same draft."""
        own = {name: value for name, value in vars(self).items() if name not in ("tables", "stock")}
        return {**own, "used": self.stock.used}

    @classmethod
    def unpacked(cls, tables: Tables, packed: dict[str, Any]) -> Draft:
        """The draft that `packed` told of."""
        twin = cls.__new__(cls)
        twin.tables = tables
        vars(twin).update(packed)
        twin.stock = StockUse.counted(tables, vars(twin).pop("used"))
        return twin

    def is_placed(self, visit: int) -> bool:
        """Whether the visit (all of its parts) lies somewhere."""
        return self.shift_of[self.tables.first_task[visit]] != GONE

    def unplaced(self) -> list[int]:
        """The visits that lie nowhere, by number."""
        first = self.tables.first_task
        return [v for v in range(len(first) - 1) if self.shift_of[first[v]] == GONE]

    def starts_s(self, visit: int) -> int:
        """When a placed visit starts, seconds."""
        task = self.tables.first_task[visit]
        return next(r.starts_s for r in self.rounds[self.shift_of[task]].rows if r.item == task)

    def ends_s(self, visit: int) -> int:
        """When a placed visit's last part ends, seconds."""
        task = self.tables.first_task[visit + 1] - 1
        return next(r.leaves_s for r in self.rounds[self.shift_of[task]].rows if r.item == task)

    def timed(self, shift: int, items: Sequence[int]) -> Timed | None:
        """The times of that shift with those items, None if there is no way."""
        return time_round(self.tables, shift, items, self.not_before)

    def set_round(self, shift: int, timed: Timed) -> None:
        """Put a timed round into its shift; what it no longer holds lies nowhere."""
        tables, old = self.tables, self.rounds[shift]
        for item in old.items:
            if item >= 0 and self.shift_of[item] == shift:
                self.shift_of[item] = GONE
                self._counted(item, shift, -1)
        self.rounds[shift] = timed
        self.units += timed.units - old.units
        for item in timed.items:
            if item >= 0:
                self.shift_of[item] = shift
                self._counted(item, shift, 1)
        for row in timed.rows:
            if row.item >= 0 and tables.linked[tables.tasks[row.item].visit]:
                self._note_end(row.item, row.leaves_s)
        self._note_positions(shift, timed)

    def accepts(self, shift: int, timed: Timed) -> bool:
        """Whether the round breaks no order and loads nothing that its depot lacks."""
        if not self.orders_kept(timed):
            return False
        added: list[int] = []
        old = set(self.rounds[shift].items)
        fine = True
        tasks = self.tables.tasks
        new = [i for i in timed.items if i != RELOAD and i not in old and tasks[i].counts_stock]
        for item in sorted(new, key=lambda task: tasks[task].fixed_s is None):
            if tasks[item].fixed_s is None and self.stock.lacking(item, shift):
                fine = False
                break
            self.stock.add(item, shift, 1)
            added.append(item)
        for item in added:
            self.stock.add(item, shift, -1)
        return fine

    def orders_kept(self, timed: Timed) -> bool:
        """Whether the round leaves every visit after what it must follow."""
        tables = self.tables
        for row in timed.rows:
            if row.item < 0:
                continue
            task = tables.tasks[row.item]
            if not tables.linked[task.visit]:
                continue
            if task.part == 0 and task.fixed_s is None:
                for before, gap_s in tables.befores[task.visit]:
                    ends_s = self._end_with(timed, before)
                    if ends_s is None or row.starts_s < ends_s + gap_s:
                        return False
            if task.last:
                for after, gap_s in tables.afters[task.visit]:
                    if tables.tasks[tables.first_task[after]].fixed_s is not None:
                        continue
                    starts_s = self._start_with(timed, after)
                    if starts_s is not None and starts_s < row.leaves_s + gap_s:
                        return False
        return True

    def _end_with(self, timed: Timed, visit: int) -> int | None:
        task = self.tables.first_task[visit + 1] - 1
        for row in timed.rows:
            if row.item == task:
                return row.leaves_s
        return self.ends_s(visit) if self.shift_of[task] != GONE else None

    def _start_with(self, timed: Timed, visit: int) -> int | None:
        task = self.tables.first_task[visit]
        for row in timed.rows:
            if row.item == task:
                return row.starts_s
        return self.starts_s(visit) if self.shift_of[task] != GONE else None

    def _counted(self, item: int, shift: int, sign: int) -> None:
        """Keep the price of left-out visits and the depots' stock in step."""
        task = self.tables.tasks[item]
        if task.part == 0:
            self.units -= sign * self.tables.left_out_units[task.visit]
        if task.counts_stock:
            self.stock.add(item, shift, sign)

    def _note_end(self, item: int, ends_s: int) -> None:
        task = self.tables.tasks[item]
        if not task.last:
            return
        for after, _ in self.tables.afters[task.visit]:
            self.not_before[after] = max(
                (
                    self.ends_s(before) + gap_s
                    for before, gap_s in self.tables.befores[after]
                    if self.is_placed(before)
                ),
                default=0,
            )

    def _note_positions(self, shift: int, timed: Timed) -> None:
        tables = self.tables
        row = tables.shifts[shift]
        stops = [stop for stop in timed.rows if stop.item != BREAK]
        if len(stops) >= self.before.shape[1]:
            self._widen(len(stops) + FIRST_POSITIONS)
        count = len(stops) + 1
        self.before[shift, :count] = [row.start, *(stop.place for stop in stops)]
        self.after[shift, :count] = [*(stop.place for stop in stops), row.end]
        self.free_s[shift, :count] = [
            max(row.opens_s, tables.now_s),
            *(max(stop.leaves_s, tables.now_s) for stop in stops),
        ]
        self.way_s[shift] = tables.seconds[self.before[shift], self.after[shift]]
        self.way_units[shift] = tables.units[self.before[shift], self.after[shift]]
        self.valid[shift, :count] = True
        self.valid[shift, count:] = False
        worked_s = timed.returns_s - timed.departs_s - timed.wait_s
        # What was fixed by hand may make the crew set off before its shift opens.
        begins_s = min(row.opens_s, timed.departs_s) if timed.rows else row.opens_s
        self.slack_s[shift] = row.latest_s - begins_s - worked_s

    def _widen(self, width: int) -> None:
        grow = ((0, 0), (0, width - self.before.shape[1]))
        self.before, self.after = np.pad(self.before, grow), np.pad(self.after, grow)
        self.free_s, self.valid = np.pad(self.free_s, grow), np.pad(self.valid, grow)
        self.way_s, self.way_units = np.pad(self.way_s, grow), np.pad(self.way_units, grow)

    def remove(self, visits: Iterable[int]) -> None:
        """Take visits out of their rounds, and with each what must follow it."""
        gone = self._with_followers(visits)
        touched = {self.shift_of[t] for v in gone for t in self.tables.tasks_of(v)} - {GONE}
        for shift in touched:
            items = [
                item
                for item in self.rounds[shift].items
                if item == RELOAD or self.tables.tasks[item].visit not in gone
            ]
            self.set_round(shift, self._tidied(shift, items))
        fallen = self._fallen(touched)
        if fallen:
            self.remove(fallen)

    def lift(self, visit: int) -> None:
        """Take one visit out and leave what follows it where it is, to try it elsewhere."""
        for task in self.tables.tasks_of(visit):
            shift = self.shift_of[task]
            if shift != GONE:
                items = [item for item in self.rounds[shift].items if item != task]
                self.set_round(shift, self._tidied(shift, items))

    def _fallen(self, shifts: Iterable[int]) -> set[int]:
        """Visits that lost a part, or what they come after, when those rounds changed."""
        tables = self.tables
        found: set[int] = set()
        for shift in shifts:
            for item in self.rounds[shift].items:
                if item == RELOAD:
                    continue
                visit = tables.tasks[item].visit
                if any(self.shift_of[task] == GONE for task in tables.tasks_of(visit)):
                    found.add(visit)
        return found

    def _with_followers(self, visits: Iterable[int]) -> set[int]:
        gone: set[int] = set()
        queue = list(visits)
        while queue:
            visit = queue.pop()
            if visit in gone:
                continue
            gone.add(visit)
            for after, _ in self.tables.afters[visit]:
                fixed = self.tables.tasks[self.tables.first_task[after]].fixed_s is not None
                if self.is_placed(after) and not fixed:
                    queue.append(after)
        return gone

    def _tidied(self, shift: int, items: list[int]) -> Timed:
        """The round without reloads that nothing needs any more."""
        if all(item == RELOAD for item in items):
            return EMPTY
        best = self.timed(shift, items)
        for index in range(len(items) - 1, -1, -1):
            if items[index] != RELOAD:
                continue
            fewer = items[:index] + items[index + 1 :]
            timed = self.timed(shift, fewer)
            if timed is not None and (best is None or timed.units <= best.units):
                items, best = fewer, timed
        if best is None:
            return self._without_misfits(shift, items)
        return best

    def _without_misfits(self, shift: int, items: list[int]) -> Timed:
        """What is left when a round has no way any more: items from the front that still fit.

        Fixed visits come first, since they may not be left out.
        """
        tasks = self.tables.tasks
        kept = [item for item in items if item != RELOAD and tasks[item].fixed_s is not None]
        best = self.timed(shift, kept) or EMPTY
        for item in items:
            if item == RELOAD or item in kept:
                continue
            place = sum(1 for other in best.items if items.index(other) < items.index(item))
            timed = self.timed(shift, [*best.items[:place], item, *best.items[place:]])
            if timed is not None and len(tasks) and self._single(item):
                best = timed
        return best

    def _single(self, item: int) -> bool:
        task = self.tables.tasks[item]
        return task.last and task.part == 0

    def to_plan(self) -> Plan:
        """The draft as a plan; unplanned visits without reasons yet."""
        problem = self.tables.problem
        rounds = [self.round_at(shift) for shift, timed in enumerate(self.rounds) if timed.rows]
        left = tuple(Unplanned(problem.visits[visit].key) for visit in self.unplaced())
        return Plan(tuple(rounds), left)

    def round_at(self, shift: int) -> Round:
        """One shift's round as the plan tells it."""
        problem, tables, timed = self.tables.problem, self.tables, self.rounds[shift]
        row = tables.shifts[shift]
        place, stops = row.start, []
        for stop in timed.rows:
            kind, key, part = self._named(shift, stop.item, stop.label)
            stops.append(
                Stop(
                    kind=kind,
                    key=key,
                    part=part,
                    place=problem.places[stop.place].key,
                    arrives_s=stop.arrives_s,
                    starts_s=stop.starts_s,
                    leaves_s=stop.leaves_s,
                    travel_s=tables.seconds_rows[place][stop.place],
                    travel_m=int(problem.travel.metres[place, stop.place]),
                    rests=stop.rests,
                )
            )
            place = stop.place
        return Round(
            shift=problem.shifts[shift].key,
            departs_s=timed.departs_s,
            returns_s=timed.returns_s,
            stops=tuple(stops),
            travel_home_s=tables.seconds_rows[place][row.end],
            travel_home_m=int(problem.travel.metres[place, row.end]),
        )

    def _named(self, shift: int, item: int, label: str) -> tuple[StopKind, str, int]:
        problem = self.tables.problem
        if item == BREAK:
            return "break", label, 0
        if item == RELOAD:
            return "reload", problem.shifts[shift].depot or "", 0
        task = self.tables.tasks[item]
        return "visit", problem.visits[task.visit].key, task.part
