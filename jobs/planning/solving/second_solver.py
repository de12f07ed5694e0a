"""The same problem given to OR-Tools' routing library: the measure beside our own search.

Said to it: travel, windows and several of them, shifts with overtime, lateness by the second, who
may go where, prices for leaving visits out, orders between visits, van volume of one load. Not
said: reloads, stock, breaks (cut out of the clock as for PyVRP), parts of long jobs (placed first
and held). Its answer is then timed by the real rules and what fell out is put in where it fits.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from ortools.constraint_solver import pywrapcp
from ortools.constraint_solver import routing_enums_pb2 as enums_pb2

from jobs.planning.plan import Plan
from jobs.planning.problem import PlanProblem
from jobs.planning.solving.clock import ClockWithoutBreaks
from jobs.planning.solving.draft import Draft
from jobs.planning.solving.first_plan import by_urgency, take_sequence
from jobs.planning.solving.insertion import insert_all, place_fixed
from jobs.planning.solving.tables import Tables, tables_of

UNITS_A_STEP = 60
HORIZON_SPARE_S = 86_400


# Ways to begin; it has no seed, so two processes of it differ by these.
BEGINNINGS = (
    enums_pb2.FirstSolutionStrategy.PARALLEL_CHEAPEST_INSERTION,
    enums_pb2.FirstSolutionStrategy.LOCAL_CHEAPEST_INSERTION,
)
Clock = Callable[[], float]


def plan_with_second_solver(problem: PlanProblem, seconds: float) -> Plan:
    """OR-Tools' plan after so many processor seconds, made to keep every rule."""
    return plans_with_second_solver(problem, [seconds])[seconds]


def plans_with_second_solver(
    problem: PlanProblem,
    marks_s: Sequence[float],
    beginning: int = 0,
    clock: Clock = time.process_time,
) -> dict[float, Plan]:
    """OR-Tools' plans after each of so many seconds of one run, made to keep every rule.

    `beginning`: which of `BEGINNINGS`; `clock`: what tells the seconds.
    """
    begun_s = clock()
    tables = tables_of(problem)
    draft = Draft(tables)
    place_fixed(draft)
    long_jobs = [v for v in draft.unplaced() if len(tables.tasks_of(v)) > 1]
    insert_all(draft, by_urgency(tables, long_jobs))
    visits = [v for v in draft.unplaced() if len(tables.tasks_of(v)) == 1]
    free = [shift for shift, timed in enumerate(draft.rounds) if not timed.items]
    model = _Model(tables, visits, free)
    routes = model.solve([begun_s + mark_s for mark_s in marks_s], BEGINNINGS[beginning], clock)
    return {
        mark_s: _by_the_rules(draft.copy(), visits, routes[begun_s + mark_s]) for mark_s in marks_s
    }


def _by_the_rules(draft: Draft, visits: list[int], routes: dict[int, list[int]]) -> Plan:
    """The draft with those routes as far as every rule lets them, and the rest where it fits."""
    tables = draft.tables
    for shift, items in routes.items():
        take_sequence(draft, shift, items)
    orphans = [
        v
        for v in visits
        if draft.is_placed(v) and any(not draft.is_placed(b) for b, _ in tables.befores[v])
    ]
    draft.remove(orphans)
    insert_all(draft, by_urgency(tables, [v for v in visits if not draft.is_placed(v)]))
    return draft.to_plan()


