"""Some shifts and visits of a draft as a routing problem for PyVRP, and its answer back again.

What PyVRP can say is said exactly: travel, loads and reloads, one of several windows, prizes for
optional visits, who may go (a profile of travel costs for each kind of shift), overtime. What it
cannot say is held still or approximated: parts of long jobs stay where they are, orders become
windows, breaks are cut out of the clock, lateness is priced by shift, stock is left to the real
rules. Its answer is timed and checked by those before it counts.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import gcd
from typing import Any, cast

import numpy as np
import pyvrp
from pyvrp import Activity, ActivityType, Client, ClientGroup, Depot, Location, VehicleType

from jobs.planning.solving.choices import Choice, choices_of
from jobs.planning.solving.clock import ClockWithoutBreaks
from jobs.planning.solving.draft import Draft
from jobs.planning.solving.late_acceptance import LateAcceptance, Manner, Penalties
from jobs.planning.solving.tables import RELOAD, IntArray, Tables

FOREVER_S = 1 << 40


@dataclass(frozen=True, slots=True)
class Wanted:
    """The part of a draft to be routed anew: shift numbers and task numbers."""

    shifts: tuple[int, ...]
    tasks: tuple[int, ...]


class RoutingProblem:
    """A part of a draft in PyVRP's terms.

    `data`: PyVRP's problem. `client_task[c]`: the task of client c. `type_shifts[t]`: the shifts
    of vehicle type t, alike to each other.
    """

    def __init__(self, draft: Draft, wanted: Wanted) -> None:
        self.draft, self.tables, self.wanted = draft, draft.tables, wanted
        self.clock = ClockWithoutBreaks(self.tables, wanted.shifts)
        self.scale = _scale(self.tables, wanted.shifts)
        self.choices: list[Choice] = []
        self.client_task: list[int] = []
        self.client_of: dict[tuple[int, int], int] = {}
        for task in wanted.tasks:
            for number, choice in enumerate(choices_of(draft, task, wanted.shifts)):
                self.client_of[task, number] = len(self.choices)
                self.choices.append(choice)
                self.client_task.append(task)
        self.bases = self._base_places()
        self.depots: list[Depot] = []
        self.depot_of: dict[object, int] = {}
        self.profile_of, columns = self._profiles()
        self.type_shifts: list[list[int]] = []
        self.type_of: dict[int, int] = {}
        vehicle_types = self._vehicle_types()
        self.data = pyvrp.ProblemData(
            locations=[Location(0, 0) for _ in range(len(self.bases) + len(wanted.tasks))],
            clients=self._clients(),
            depots=self.depots,
            vehicle_types=vehicle_types,
            distance_matrices=cast(Any, self._distances(columns)),
            duration_matrices=cast(Any, self._durations(len(columns))),
            groups=self.groups,
        )

    def _base_places(self) -> list[int]:
        rows = [self.tables.shifts[shift] for shift in self.wanted.shifts]
        found = {row.start for row in rows} | {row.end for row in rows}
        return sorted(found | {row.depot_place for row in rows if row.depot is not None})

    def _at(self) -> IntArray:
        tasks = [self.tables.tasks[task].place for task in self.wanted.tasks]
        return np.array(self.bases + tasks, dtype=np.int64)

    def _distances(self, columns: list[IntArray]) -> list[IntArray]:
        """Costs of each profile: travel, and what giving the visit to such a shift costs."""
        at = self._at()
        units = np.rint(self.tables.units[np.ix_(at, at)] / self.scale).astype(np.int64)
        found = []
        for column in columns:
            matrix = units.copy()
            matrix[:, len(self.bases) :] += np.rint(column / self.scale).astype(np.int64)[None, :]
            np.fill_diagonal(matrix, 0)
            found.append(matrix)
        return found

    def _durations(self, count: int) -> list[IntArray]:
        at, step_s = self._at(), self.tables.step_s
        seconds = self.tables.seconds[np.ix_(at, at)]
        seconds = -(-seconds // step_s) * step_s
        np.fill_diagonal(seconds, 0)
        return [seconds] * count

    def _profiles(self) -> tuple[dict[int, int], list[IntArray]]:
        """Which profile each shift has, and the costs of every task for each profile."""
        tables = self.tables
        visits = np.array([tables.tasks[task].visit for task in self.wanted.tasks], dtype=np.int64)
        never = 4 * max((choice.prize for choice in self.choices), default=1) + 1
        profiles: dict[bytes, int] = {}
        columns: list[IntArray] = []
        profile_of: dict[int, int] = {}
        held = self._held_columns()
        for shift in self.wanted.shifts:
            column = np.zeros(len(visits), dtype=np.int64)
            if len(visits):
                allowed = tables.allowed[visits, shift].copy()
                column = tables.assign[visits, shift] + tables.late[visits, shift]
                for number, only in held.items():
                    allowed[number] = only == shift
                column[~allowed] = never
            key = column.tobytes()
            if key not in profiles:
                profiles[key] = len(columns)
                columns.append(column)
            profile_of[shift] = profiles[key]
        return profile_of, columns

    def _held_columns(self) -> dict[int, int]:
        """Tasks that stay in their shift: parts of long jobs, and what is fixed."""
        return {
            number: self.draft.shift_of[task]
            for number, task in enumerate(self.wanted.tasks)
            if is_held(self.tables, task)
        }

    def _depot(self, key: object, depot: Depot) -> int:
        if key not in self.depot_of:
            self.depot_of[key] = len(self.depots)
            self.depots.append(depot)
        return self.depot_of[key]

    def _vehicle_types(self) -> list[VehicleType]:
        kinds: dict[tuple[object, ...], int] = {}
        for shift in self.wanted.shifts:
            row = self.tables.shifts[shift]
            key = (self.profile_of[shift], row)
            if key not in kinds:
                kinds[key] = len(self.type_shifts)
                self.type_shifts.append([])
            self.type_shifts[kinds[key]].append(shift)
            self.type_of[shift] = kinds[key]
        return [self._vehicle_type(shifts) for shifts in self.type_shifts]

    def _vehicle_type(self, shifts: list[int]) -> VehicleType:
        row = self.tables.shifts[shifts[0]]
        opens_s = row.opens_s
        if not any(self.tables.tasks[item].fixed_s for item in self.draft.rounds[shifts[0]].items):
            opens_s = max(opens_s, self.tables.now_s)
        if row.loads_at_start and row.depot_windows:
            opens_s = max(opens_s, row.depot_windows[0].opens_s)
        step_s = self.tables.step_s
        opens_s = -(-self.clock.told(opens_s) // step_s) * step_s
        closes_s = max(opens_s, self.clock.told(row.closes_s))
        latest_s = max(opens_s, self.clock.told(row.latest_s))
        overtime = latest_s > closes_s
        litres = [min(row.litres, FOREVER_S)] if self._has_loads() else []
        start = self._depot(("base", row.start), Depot(self.bases.index(row.start)))
        end = self._depot(("base", row.end), Depot(self.bases.index(row.end)))
        return VehicleType(
            num_available=len(shifts),
            capacity=litres,
            start_depot=start,
            end_depot=end,
            fixed_cost=round(self.tables.crew_day_units / self.scale),
            tw_early=opens_s,
            tw_late=latest_s,
            start_late=opens_s if overtime else latest_s,
            shift_duration=closes_s - opens_s if overtime else FOREVER_S,
            max_overtime=latest_s - closes_s,
            unit_overtime_cost=round(self.tables.overtime_units_s / self.scale) if overtime else 0,
            unit_distance_cost=1,
            profile=self.profile_of[shifts[0]],
            reload_depots=self._reloads(shifts[0]),
        )

    def _has_loads(self) -> bool:
        return any(self.tables.tasks[task].litres for task in self.wanted.tasks)

    def _reloads(self, shift: int) -> list[int]:
        """Depots of that shift with each of its opening times as one of its own."""
        row = self.tables.shifts[shift]
        if row.depot is None or not self._has_loads():
            return []
        place = self.bases.index(row.depot_place)
        found = []
        for window in row.depot_windows or (None,):
            early_s = self.clock.told(max(0, window.opens_s)) if window else 0
            late_s = self.clock.told(window.closes_s) - row.reload_s if window else FOREVER_S
            if late_s < early_s:
                continue
            depot = Depot(place, early_s, late_s, row.reload_s)
            found.append(self._depot(("reload", row.depot, early_s, late_s), depot))
        return found

    def _clients(self) -> list[Client]:
        """One client a choice; choices of one visit exclude each other."""
        self.groups: list[ClientGroup] = []
        count_of: dict[int, int] = {}
        for task in self.client_task:
            count_of[task] = count_of.get(task, 0) + 1
        group_of: dict[int, int] = {}
        found = []
        where = {task: len(self.bases) + n for n, task in enumerate(self.wanted.tasks)}
        loads = self._has_loads()
        for number, choice in enumerate(self.choices):
            task = self.client_task[number]
            row = self.tables.tasks[task]
            several = count_of[task] > 1
            if several and task not in group_of:
                group_of[task] = len(self.groups)
                self.groups.append(ClientGroup(required=choice.required))
            if several:
                self.groups[group_of[task]].add_client(number)
            early_s = self._early(choice)
            late_s = max(early_s, self.clock.told(choice.latest_s))
            found.append(
                Client(
                    location=where[task],
                    delivery=[row.litres] if loads else [],
                    service_duration=self._service_s(task),
                    tw_early=early_s,
                    tw_late=late_s,
                    release_time=min(late_s, self.clock.told(row.goods_ready_s)),
                    prize=round(choice.prize / self.scale),
                    required=choice.required and not several,
                    group=group_of.get(task),
                )
            )
        return found

    def _early(self, choice: Choice) -> int:
        step_s = self.tables.step_s
        early_s = self.clock.told(choice.earliest_s)
        return early_s if choice.exact else -(-early_s // step_s) * step_s

    def _service_s(self, task: int) -> int:
        row = self.tables.tasks[task]
        if row.fixed_s is not None:
            return self.clock.told(row.fixed_s + row.service_s) - self.clock.told(row.fixed_s)
        return -(-row.service_s // self.tables.step_s) * self.tables.step_s

    def routes(self) -> list[tuple[int, pyvrp.Route]]:
        """(shift, route) of the draft's rounds as they are."""
        found = []
        for shift in self.wanted.shifts:
            items = self.draft.rounds[shift].items
            if not items:
                continue
            activities = [
                Activity(ActivityType.DEPOT, self._reload_of(shift, position))
                if item == RELOAD
                else Activity(ActivityType.CLIENT, self._client_now(item))
                for position, item in enumerate(items)
            ]
            found.append((shift, pyvrp.Route(self.data, activities, self.type_of[shift])))
        return found

    def _reload_of(self, shift: int, position: int) -> int:
        reloads = self._reloads(shift)
        row = [r for r in self.draft.rounds[shift].rows if r.item != -2][position]
        at_s = self.clock.told(row.starts_s)
        open_ = [d for d in reloads if self.depots[d].tw_early <= at_s <= self.depots[d].tw_late]
        return (open_ or reloads)[0]

    def _client_now(self, task: int) -> int:
        """The client of the choice that holds where the task lies now, or its first."""
        starts_s = next(
            row.starts_s
            for row in self.draft.rounds[self.draft.shift_of[task]].rows
            if row.item == task
        )
        number = 0
        while (task, number) in self.client_of:
            choice = self.choices[self.client_of[task, number]]
            if choice.earliest_s <= starts_s <= choice.latest_s:
                return self.client_of[task, number]
            number += 1
        return self.client_of[task, 0]

    def sequences(self, solution: pyvrp.Solution) -> dict[int, list[int]]:
        """The items of each shift in PyVRP's answer; shifts without a route get none."""
        free = {kind: list(shifts) for kind, shifts in enumerate(self.type_shifts)}
        found: dict[int, list[int]] = {shift: [] for shift in self.wanted.shifts}
        for route in solution.routes():
            items = [
                RELOAD if activity.is_depot() else self.client_task[activity.idx]
                for activity in list(route.schedule())[1:-1]
            ]
            found[free[route.vehicle_type()].pop(0)] = items
        return found


