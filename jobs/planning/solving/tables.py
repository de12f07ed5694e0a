"""A problem turned into whole numbers and flat tables, once, for everything that searches.

Costs are integers in units of 1/3600 point, so that a weight of w points an hour is w units a
second. A task is one part of a visit; ordinary visits have one task.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil
from weakref import WeakKeyDictionary

import numpy as np
import numpy.typing as npt

from jobs.planning.objective import day_of, leaving_out
from jobs.planning.problem import Break, PlanProblem, Shift, VisitToPlan, Window

UNITS_PER_POINT = 3600
REQUIRED_POINTS = 1_000_000.0
LITRES_PER_M3 = 1000
ALWAYS: tuple[Window, ...] = ()
NO_LIMIT = 1 << 40
RELOAD = -1
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Task:
    """One part of a visit, in whole numbers (seconds, litres, units of cost)."""

    visit: int
    part: int
    last: bool
    place: int
    service_s: int
    litres: int
    windows: tuple[Window, ...]
    earliest_s: int
    goods_ready_s: int
    fixed_s: int | None
    promised_s: int | None
    due_s: int | None
    late_units_s: float
    moved_units: int
    counts_stock: bool


@dataclass(frozen=True, slots=True)
class ShiftRow:
    """One shift in whole numbers. `leaves_s`: earliest departure; `loads_until_s`: latest."""

    opens_s: int
    closes_s: int
    latest_s: int
    start: int
    end: int
    litres: int
    depot: int | None
    depot_place: int
    depot_windows: tuple[Window, ...]
    reload_s: int
    breaks: tuple[Break, ...]
    loads_at_start: bool
    day: int
    first_start_s: int = 0


class Tables:
    """Everything about a problem that a search asks for millions of times.

    `seconds`, `units`: travel time and its cost, by place index (also as nested lists, quicker
    one by one). `able[v, s]`: whether the crew of shift s may do visit v;
    `allowed[v, s]`: and whether it can begin there by its times. `assign[v, s]`: what
    it costs to give it to that shift, times apart. `late[v, s]`: the least it would be late there.
    `remote_s[v]`: seconds from the nearest base.
    """

    def __init__(self, problem: PlanProblem) -> None:
        self.problem = problem
        weights = problem.weights
        self.seconds: IntArray = problem.travel.seconds
        self.units: IntArray = np.rint(
            problem.travel.seconds * weights.travel_hour
            + problem.travel.metres * (weights.travel_km * UNITS_PER_POINT / 1000)
        ).astype(np.int64)
        self.seconds_rows: list[list[int]] = self.seconds.tolist()
        self.units_rows: list[list[int]] = self.units.tolist()
        self.step_s = problem.start_step_s
        self.now_s = problem.now_s
        self.overtime_units_s = weights.overtime_hour
        self.crew_day_units = round(weights.crew_day * UNITS_PER_POINT)
        self.tolerance_s = weights.promise_tolerance_s
        self.tasks: list[Task] = []
        self.first_task: list[int] = []
        for number, visit in enumerate(problem.visits):
            self.first_task.append(len(self.tasks))
            self.tasks.extend(_tasks(problem, number, visit))
        self.first_task.append(len(self.tasks))
        self.needs = [
            visit.part_stock(part)
            for visit in problem.visits
            for part in range(len(visit.lengths_s))
        ]
        self.shifts = [_shift_row(problem, shift) for shift in problem.shifts]
        self.crews = {shift.crew: problem.crew_shifts(shift.crew) for shift in problem.shifts}
        self.rows_of_crew = {
            crew: [problem.shift_index[shift.key] for shift in shifts]
            for crew, shifts in self.crews.items()
        }
        self.left_out_units = [
            round(
                (REQUIRED_POINTS if visit.required or visit.fixed else 0) * UNITS_PER_POINT
                + leaving_out(problem, visit) * UNITS_PER_POINT
            )
            for visit in problem.visits
        ]
        self.befores = [
            [(problem.visit_index[after.key], after.gap_s) for after in visit.after]
            for visit in problem.visits
        ]
        self.afters: list[list[tuple[int, int]]] = [[] for _ in problem.visits]
        for number, befores in enumerate(self.befores):
            for before, gap_s in befores:
                self.afters[before].append((number, gap_s))
        self.linked = [bool(self.befores[v] or self.afters[v]) for v in range(len(problem.visits))]
        self.promised_day = [
            -1 if visit.promised is None else day_of(problem, visit.promised.starts_s)
            for visit in problem.visits
        ]
        self.crew_names = np.array([shift.crew for shift in problem.shifts], dtype=object)
        self.days: IntArray = np.array([shift.day for shift in problem.shifts], dtype=np.int64)
        self.sizes: IntArray = np.array([s.crew_size for s in problem.shifts], dtype=np.int64)
        self._able: dict[frozenset[str], BoolArray] = {}
        self.able, self.allowed, self.assign, self.late = _by_shift(problem, self)
        self.choices: list[int] = self.allowed.sum(axis=1).tolist()
        self.allowed_rows = [np.flatnonzero(row) for row in self.allowed]
        self.seconds_to: IntArray = np.ascontiguousarray(self.seconds.T)
        self.units_to: IntArray = np.ascontiguousarray(self.units.T)
        bases = sorted({row.start for row in self.shifts})
        places = [self.tasks[task].place for task in self.first_task[:-1]]
        ways_s = self.seconds[np.ix_(bases, places)]
        self.remote_s: list[int] = ways_s.min(axis=0).tolist() if bases else [0] * len(places)
        self._runs: dict[int, IntArray] = {}
        self.assign_rows: list[list[int]] = self.assign.tolist()

    def tasks_of(self, visit: int) -> range:
        """The numbers of a visit's tasks, in order of its parts."""
        return range(self.first_task[visit], self.first_task[visit + 1])

    def skills_able(self, skills: frozenset[str]) -> BoolArray:
        """The shifts whose crew has all those skills."""
        if skills not in self._able:
            shifts = self.problem.shifts
            self._able[skills] = np.array([skills <= s.skills for s in shifts], dtype=bool)
        return self._able[skills]

    def runs_of(self, parts: int) -> IntArray:
        """Every run of so many consecutive shifts of one crew: a row of shift numbers each."""
        if parts not in self._runs:
            runs = [
                rows[start : start + parts]
                for rows in self.rows_of_crew.values()
                for start in range(len(rows) - parts + 1)
            ]
            self._runs[parts] = np.array(runs, dtype=np.int64).reshape(-1, parts)
        return self._runs[parts]


