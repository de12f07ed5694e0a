"""Published routing instances as planning problems of this product, and their solutions as plans.

A customer becomes a visit, a vehicle a crew with one shift and one van, the depot the base of all
and, where vehicles may come back, the depot they reload at. Distances follow the convention of the
DIMACS Implementation Challenge on vehicle routing: Euclidean, truncated to one decimal; so one
second and one metre here are a tenth of the instance's unit. The price is the distance: one point
a metre. A release time says when a visit's goods can be loaded; a prize is what leaving an optional
visit out costs.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import vrplib

from jobs.planning.plan import Plan, Round, Stop, Unplanned
from jobs.planning.problem import (
    DepotToPlan,
    Place,
    PlanProblem,
    Shift,
    Travel,
    VisitToPlan,
    Window,
)
from jobs.planning.weights import Weights

FOLDER = Path(__file__).resolve().parent.parent / "tests" / "published" / "data" / "vrptw"
TENTHS = 10
ONE_POINT_A_METRE = 1000.0
DEPOT = "depot"


@dataclass(frozen=True, slots=True)
class Published:
    """An instance as a problem, with its best known solution as a plan and the cost it states.

    `best_cost` is in tenths of the instance's unit, as the distances are. `distances` is the
    matrix the problem was made from, for working costs out without any of the product's code.
    """

    name: str
    problem: PlanProblem
    best_plan: Plan
    best_cost: int
    distances: np.ndarray
    prizes: np.ndarray


def published(name: str, folder: Path = FOLDER) -> Published:
    """The instance of that name with its best known solution."""
    instance = vrplib.read_instance(folder / f"{name}.vrp", compute_edge_weights=False)
    at = np.asarray(instance["node_coord"], dtype=float)
    exact = np.hypot(*(at[:, None, :] - at[None, :, :]).transpose(2, 0, 1))
    distances = (exact * TENTHS + 1e-9).astype(np.int64)
    prizes = np.asarray(instance.get("prize", np.zeros(len(at))), dtype=np.int64) * TENTHS
    problem = _problem(instance, distances, prizes)
    solution = vrplib.read_solution(folder / f"{name}.sol")
    return Published(
        name=name,
        problem=problem,
        best_plan=plan_of_routes(problem, [list(route) for route in solution["routes"]]),
        best_cost=_tenths(solution["cost"]),
        distances=distances,
        prizes=prizes,
    )


def _tenths(cost: float) -> int:
    """The stated cost in tenths: some files give whole tenths, some units with one decimal."""
    return int(cost) if float(cost).is_integer() and cost > 10_000 else round(cost * TENTHS)


def _problem(instance: dict, distances: np.ndarray, prizes: np.ndarray) -> PlanProblem:
    count = len(distances)
    windows = np.asarray(instance["time_window"], dtype=np.int64) * TENTHS
    ready = np.asarray(instance.get("release_time", np.zeros(count)), dtype=np.int64) * TENTHS
    service_s = int(instance["service_time"]) * TENTHS
    reloading = "vehicles_reload_depot" in instance
    names = [DEPOT, *(str(n) for n in range(1, count))]
    visits = tuple(
        VisitToPlan(
            key=names[n],
            place=names[n],
            service_s=service_s,
            windows=(Window(int(windows[n, 0]), int(windows[n, 1])),),
            volume_m3=float(instance["demand"][n]),
            goods_ready_s=int(ready[n]),
            required="prize" not in instance,
            left_out_points=float(prizes[n]) if "prize" in instance else None,
        )
        for n in range(1, count)
    )
    opens_s, closes_s = (int(at) for at in windows[0])
    shifts = tuple(
        Shift(
            key=f"{n}:0",
            crew=str(n),
            day=0,
            opens_s=opens_s,
            closes_s=closes_s,
            start_place=DEPOT,
            end_place=DEPOT,
            depot=DEPOT if reloading else None,
            van_volume_m3=float(instance["capacity"]),
        )
        for n in range(int(instance["vehicles"]))
    )
    return PlanProblem(
        starts_at=datetime(2026, 1, 1, tzinfo=UTC),
        days=(date(2026, 1, 1),),
        places=tuple(Place(name) for name in names),
        travel=Travel(distances, distances),
        visits=visits,
        shifts=shifts,
        depots=(DepotToPlan(DEPOT, DEPOT),) if reloading else (),
        weights=Weights(travel_hour=0, travel_km=ONE_POINT_A_METRE, left_out=(1e6,) * 5),
        start_step_s=1,
    )


def plan_of_routes(problem: PlanProblem, routes: list[list[int]]) -> Plan:
    """Routes of customer numbers (0: back to the depot) as a plan, each stop at its earliest.

    Plain arithmetic of its own, with nothing of the solver in it.
    """
    rounds = tuple(
        _round(problem, shift, route) for shift, route in zip(problem.shifts, routes, strict=False)
    )
    placed = {str(number) for route in routes for number in route}
    left = tuple(Unplanned(v.key) for v in problem.visits if v.key not in placed)
    return Plan(rounds, left)


def _round(problem: PlanProblem, shift: Shift, route: list[int]) -> Round:
    trips = _trips(problem, route)
    place, free_s = DEPOT, shift.opens_s
    stops: list[Stop] = []
    for number, (trip, ready_s) in enumerate(trips):
        if number:
            way = problem.travel_s(place, DEPOT)
            starts_s = max(free_s + way, ready_s)
            stops.append(Stop("reload", DEPOT, DEPOT, free_s + way, starts_s, starts_s, way, way))
            place, free_s = DEPOT, starts_s
        free_s = max(free_s, ready_s)
        for customer in trip:
            visit = problem.visit(str(customer))
            way = problem.travel_s(place, visit.place)
            starts_s = max(free_s + way, visit.windows[0].opens_s)
            ends_s = starts_s + visit.service_s
            stops.append(
                Stop("visit", visit.key, visit.place, free_s + way, starts_s, ends_s, way, way)
            )
            place, free_s = visit.place, ends_s
    home = problem.travel_s(place, DEPOT)
    departs_s = stops[0].arrives_s - stops[0].travel_s
    return Round(shift.key, departs_s, free_s + home, tuple(stops), home, home)


def _trips(problem: PlanProblem, route: list[int]) -> list[tuple[list[int], int]]:
    """The route's trips between loads, each with the time when all its goods are there."""
    trips: list[list[int]] = [[]]
    for customer in route:
        if customer == 0:
            trips.append([])
        else:
            trips[-1].append(customer)
    return [
        (trip, max((problem.visit(str(n)).goods_ready_s for n in trip), default=0))
        for trip in trips
    ]


def distance_and_prizes(found: Published, plan: Plan) -> int:
    """Distance driven plus prizes not collected, in tenths, from the coordinates alone."""
    total = 0
    for round_ in plan.rounds:
        way = [0, *(0 if s.kind == "reload" else int(s.key) for s in round_.stops), 0]
        total += sum(int(found.distances[a, b]) for a, b in zip(way, way[1:], strict=False))
    planned = {int(stop.key) for _, stop in plan.placed()}
    return total + sum(int(prize) for n, prize in enumerate(found.prizes) if n and n not in planned)
