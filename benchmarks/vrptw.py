"""Gap to the best known cost on published routing instances, after 10, 60 and 300 seconds.

    python -m benchmarks.vrptw [--seconds 10 60 300] [--only RC208 ...] [--cores 2] [--clock]

Each instance goes through the product's own problem, solver and checker (`vrptw_files.py`); the
cost is worked out again from the coordinates. Seconds are processor seconds of each process, since
the machine may be shared (`watched_search.py` says how they are counted); `--clock` takes the
clock's, for a machine with nothing else to do. One run an instance: the plans at 10 and 60 seconds
are those that the longest run had by then. Instances: Solomon (100 customers), Gehring and
Homberger (1,000), one with several trips and release times, one with prizes; see the README beside
the data.
"""

from __future__ import annotations

import argparse

from benchmarks.vrptw_files import FOLDER, distance_and_prizes, published
from benchmarks.watched_search import load_of_the_machine, watched_search
from jobs.planning.checker import check_plan

HEAD = "instance       best known   "


def main() -> None:
    """Print a row an instance."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seconds", type=float, nargs="+", default=[10, 60, 300])
    parser.add_argument("--only", nargs="*")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--cores", type=int, default=2)
    parser.add_argument("--clock", action="store_true")
    wanted = parser.parse_args()
    names = wanted.only or sorted(path.stem for path in FOLDER.glob("*.vrp"))
    unit = "s of the clock" if wanted.clock else "processor seconds of each process"
    print(f"{wanted.cores} processes, {unit}; {load_of_the_machine()}")
    print(HEAD + "".join(f"{f'{s:g} s':>22}" for s in wanted.seconds) + "   clock  broken rules")
    for name in names:
        print(_row(name, sorted(wanted.seconds), wanted), flush=True)
    print(load_of_the_machine())


def _row(name: str, seconds: list[float], wanted: argparse.Namespace) -> str:
    found = published(name)
    watched = watched_search(
        found.problem, seconds, seed=wanted.seed, cores=wanted.cores, by_clock=wanted.clock
    )
    broken = 0
    cells = []
    for limit in seconds:
        plan = watched.at[limit]
        cost = distance_and_prizes(found, plan)
        broken += len(check_plan(found.problem, plan))
        gap = (cost - found.best_cost) / found.best_cost * 100
        cells.append(f"{cost / 10:13.1f} {gap:+6.2f} %")
    best = f"{name:14}{found.best_cost / 10:11.1f}   "
    lost = watched.result.lost_processes
    note = f"  ({lost} process lost)" if lost else ""
    return best + "".join(cells) + f"{watched.clock_s:7.0f} s  {broken}{note}"


if __name__ == "__main__":
    main()