_KNOWN: WeakKeyDictionary[PlanProblem, Tables] = WeakKeyDictionary()


def tables_of(problem: PlanProblem) -> Tables:
    """The tables of a problem, made once and kept as long as the problem is."""
    found = _KNOWN.get(problem)
    if found is None:
        found = _KNOWN[problem] = Tables(problem)
    return found


def litres_of(volume_m3: float) -> int:
    """Cubic metres in whole litres, rounded up but for the noise of floating point."""
    return ceil(round(volume_m3 * LITRES_PER_M3, 6))


def _tasks(problem: PlanProblem, number: int, visit: VisitToPlan) -> list[Task]:
    promise = visit.promised
    weights = problem.weights
    share = 0.0 if promise is None else 1.0 if promise.told else weights.booked_share
    last = len(visit.lengths_s) - 1
    return [
        Task(
            visit=number,
            part=part,
            last=part == last,
            place=problem.place_index[visit.place],
            service_s=length_s,
            litres=litres_of(visit.part_volume_m3(part)),
            windows=tuple(sorted(visit.windows, key=lambda w: w.opens_s)) if not part else ALWAYS,
            earliest_s=visit.earliest_s,
            goods_ready_s=0 if visit.fixed else visit.goods_ready_s,
            fixed_s=promise.starts_s if visit.fixed and promise else None,
            promised_s=promise.starts_s if promise and not visit.fixed and not part else None,
            due_s=visit.due_s if part == last else None,
            late_units_s=weights.late_hour * visit.priority,
            moved_units=round(weights.promise_time * share * UNITS_PER_POINT) if not part else 0,
            counts_stock=bool(visit.stock),
        )
        for part, length_s in enumerate(visit.lengths_s)
    ]


def _shift_row(problem: PlanProblem, shift: Shift) -> ShiftRow:
    depot = problem.depot(shift.depot) if shift.depot is not None else None
    windows = (
        tuple(
            window
            for window in sorted(depot.windows, key=lambda w: w.opens_s)
            if window.opens_s <= shift.closes_s + shift.overtime_s
            and window.closes_s >= shift.opens_s
        )
        if depot
        else ALWAYS
    )
    never = (Window(-1, -1),) if depot and depot.windows and not windows else windows
    litres = shift.van_volume_m3
    return ShiftRow(
        opens_s=shift.opens_s,
        closes_s=shift.closes_s,
        latest_s=shift.closes_s + shift.overtime_s,
        start=problem.place_index[shift.start_place],
        end=problem.place_index[shift.end_place],
        litres=NO_LIMIT if litres is None else int(litres * LITRES_PER_M3 + 1e-6),
        depot=problem.depot_index[shift.depot] if shift.depot is not None else None,
        depot_place=problem.place_index[depot.place] if depot else -1,
        depot_windows=never,
        reload_s=depot.reload_s if depot else 0,
        breaks=shift.breaks,
        loads_at_start=depot is not None and depot.place == shift.start_place,
        day=shift.day,
        first_start_s=shift.first_start_s,
    )


