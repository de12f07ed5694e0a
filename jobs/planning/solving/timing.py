"""When each stop of a round happens: the earliest way through it that breaks no rule.

A round is a shift and a sequence of items: task numbers, and `RELOAD` where the van goes back to
its depot. `time_round` gives its times and cost, or None if there is no way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from jobs.planning.problem import Break
from jobs.planning.solving.tables import RELOAD, ShiftRow, Tables, Task

BREAK = -2
Rests = tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class Row:
    """One stop: item (`BREAK` for a rest), place index, and its times in seconds."""

    item: int
    place: int
    arrives_s: int
    starts_s: int
    leaves_s: int
    rests: Rests = ()
    label: str = ""


@dataclass(frozen=True, slots=True)
class Timed:
    """A round with its times. `units`: what it costs, left-out visits apart."""

    items: tuple[int, ...]
    rows: tuple[Row, ...]
    departs_s: int
    returns_s: int
    units: int
    wait_s: int


EMPTY = Timed((), (), 0, 0, 0, 0)


def time_round(
    tables: Tables, shift: int, items: Sequence[int], not_before: Sequence[int]
) -> Timed | None:
    """The round's times: promises kept if that is possible and no dearer; None if none fit.

    `not_before`: earliest start of each visit, in seconds, from what it comes after.
    """
    if not items:
        return EMPTY
    if not _loads_fit(tables, shift, items):
        return None
    best: Timed | None = None
    promised = any(i >= 0 and tables.tasks[i].promised_s is not None for i in items)
    for early_s in (0, tables.tolerance_s, None) if promised else (None,):
        walk = _Walk(tables, shift, items, not_before, early_s)
        timed = walk.run()
        if timed is not None and (best is None or timed.units < best.units):
            best = timed
        if timed is not None and promised and not walk.moved and not walk.over_s:
            break
    return best


def _loads_fit(tables: Tables, shift: int, items: Sequence[int]) -> bool:
    """Whether each trip between reloads fits the van; trips fixed by hand are taken as they are."""
    row, tasks = tables.shifts[shift], tables.tasks
    litres, moving = 0, False
    for item in items:
        if item == RELOAD:
            if row.depot is None:
                return False
            litres, moving = 0, False
            continue
        task = tasks[item]
        litres += task.litres
        moving = moving or (task.fixed_s is None and task.litres > 0)
        if moving and litres > row.litres:
            return False
    return True


def ready_s(tables: Tables, items: Sequence[int], begin: int) -> int:
    """When the goods of the trip that begins at that index can be loaded, seconds."""
    latest_s = 0
    for item in items[begin:]:
        if item == RELOAD:
            break
        latest_s = max(latest_s, tables.tasks[item].goods_ready_s)
    return latest_s


class _Walk:
    """One way through a round, stop after stop, at the earliest.

    `early_s`: how long before its promised start a visit may start (None: promises are priced,
    not waited for).
    """

    def __init__(
        self,
        tables: Tables,
        shift: int,
        items: Sequence[int],
        not_before: Sequence[int],
        early_s: int | None,
    ) -> None:
        self.tables, self.shift, self.items = tables, shift, items
        self.row: ShiftRow = tables.shifts[shift]
        self.not_before, self.early_s = not_before, early_s
        self.place, self.free_s = self.row.start, self.row.opens_s
        self.by_hand = True
        self.pending: list[Break] = list(self.row.breaks)
        self.lenient = all(i >= 0 and tables.tasks[i].fixed_s is not None for i in items)
        self.rows: list[Row] = []
        self.departs_s: int | None = None
        self.units = tables.crew_day_units
        self.wait_s = 0
        self.moved = False
        self.over_s = 0
        self.hand_end_s = 0
        self.loads_until_s: int | None = None

    def run(self) -> Timed | None:
        """Walk through all items and home."""
        if not self._load_first():
            return None
        for index, item in enumerate(self.items):
            if not (self._reload(index) if item == RELOAD else self._visit(item)):
                return None
        return self._home()

    def _load_first(self) -> bool:
        """The first trip is loaded while the depot is open, and when its goods are there."""
        first = self.items[0]
        task = self.tables.tasks[first] if first != RELOAD else None
        if task is not None and task.fixed_s is not None:
            return True
        self.free_s = max(self.free_s, self.tables.now_s, ready_s(self.tables, self.items, 0))
        row = self.row
        if not row.loads_at_start or not row.depot_windows:
            return True
        for window in row.depot_windows:
            if self.free_s <= window.closes_s:
                self.free_s = max(self.free_s, window.opens_s)
                self.loads_until_s = window.closes_s
                return True
        return False

    def _start(self, task: Task, at_s: int, length_s: int) -> int | None:
        """The first moment from `at_s` on when the task may start."""
        step_s = self.tables.step_s
        at_s = max(at_s, task.earliest_s, self.not_before[task.visit], self.row.first_start_s)
        promised_s = task.promised_s
        if self.early_s is not None and promised_s is not None:
            kept_s = promised_s - self.early_s
            if at_s <= promised_s + self.tables.tolerance_s and kept_s <= self.row.latest_s:
                at_s = max(at_s, kept_s)
        at_s = -(-at_s // step_s) * step_s
        if not task.windows:
            return at_s
        for window in task.windows:
            if at_s <= window.closes_s:
                starts_s = max(at_s, -(-window.opens_s // step_s) * step_s)
                ends_s = starts_s + length_s if window.whole else starts_s
                if ends_s <= window.closes_s:
                    return starts_s
        return None

    def _visit(self, item: int) -> bool:
        task = self.tables.tasks[item]
        if task.fixed_s is not None:
            return self._fixed(item, task, task.fixed_s)
        way_s = self.tables.seconds_rows[self.place][task.place]
        rests: list[tuple[int, int]] = []
        while True:
            length_s = task.service_s + sum(end - start for start, end in rests)
            starts_s = self._start(task, self._sets_off_s() + way_s, length_s)
            if starts_s is None:
                return False
            if not self.pending or starts_s + length_s <= self.pending[0].earliest_s:
                break
            if self._rest_for_free(task.place, way_s, starts_s):
                way_s = self.tables.seconds_rows[self.place][task.place]
                continue
            if starts_s + length_s <= self.pending[0].latest_s:
                break
            taken = self._rest_or_interrupt(task, way_s, starts_s, length_s, rests)
            if taken is None:
                return False
            way_s = self.tables.seconds_rows[self.place][task.place]
        self.free_s = self._sets_off_s()
        self._append(item, task.place, way_s, starts_s, starts_s + length_s, tuple(rests))
        self._price(task, starts_s, starts_s + length_s)
        self.by_hand = False
        return True

    def _sets_off_s(self) -> int:
        """When the crew can set off to something that is not fixed: not in the past."""
        return max(self.free_s, self.tables.now_s)

    def _rest_for_free(self, goal: int, way_s: int, starts_s: int) -> bool:
        """Take the next break in time that would be waited away, if there is enough."""
        rest = self.pending[0]
        if not self.rows:
            leaves_s = starts_s - way_s
            if self.loads_until_s is not None:
                leaves_s = min(leaves_s, self.loads_until_s)
            if leaves_s >= rest.earliest_s + rest.length_s:
                self.pending.pop(0)
                return True
        here_s = max(self.free_s, rest.earliest_s)
        if here_s <= rest.latest_s and here_s + rest.length_s + way_s <= starts_s:
            self._rest(rest, self.place, 0, here_s)
            return True
        there_s = max(self._sets_off_s() + way_s, rest.earliest_s)
        if there_s <= rest.latest_s and there_s + rest.length_s <= starts_s:
            self._rest(rest, goal, way_s, there_s)
            return True
        return False

    def _rest_or_interrupt(
        self,
        task: Task,
        way_s: int,
        starts_s: int,
        length_s: int,
        rests: list[tuple[int, int]],
    ) -> bool | None:
        """Take the next break before, on arriving at or within a visit, whatever ends first."""
        rest = self.pending[0]
        options: list[tuple[int, int, int]] = []
        here_s = max(self.free_s, rest.earliest_s)
        there_s = max(self._sets_off_s() + way_s, rest.earliest_s)
        for kind, at_s, then_s in (
            (0, here_s, here_s + rest.length_s + way_s),
            (1, there_s, there_s + rest.length_s),
        ):
            later_s = self._start(task, then_s, length_s)
            if at_s <= rest.latest_s and later_s is not None and not rests:
                options.append((later_s + length_s, kind, at_s))
        inside_s = max(starts_s, rest.earliest_s, rests[-1][1] if rests else 0)
        if rest.within_visit and inside_s <= rest.latest_s and inside_s <= starts_s + length_s:
            same_s = self._start(task, self._sets_off_s() + way_s, length_s + rest.length_s)
            if same_s == starts_s:
                options.append((starts_s + length_s + rest.length_s, 2, inside_s))
        if not options:
            return None
        _, kind, at_s = min(options)
        if kind == 2:
            rests.append((at_s, at_s + rest.length_s))
            self.pending.pop(0)
        else:
            place = (self.place, task.place)[kind]
            self._rest(rest, place, way_s * kind, at_s)
        return True

    def _fixed(self, item: int, task: Task, starts_s: int) -> bool:
        """A visit that a person fixed: it starts when it starts."""
        way_s = self.tables.seconds_rows[self.place][task.place]
        ends_s = starts_s + task.service_s
        if not self.rows:
            self.free_s = min(self.free_s, starts_s - way_s)
        while self.pending and ends_s > self.pending[0].earliest_s:
            rest = self.pending[0]
            if self._rest_for_free(task.place, way_s, starts_s):
                way_s = self.tables.seconds_rows[self.place][task.place]
                continue
            inside_s = max(starts_s, rest.earliest_s)
            if inside_s <= rest.latest_s and inside_s + rest.length_s <= ends_s:
                self.pending.pop(0)
            elif ends_s > rest.latest_s:
                if not self.lenient:
                    return False
                self.pending.pop(0)
            else:
                break
        if self.free_s + way_s > starts_s and not self.by_hand:
            return False
        self._append(item, task.place, way_s, starts_s, ends_s, ())
        self._price(task, starts_s, ends_s)
        self.by_hand = True
        self.hand_end_s = ends_s + self.tables.seconds_rows[task.place][self.row.end]
        return True

    def _reload(self, index: int) -> bool:
        """Back to the depot for the next trip, while it is open and the goods are there."""
        row = self.row
        way_s = self.tables.seconds_rows[self.place][row.depot_place]
        goods_s = ready_s(self.tables, self.items, index + 1)
        while True:
            starts_s = self._depot_start(max(self._sets_off_s() + way_s, goods_s))
            if starts_s is None:
                return False
            ends_s = starts_s + row.reload_s
            if not self.pending or ends_s <= self.pending[0].earliest_s:
                break
            if not self._rest_for_free(row.depot_place, way_s, starts_s):
                rest = self.pending[0]
                if ends_s <= rest.latest_s:
                    break
                at_s = max(self.free_s, rest.earliest_s)
                if at_s > rest.latest_s:
                    return False
                self._rest(rest, self.place, 0, at_s)
            way_s = self.tables.seconds_rows[self.place][row.depot_place]
        self.free_s = self._sets_off_s()
        self._append(RELOAD, row.depot_place, way_s, starts_s, ends_s, ())
        self.by_hand = False
        return True

    def _depot_start(self, at_s: int) -> int | None:
        """The first moment from `at_s` on when a reload can start and end with the depot open."""
        if not self.row.depot_windows:
            return at_s
        for window in self.row.depot_windows:
            starts_s = max(at_s, window.opens_s)
            if starts_s + self.row.reload_s <= window.closes_s:
                return starts_s
        return None

    def _rest(self, rest: Break, place: int, way_s: int, at_s: int) -> None:
        self.pending.pop(0)
        self._append(BREAK, place, way_s, at_s, at_s + rest.length_s, (), rest.label)
        self.by_hand = False

    def _append(
        self,
        item: int,
        place: int,
        way_s: int,
        starts_s: int,
        ends_s: int,
        rests: Rests,
        label: str = "",
    ) -> None:
        """Add a stop; the first one is reached just in time, so that nobody waits at a door."""
        arrives_s = min(self.free_s + way_s, starts_s)
        if not self.rows:
            leaves_s = max(self.free_s, starts_s - way_s)
            if self.loads_until_s is not None:
                leaves_s = min(leaves_s, self.loads_until_s)
            self.departs_s = min(leaves_s, starts_s - way_s) if self.by_hand else leaves_s
            arrives_s = min(self.departs_s + way_s, starts_s)
        self.units += self.tables.units_rows[self.place][place]
        self.wait_s += starts_s - arrives_s
        self.rows.append(Row(item, place, arrives_s, starts_s, ends_s, rests, label))
        self.place, self.free_s = place, ends_s

    def _price(self, task: Task, starts_s: int, ends_s: int) -> None:
        """Lateness, a promise not kept, and what this shift costs for the visit."""
        if task.due_s is not None and ends_s > task.due_s:
            self.units += round((ends_s - task.due_s) * task.late_units_s)
        if task.part:
            return
        tables = self.tables
        self.units += tables.assign_rows[task.visit][self.shift]
        promised_s = task.promised_s
        if promised_s is not None and abs(starts_s - promised_s) > tables.tolerance_s:
            self.moved = True
            same_day = tables.promised_day[task.visit] == self.row.day
            self.units += task.moved_units if same_day else 0

    def _home_in_time(self, returns_s: int, rest: Break, at_s: int) -> bool:
        """Whether a break on the way back leaves a day fixed by hand as it is; else none is had."""
        return at_s <= rest.latest_s and returns_s <= max(self.row.latest_s, self.hand_end_s)

    def _home(self) -> Timed | None:
        row = self.row
        way_s = self.tables.seconds_rows[self.place][row.end]
        for rest in list(self.pending):
            if self.free_s + way_s <= rest.latest_s:
                break
            at_s = max(self.free_s, rest.earliest_s)
            if self.lenient and not self._home_in_time(at_s + rest.length_s + way_s, rest, at_s):
                continue
            if at_s > rest.latest_s:
                return None
            self._rest(rest, self.place, 0, at_s)
        returns_s = self.free_s + way_s
        if (self.departs_s or 0) < ready_s(self.tables, self.items, 0):
            return None
        if returns_s > max(row.latest_s, self.hand_end_s):
            return None
        self.units += self.tables.units_rows[self.place][row.end]
        self.over_s = max(0, returns_s - row.closes_s)
        self.units += round(self.over_s * self.tables.overtime_units_s)
        return Timed(
            items=tuple(self.items),
            rows=tuple(self.rows),
            departs_s=self.departs_s or 0,
            returns_s=returns_s,
            units=self.units,
            wait_s=self.wait_s,
        )