def is_held(tables: Tables, task: int) -> bool:
    """Whether routing leaves the task in its shift: a fixed visit or a part of a long job."""
    row = tables.tasks[task]
    return row.fixed_s is not None or not (row.last and row.part == 0)


def _scale(tables: Tables, shifts: Sequence[int]) -> int:
    """The units that make one unit of PyVRP's cost: the common divisor of the weights."""
    weights = tables.problem.weights
    over = any(tables.shifts[shift].latest_s > tables.shifts[shift].closes_s for shift in shifts)
    prices = [round(weights.travel_hour), round(weights.travel_km * 3.6)]
    if over:
        prices.append(round(weights.overtime_hour))
    return max(1, gcd(*prices))


def improve(
    problem: RoutingProblem,
    seed: int,
    stop: Callable[[int], bool],
    on_best: Callable[[pyvrp.Solution], None],
    manner: Manner,
) -> tuple[pyvrp.Solution | None, Penalties]:
    """PyVRP's best answer from the present rounds until `stop`, None if it has none; and the
    penalties to go on with."""
    start = pyvrp.Solution(problem.data, [route for _, route in problem.routes()])
    known = manner.penalties and manner.penalties.times(1 / problem.scale)
    search = LateAcceptance(problem.data, start, seed, manner, known)
    search.run(stop, on_best)
    learned = search.penalties.times(problem.scale)
    return search.best if search.best.is_feasible() else None, learned