def retold(tables: Tables, visit: int, freer: VisitToPlan) -> None:
    """Let copied tables see one visit, or the shifts' ends, otherwise: for trials only."""
    problem = tables.problem
    first = tables.first_task[visit]
    tables.tasks = list(tables.tasks)
    tables.tasks[first : first + len(freer.lengths_s)] = _tasks(problem, visit, freer)
    tables.able, tables.allowed = tables.able.copy(), tables.allowed.copy()
    tables.able[visit] = _allowed(problem, freer, tables.skills_able(freer.skills), tables)
    tables.allowed[visit] = tables.able[visit] & _may_begin(problem, freer, tables)
    tables.allowed_rows = list(tables.allowed_rows)
    tables.allowed_rows[visit] = np.flatnonzero(tables.allowed[visit])


def _may_begin(problem: PlanProblem, visit: VisitToPlan, tables: Tables) -> BoolArray:
    """The shifts in which a visit can begin, by its own times."""
    if visit.fixed:
        return np.ones(len(tables.shifts), dtype=bool)
    opens = np.array([row.opens_s for row in tables.shifts], dtype=np.int64)
    latest = np.array([row.latest_s for row in tables.shifts], dtype=np.int64)
    return _in_time(problem, visit, opens, latest)


def _by_shift(
    problem: PlanProblem, tables: Tables
) -> tuple[BoolArray, BoolArray, IntArray, IntArray]:
    """able, allowed, assign and late of every visit and shift, worked out in arrays."""
    visits, shifts = problem.visits, problem.shifts
    allowed = np.zeros((len(visits), len(shifts)), dtype=bool)
    able = np.zeros_like(allowed)
    assign = np.zeros((len(visits), len(shifts)), dtype=np.int64)
    late = np.zeros((len(visits), len(shifts)), dtype=np.int64)
    opens = np.array([shift.opens_s for shift in shifts], dtype=np.int64)
    for number, visit in enumerate(visits):
        able[number] = _allowed(problem, visit, tables.skills_able(visit.skills), tables)
        allowed[number] = able[number] & _may_begin(problem, visit, tables)
        assign[number] = _assign(problem, visit, tables.crew_names, tables.days)
        if visit.due_s is not None:
            ends = np.maximum(opens, visit.earliest_s) + visit.lengths_s[0]
            hours = np.maximum(0, ends - visit.due_s)
            late[number] = hours * (problem.weights.late_hour * visit.priority)
    return able, allowed, assign, late


def _allowed(
    problem: PlanProblem, visit: VisitToPlan, able: BoolArray, tables: Tables
) -> BoolArray:
    crews, days, sizes = tables.crew_names, tables.days, tables.sizes
    if visit.fixed and visit.promised is not None:
        day = day_of(problem, visit.promised.starts_s)
        return np.asarray((crews == visit.promised.crew) & (days == day), dtype=bool)
    fine = able & (sizes >= visit.crew_size)
    if visit.fixed_crew is not None:
        fine = fine & (crews == visit.fixed_crew)
    for crew in visit.barred_crews:
        fine = fine & (crews != crew)
    return np.asarray(fine, dtype=bool)


def _in_time(
    problem: PlanProblem, visit: VisitToPlan, opens: IntArray, latest: IntArray
) -> BoolArray:
    """Shifts during which the first part can start (a window is open) and end."""
    from_s = max(visit.earliest_s, problem.now_s)
    length_s = visit.lengths_s[0]
    fine = np.maximum(opens, from_s) + length_s <= latest
    if visit.windows:
        open_ = np.zeros(len(opens), dtype=bool)
        for window in visit.windows:
            starts = np.maximum(opens, max(from_s, window.opens_s))
            ends = window.closes_s - (length_s if window.whole else 0)
            open_ |= (starts <= ends) & (starts + length_s <= latest)
        fine = fine & open_
    return np.asarray(fine, dtype=bool)


def _assign(
    problem: PlanProblem, visit: VisitToPlan, crews: npt.NDArray[np.object_], days: IntArray
) -> IntArray:
    """Units for giving a visit to each shift: preference, and moving its promise there."""
    weights = problem.weights
    points = np.zeros(len(crews))
    if visit.preferred_crews:
        points += [0 if crew in visit.preferred_crews else weights.not_preferred for crew in crews]
    if visit.promised is not None and not visit.fixed:
        share = 1.0 if visit.promised.told else weights.booked_share
        points += (crews != visit.promised.crew) * weights.promise_crew * share
        day = day_of(problem, visit.promised.starts_s)
        points += (days != day) * weights.promise_day * share
    return np.rint(points * UNITS_PER_POINT).astype(np.int64)