class _Model:
    """The routing model: a node a visit, then a node a place where rounds start or end."""

    def __init__(self, tables: Tables, visits: list[int], shifts: list[int]) -> None:
        self.tables, self.visits, self.shifts = tables, visits, shifts
        self.clock = ClockWithoutBreaks(tables, shifts)
        rows = [tables.shifts[shift] for shift in shifts]
        bases = sorted({row.start for row in rows} | {row.end for row in rows})
        node = {place: len(visits) + n for n, place in enumerate(bases)}
        self.tasks = [tables.first_task[visit] for visit in visits]
        self.at = np.array([tables.tasks[task].place for task in self.tasks] + bases)
        self.manager = pywrapcp.RoutingIndexManager(
            len(self.at), len(shifts), [node[r.start] for r in rows], [node[r.end] for r in rows]
        )
        self.model = pywrapcp.RoutingModel(self.manager)
        self._travel()
        self._time()
        self._loads()
        self._visits()

    def _travel(self) -> None:
        units = self.tables.units[np.ix_(self.at, self.at)] // UNITS_A_STEP
        cost = self.model.RegisterTransitMatrix(units.tolist())
        self.model.SetArcCostEvaluatorOfAllVehicles(cost)

    def _time(self) -> None:
        seconds = self.tables.seconds[np.ix_(self.at, self.at)].copy()
        service = [self.tables.tasks[task].service_s for task in self.tasks]
        service += [0] * (len(self.at) - len(service))
        seconds += np.array(service)[:, None]
        transit = self.model.RegisterTransitMatrix(seconds.tolist())
        latest_s = max(self.tables.shifts[shift].latest_s for shift in self.shifts)
        horizon_s = latest_s + HORIZON_SPARE_S
        self.model.AddDimension(transit, horizon_s, horizon_s, False, "time")
        self.time = self.model.GetDimensionOrDie("time")
        over = round(self.tables.overtime_units_s / UNITS_A_STEP)
        for number, shift in enumerate(self.shifts):
            row = self.tables.shifts[shift]
            opens_s = max(row.opens_s, self.tables.now_s)
            start, end = self.model.Start(number), self.model.End(number)
            told = self.clock.told
            self.time.CumulVar(start).SetRange(
                told(opens_s), max(told(opens_s), told(row.latest_s))
            )
            self.time.CumulVar(end).SetMax(max(told(opens_s), told(row.latest_s)))
            self.time.SetCumulVarSoftUpperBound(end, told(row.closes_s), over)

    def _loads(self) -> None:
        litres = [self.tables.tasks[task].litres for task in self.tasks]
        litres += [0] * (len(self.at) - len(litres))
        room = [min(self.tables.shifts[s].litres, 1 << 30) for s in self.shifts]
        if any(litres):
            load = self.model.RegisterUnaryTransitVector(litres)
            self.model.AddDimensionWithVehicleCapacity(load, 0, room, True, "load")

    def _visits(self) -> None:
        solver = self.model.solver()
        tables = self.tables
        for node, (visit, task) in enumerate(zip(self.visits, self.tasks, strict=True)):
            index = self.manager.NodeToIndex(node)
            row = tables.tasks[task]
            able = [n for n, s in enumerate(self.shifts) if tables.allowed[visit, s]]
            penalty = tables.left_out_units[visit] // UNITS_A_STEP
            self.model.AddDisjunction([index], penalty)
            if not able:
                solver.Add(self.model.ActiveVar(index) == 0)
                continue
            self.model.VehicleVar(index).SetValues([-1, *able])
            self._windows(index, task)
            if row.due_s is not None:
                price = max(1, round(row.late_units_s / UNITS_A_STEP))
                due_s = max(0, self.clock.told(row.due_s) - row.service_s)
                self.time.SetCumulVarSoftUpperBound(index, due_s, price)
        self._orders(solver)

    def _windows(self, index: int, task: int) -> None:
        row, told = self.tables.tasks[task], self.clock.told
        cumul = self.time.CumulVar(index)
        cumul.SetMin(max(row.earliest_s, self.tables.now_s))
        if not row.windows:
            return
        ends = [told(w.closes_s - (row.service_s if w.whole else 0)) for w in row.windows]
        cumul.SetMax(max(ends))
        cumul.SetMin(max(int(cumul.Min()), told(row.windows[0].opens_s)))
        for end_s, later in zip(ends, row.windows[1:], strict=False):
            if end_s + 1 < told(later.opens_s):
                cumul.RemoveInterval(end_s + 1, told(later.opens_s) - 1)

    def _orders(self, solver: Any) -> None:
        node = {visit: n for n, visit in enumerate(self.visits)}
        for visit in self.visits:
            for before, gap_s in self.tables.befores[visit]:
                if before not in node:
                    continue
                this = self.manager.NodeToIndex(node[visit])
                that = self.manager.NodeToIndex(node[before])
                service_s = self.tables.tasks[self.tables.first_task[before]].service_s
                active = self.model.ActiveVar
                solver.Add(active(this) <= active(that))
                solver.Add(
                    self.time.CumulVar(this)
                    >= self.time.CumulVar(that) + service_s + gap_s - (1 << 30) * (1 - active(this))
                )

    def solve(
        self, until_s: Sequence[float], beginning: int, clock: Clock
    ) -> dict[float, dict[int, list[int]]]:
        """The items of each shift's route at each of those times; none if there was no answer."""
        parameters = pywrapcp.DefaultRoutingSearchParameters()
        parameters.first_solution_strategy = beginning
        search = enums_pb2.LocalSearchMetaheuristic.GUIDED_LOCAL_SEARCH
        parameters.local_search_metaheuristic = search
        last_s = max(until_s)
        parameters.time_limit.FromSeconds(round((last_s - clock()) * 20) + 60)
        limit = self.model.solver().CustomLimit(lambda: clock() >= last_s)
        self.model.AddSearchMonitor(limit)
        found: dict[float, dict[int, list[int]]] = {mark_s: {} for mark_s in until_s}
        best = [float("inf")]

        def note() -> None:
            now_s, cost = clock(), self.model.CostVar().Value()
            if cost >= best[0]:
                return
            best[0] = cost
            routes = {
                shift: self._route(lambda var: var.Value(), n)
                for n, shift in enumerate(self.shifts)
            }
            found.update({mark_s: routes for mark_s in until_s if now_s <= mark_s})

        self.model.AddAtSolutionCallback(note)
        self.model.SolveWithParameters(parameters)
        return found

    def _route(self, value: Callable[[Any], int], vehicle: int) -> list[int]:
        items: list[int] = []
        index = value(self.model.NextVar(self.model.Start(vehicle)))
        while not self.model.IsEnd(index):
            items.append(self.tasks[self.manager.IndexToNode(index)])
            index = value(self.model.NextVar(index))
        return items
