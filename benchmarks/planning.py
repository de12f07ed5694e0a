"""Plans of an invented office: ours against the hand rule and a second solver, and re-planning.

    python -m benchmarks.planning [--quick] [--seconds 5 30 60] [--sizes 300/12/10 1000/40/10]
                                  [--cores 2] [--clock]

For each size (visits/crews/days) of `random_rounds.py`: points of the plan after so many seconds
(lower is better; 1 point is 1 minute of travel), visits left out, broken rules (always 0); the
same for OR-Tools' routing library with the same seconds, and for the hand rule of
`solving/hand_rule.py`. OR-Tools searches on one processor, so as many processes of it run as ours
has, beginning otherwise, and the best of their plans counts. Then one crew is ill on the second
day, everybody having been told of the plan: seconds until a whole plan, and what is moved after 10
seconds. Then how long one visit takes to be tried everywhere.

Seconds are processor seconds of each process, since the machine may be shared
(`watched_search.py`); `--clock` takes the clock's, for a machine with nothing else to do, where all
of it takes some five minutes, with `--quick` (30 seconds at most) under three.
"""

from __future__ import annotations

import argparse
import resource
import time
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from statistics import median

from benchmarks.random_rounds import random_problem, with_promises, without_crew
from benchmarks.watched_search import load_of_the_machine, watched_search
from jobs.planning.changes import changes_between
from jobs.planning.checker import check_plan
from jobs.planning.objective import objective_of
from jobs.planning.plan import Plan
from jobs.planning.problem import PlanProblem
from jobs.planning.solving.hand_rule import plan_by_hand
from jobs.planning.solving.places import feasible_places
from jobs.planning.solving.second_solver import BEGINNINGS, plans_with_second_solver

REPLAN_S = 10.0
TRIED = 100
SEED = 1


def main() -> None:
    """Print a table a size."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seconds", type=float, nargs="+", default=[5, 30, 60])
    parser.add_argument("--sizes", nargs="+", default=["300/12/10", "1000/40/10"])
    parser.add_argument("--cores", type=int, default=2)
    parser.add_argument("--clock", action="store_true")
    parser.add_argument("--quick", action="store_true", help="30 seconds at most")
    wanted = parser.parse_args()
    seconds = sorted(s for s in wanted.seconds if s <= 30 or not wanted.quick)
    unit = "s of the clock" if wanted.clock else "processor seconds of each process"
    print(f"{wanted.cores} processes, {unit}; {load_of_the_machine()}")
    for size in wanted.sizes:
        visits, crews, days = (int(part) for part in size.split("/"))
        problem = random_problem(visits, crews, days, SEED)
        print(f"\n{visits} visits, {crews} crews, {days} days ({len(problem.shifts)} shifts)")
        plan = _compare(size, problem, seconds, wanted)
        _replan(problem, plan, wanted)
        _try_places(problem, plan)
        used_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        beside_mb = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
        print(f"  most memory: {used_mb:.0f} MB here, {beside_mb:.0f} MB in a process beside")
    print(f"\n{load_of_the_machine()}")


def _compare(
    size: str, problem: PlanProblem, seconds: list[float], wanted: argparse.Namespace
) -> Plan:
    """Our plan after each time, the hand rule's, the second solver's; gives our last."""
    begun_s = time.process_time()
    by_hand = plan_by_hand(problem)
    _tell("hand rule", time.process_time() - begun_s, problem, by_hand)
    ours = watched_search(problem, seconds, seed=SEED, cores=wanted.cores, by_clock=wanted.clock)
    _tell("ours, first plan", ours.first_s, problem, ours.first)
    for limit in seconds:
        if limit in ours.at:
            _tell("ours", limit, problem, ours.at[limit])
    lost = ours.result.lost_processes
    print(
        f"    {ours.result.iterations} steps, {ours.clock_s:.0f} s of the clock"
        + (f", {lost} process lost" if lost else ""),
        flush=True,
    )
    for limit, plan in _second_solver(size, problem, seconds, wanted).items():
        _tell("second solver", limit, problem, plan)
    return ours.result.plan


def _second_solver(
    size: str, problem: PlanProblem, seconds: list[float], wanted: argparse.Namespace
) -> dict[float, Plan]:
    """The best plan by our prices that so many processes of it had by each time."""
    count = min(wanted.cores, len(BEGINNINGS))
    with ProcessPoolExecutor(count, mp_context=get_context("spawn")) as pool:
        asked = [
            pool.submit(_one_second_solver, size, seconds, beginning, wanted.clock)
            for beginning in range(count)
        ]
        found = [one.result() for one in asked]
    return {
        limit: min(
            (plans[mark] for plans in found for mark in seconds if mark <= limit),
            key=lambda plan: objective_of(problem, plan).total,
        )
        for limit in seconds
    }


def _one_second_solver(
    size: str, seconds: Sequence[float], beginning: int, by_clock: bool
) -> dict[float, Plan]:
    visits, crews, days = (int(part) for part in size.split("/"))
    problem = random_problem(visits, crews, days, SEED)
    clock = time.monotonic if by_clock else time.process_time
    return plans_with_second_solver(problem, seconds, beginning, clock)


def _tell(who: str, seconds: float, problem: PlanProblem, plan: Plan) -> None:
    cost = objective_of(problem, plan)
    broken = len(check_plan(problem, plan))
    print(
        f"  {who:17}{seconds:7.1f} s{cost.total:11.0f} points"
        f"{cost.left_out:5d} left out{cost.travel_min / 60:7.0f} h driving"
        f"{cost.late_points:8.0f} for lateness{broken:3d} broken rules",
        flush=True,
    )


def _replan(problem: PlanProblem, plan: Plan, wanted: argparse.Namespace) -> None:
    """One crew ill on the second day, everybody having been told of the plan."""
    told = with_promises(problem, plan)
    ill = next(
        problem.shift(round_.shift)
        for round_ in plan.rounds
        if problem.shift(round_.shift).day == 1 and len(round_.stops) > 2
    )
    now = without_crew(told, ill.crew, ill.day)
    lost = sum(1 for round_, _ in plan.placed() if round_.shift == ill.key)
    watched = watched_search(
        now, [REPLAN_S], seed=SEED, cores=wanted.cores, by_clock=wanted.clock, start_from=plan
    )
    cost = watched.result.objective
    changes = changes_between(now, plan, watched.result.plan, problem_before=told)
    promised = sum(visit.promised is not None for visit in now.visits)
    moved = sum(change.kind.startswith("moved") for change in changes)
    broken = len(check_plan(now, watched.result.plan))
    print(
        f"  one crew ill ({lost} visits): whole plan after {watched.first_s:.2f} s, searched "
        f"{REPLAN_S:.0f} s; of {promised} promises {cost.promises_moved_day} to another day, "
        f"{cost.promises_moved_time} to another time ({moved} visits with any change, "
        f"{100 * moved / promised:.1f} %), {cost.left_out} left out, {broken} broken rules",
        flush=True,
    )


def _try_places(problem: PlanProblem, plan: Plan) -> None:
    """How long it takes to try one placed visit in every shift."""
    took_ms = []
    feasible_places(problem, plan, next(plan.placed())[1].key)
    for _, stop in list(plan.placed())[:TRIED]:
        begun_s = time.process_time()
        feasible_places(problem, plan, stop.key)
        took_ms.append((time.process_time() - begun_s) * 1000)
    print(
        f"  one visit tried in every shift: {median(took_ms):.0f} ms (median), "
        f"{max(took_ms):.0f} ms (longest of {len(took_ms)})",
        flush=True,
    )


if __name__ == "__main__":
    main()
