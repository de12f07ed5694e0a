"""Gap to the best known cost on published routing instances, after 10, 60 and 300 seconds.

    python -m benchmarks.vrptw [--seconds 10 60 300] [--only RC208 C1_10_1 ...]

Each instance goes through the product's own problem, solver and checker (`vrptw_files.py`); the
cost is worked out again from the coordinates. Seconds are processor seconds of this process, since
the machine may be shared; the search runs on one core. One run an instance: the plans at 10 and 60
seconds are those that the longest run had by then. Instances: Solomon (100 customers), Gehring and
Homberger (1,000), one with several trips and release times, one with prizes; see the README beside
the data.
"""

from __future__ import annotations

import argparse
import time

from benchmarks.vrptw_files import FOLDER, distance_and_prizes, published
from jobs.planning.checker import check_plan
from jobs.planning.plan import Objective, Plan
from jobs.planning.solving.solve import solve_plan
from jobs.planning.solving.stopping import AfterProcessorSeconds

HEAD = "instance       best known   "


def main() -> None:
    """Print a row an instance."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seconds", type=float, nargs="+", default=[10, 60, 300])
    parser.add_argument("--only", nargs="*")
    parser.add_argument("--seed", type=int, default=1)
    wanted = parser.parse_args()
    names = wanted.only or sorted(path.stem for path in FOLDER.glob("*.vrp"))
    print(HEAD + "".join(f"{f'{s:g} s':>22}" for s in wanted.seconds) + "   clock  broken rules")
    for name in names:
        print(_row(name, sorted(wanted.seconds), wanted.seed), flush=True)


def _row(name: str, seconds: list[float], seed: int) -> str:
    found = published(name)
    begun_s, clock_s = time.process_time(), time.monotonic()
    at: dict[float, Plan] = {}

    def note(plan: Plan, objective: Objective, elapsed_s: float) -> None:
        for limit in seconds:
            if time.process_time() - begun_s <= limit:
                at[limit] = plan

    result = solve_plan(
        found.problem,
        stop=AfterProcessorSeconds(seconds[-1]),
        seed=seed,
        on_better=note,
        explain=False,
    )
    at[seconds[-1]] = result.plan
    broken = 0
    cells = []
    for limit in seconds:
        plan = at[limit]
        cost = distance_and_prizes(found, plan)
        broken += len(check_plan(found.problem, plan))
        gap = (cost - found.best_cost) / found.best_cost * 100
        cells.append(f"{cost / 10:13.1f} {gap:+6.2f} %")
    took_s = time.monotonic() - clock_s
    best = f"{name:14}{found.best_cost / 10:11.1f}   "
    return best + "".join(cells) + f"{took_s:7.0f} s  {broken}"


if __name__ == "__main__":
    main()
