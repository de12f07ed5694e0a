"""How fast quantities by area come over arrays, and how near they are to cutting plans.

Run as `python -m benchmarks.quantity_batch [areas]`. Areas are invented: a few hundred kinds of
joists and existing wool, a million areas by default. Then rolls by area are compared with the
proved counts of `calculations.quantities` for lofts of the cutting benchmark.
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from benchmarks.random_lofts import random_loft
from calculations.catalogue import INVENTED_CATALOGUE
from calculations.layers import Target
from calculations.quantities import quantify
from calculations.quantity_batch import AreaColumns, columns_of, quantities_by_area

TARGET = Target(depth_mm=270)
COMPARED = 40


def invented_columns(areas: int, rng: np.random.Generator) -> AreaColumns:
    """One area a job; sizes of usual houses."""
    return AreaColumns(
        job=np.arange(areas),
        net_m2=rng.uniform(15, 90, areas),
        joist_spacing_mm=rng.choice([400.0, 450.0, 600.0], areas),
        joist_width_mm=rng.choice([38.0, 48.0, 50.0], areas),
        joist_depth_mm=rng.choice([75.0, 100.0, 125.0], areas),
        kept_depth_mm=rng.choice([0.0, 25.0, 50.0, 100.0], areas),
        kept_conductivity_w_mk=np.full(areas, 0.044),
        underlay=rng.integers(0, 4, areas),
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("areas", type=int, nargs="?", default=1_000_000)
    areas = parser.parse_args().areas
    columns = invented_columns(areas, np.random.default_rng(2))
    for state in ("kinds not yet ranked", "kinds ranked before"):
        start = time.perf_counter()
        found = quantities_by_area(columns, TARGET)
        seconds = time.perf_counter() - start
        print(f"{areas:,} areas of {len(found.stacks)} kinds, {state}: {seconds:.1f} s")
    compare()


def compare() -> None:
    """Cost of whole rolls by area over that of the cutting plans."""
    lofts = [random_loft(seed) for seed in range(COMPARED)]
    by_area = quantities_by_area(columns_of(lofts), TARGET)
    cost = {roll.code: roll.cost for roll in INVENTED_CATALOGUE}
    extra = []
    for loft, estimate in zip(lofts, by_area.cost_by_job, strict=True):
        plan = sum(r.count * cost[r.roll] for r in quantify(loft, TARGET, seconds=0.2).rolls)
        if plan:
            extra.append(estimate / plan - 1)
    print(
        f"{len(extra)} lofts: cost by area {np.mean(extra):+.1%} against cutting plans "
        f"({min(extra):+.1%} to {max(extra):+.1%})"
    )


if __name__ == "__main__":
    main()
