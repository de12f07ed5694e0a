"""Plans of an invented office: ours against the hand rule and a second solver, and re-planning.

    python -m benchmarks.planning [--seconds 5 30 60] [--sizes 300/12/10 1000/40/10]

For each size (visits/crews/days) of `random_rounds.py`: points of the plan after so many seconds
(lower is better; 1 point is 1 minute of travel), visits left out, broken rules (always 0); the
same for OR-Tools' routing library with the same seconds, and for the hand rule of
`solving/hand_rule.py`. Then one crew is ill on the second day, everybody having been told of the
plan: seconds until a whole plan, and what is moved after 10 seconds. Then how long one visit takes
to be tried everywhere. Seconds are processor seconds, since the machine may be shared.
"""

from __future__ import annotations

import argparse
import resource
import time
from statistics import median

from benchmarks.random_rounds import random_problem, with_promises, without_crew
from jobs.planning.changes import changes_between
from jobs.planning.checker import check_plan
from jobs.planning.objective import objective_of
from jobs.planning.plan import Objective, Plan
from jobs.planning.problem import PlanProblem
from jobs.planning.solving.hand_rule import plan_by_hand
from jobs.planning.solving.places import feasible_places
from jobs.planning.solving.second_solver import plan_with_second_solver
from jobs.planning.solving.solve import SolveResult, solve_plan
from jobs.planning.solving.stopping import AfterProcessorSeconds

REPLAN_S = 10.0
TRIED = 100
SEED = 1


def main() -> None:
    """Print a table a size."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seconds", type=float, nargs="+", default=[5, 30, 60])
    parser.add_argument("--sizes", nargs="+", default=["300/12/10", "1000/40/10"])
    wanted = parser.parse_args()
    for size in wanted.sizes:
        visits, crews, days = (int(part) for part in size.split("/"))
        problem = random_problem(visits, crews, days, SEED)
        print(f"\n{visits} visits, {crews} crews, {days} days ({len(problem.shifts)} shifts)")
        plan = _compare(problem, sorted(wanted.seconds))
        _replan(problem, plan)
        _try_places(problem, plan)
        used_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(f"  most memory of the process {used_mb:.0f} MB", flush=True)


def _compare(problem: PlanProblem, seconds: list[float]) -> Plan:
    """Our plan after each time, the hand rule's, the second solver's; gives our last."""
    begun_s = time.process_time()
    by_hand = plan_by_hand(problem)
    _tell("hand rule", time.process_time() - begun_s, problem, by_hand)
    result, at, first_s = _ours(problem, seconds)
    _tell("ours, first plan", first_s, problem, at[0.0])
    for limit in seconds:
        _tell("ours", limit, problem, at[limit])
    print(f"    {result.iterations} steps, {result.elapsed_s:.0f} s of the clock", flush=True)
    for limit in sorted({seconds[0], seconds[-1]}):
        _tell("second solver", limit, problem, plan_with_second_solver(problem, limit))
    return result.plan


def _ours(
    problem: PlanProblem, seconds: list[float]
) -> tuple[SolveResult, dict[float, Plan], float]:
    begun_s = time.process_time()
    at: dict[float, Plan] = {}
    first: list[float] = []

    def note(plan: Plan, objective: Objective, elapsed_s: float) -> None:
        used_s = time.process_time() - begun_s
        if not first:
            first.append(used_s)
            at[0.0] = plan
        for limit in seconds:
            if used_s <= limit:
                at[limit] = plan

    stop = AfterProcessorSeconds(seconds[-1])
    result = solve_plan(problem, stop=stop, seed=SEED, on_better=note)
    at[seconds[-1]] = result.plan
    return result, at, first[0]


def _tell(who: str, seconds: float, problem: PlanProblem, plan: Plan) -> None:
    cost = objective_of(problem, plan)
    broken = len(check_plan(problem, plan))
    print(
        f"  {who:17}{seconds:7.1f} s{cost.total:11.0f} points"
        f"{cost.left_out:5d} left out{cost.travel_min / 60:7.0f} h driving"
        f"{cost.late_points:8.0f} for lateness{broken:3d} broken rules",
        flush=True,
    )


def _replan(problem: PlanProblem, plan: Plan) -> None:
    """One crew ill on the second day, everybody having been told of the plan."""
    told = with_promises(problem, plan)
    ill = next(
        problem.shift(round_.shift)
        for round_ in plan.rounds
        if problem.shift(round_.shift).day == 1 and len(round_.stops) > 2
    )
    now = without_crew(told, ill.crew, ill.day)
    lost = sum(1 for round_, _ in plan.placed() if round_.shift == ill.key)
    first: list[float] = []
    begun_s = time.process_time()

    def note(found: Plan, objective: Objective, elapsed_s: float) -> None:
        first.append(time.process_time() - begun_s)

    stop = AfterProcessorSeconds(REPLAN_S)
    result = solve_plan(now, stop=stop, seed=SEED, on_better=note, start_from=plan)
    cost = result.objective
    changes = changes_between(now, plan, result.plan, problem_before=told)
    promised = sum(visit.promised is not None for visit in now.visits)
    moved = sum(change.kind.startswith("moved") for change in changes)
    broken = len(check_plan(now, result.plan))
    print(
        f"  one crew ill ({lost} visits): whole plan after {first[0]:.2f} s, searched "
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
