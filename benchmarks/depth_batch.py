"""How many depth verdicts a second one core gives over arrays, beside the single path.

Run as `python -m benchmarks.depth_batch [jobs]`. The lofts and readings are invented: 400
lofts of 25 to 110 m2 in one or two areas, their readings placed for real and repeated with new
depths up to the number of jobs (a million by default). Placing is timed apart, since it is done
once for each reading, when it comes in.
"""

from __future__ import annotations

import argparse
import os
import resource
import time
from collections.abc import Callable

import numpy as np

from calculations.batch import GREATEST_TENTHS, DepthBatch, assess_batch, batch_of
from calculations.depths import DepthRequirement, Reading, assess_depths, where_to_measure
from calculations.loft import Loft, LoftArea

ASKED = DepthRequirement(min_depth_mm=270)
LOFTS = 400
REPEATS = 5
Job = tuple[Loft, list[Reading]]


def invented_lofts(rng: np.random.Generator) -> list[Loft]:
    """Rectangles with eaves on two sides, a third of them with an offshoot."""
    lofts = []
    for number in range(LOFTS):
        width, depth = rng.uniform(5000, 11_000), rng.uniform(5000, 10_000)
        areas = [_area("main", 0, 0, width, depth)]
        if number % 3 == 0:
            areas.append(_area("offshoot", width, 0, 3500, depth * 0.6))
        lofts.append(Loft(areas=tuple(areas)))
    return lofts


def _area(name: str, x: float, y: float, width: float, depth: float) -> LoftArea:
    outline = ((x, y), (x + width, y), (x + width, y + depth), (x, y + depth))
    return LoftArea(name, outline, 600, 100, 48, 90, eaves_edges=(0, 2))


def invented_jobs(rng: np.random.Generator) -> list[Job]:
    """Each loft measured where the rule asks for it."""
    jobs = []
    for loft in invented_lofts(rng):
        points = where_to_measure(loft, (), ASKED)
        depths = rng.normal(282, 9, len(points))
        jobs.append(
            (
                loft,
                [Reading(p.area, p.x_mm, p.y_mm, d) for p, d in zip(points, depths, strict=True)],
            )
        )
    return jobs


def repeated(batch: DepthBatch, jobs: int, rng: np.random.Generator) -> DepthBatch:
    """The batch's jobs over and over up to `jobs`, with new depths."""
    times = -(-jobs // batch.jobs)
    job_start = _tiled_starts(batch.job_start, times)[: jobs + 1]
    areas = int(job_start[-1])
    area_start = _tiled_starts(batch.area_start, times)[: areas + 1]
    readings = int(area_start[-1])
    slot = np.clip(rng.normal(2820, 90, readings), 0, GREATEST_TENTHS).astype(np.uint16)
    return DepthBatch(
        batch.requirement,
        job_start,
        area_start,
        slot,
        np.tile(batch.zone, times)[:readings],
        np.tile(batch.needed, times)[:areas],
        np.tile(batch.zones, times)[:areas],
    )


def _tiled_starts(starts: np.ndarray, times: int) -> np.ndarray:
    sizes = np.tile(np.diff(starts), times)
    return np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)


def best_seconds(work: Callable[[], object]) -> float:
    """Shortest of a few runs: the one least disturbed by others."""
    took = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        work()
        took.append(time.perf_counter() - start)
    return min(took)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("jobs", type=int, nargs="?", default=1_000_000)
    wanted = parser.parse_args().jobs
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
    rng = np.random.default_rng(1)

    jobs = invented_jobs(rng)
    start = time.perf_counter()
    placed = batch_of(jobs, ASKED)
    placing = (time.perf_counter() - start) / len(jobs)
    single = best_seconds(lambda: [assess_depths(*job, ASKED) for job in jobs]) / len(jobs)

    batch = repeated(placed, wanted, rng)
    seconds = best_seconds(lambda: assess_batch(batch))
    verdicts = assess_batch(batch)
    rate = batch.jobs / seconds
    answers = sum(
        column.nbytes
        for column in (
            verdicts.job_code,
            verdicts.area_code,
            verdicts.mean_mm,
            verdicts.lower_limit_mm,
            verdicts.share_below,
        )
    )
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"jobs {batch.jobs:,}, areas {len(batch.needed):,}, readings {len(batch.slot):,}")
    print(f"verdicts {verdicts.tally()}")
    print(f"batch: {rate / 1e6:.2f} million job verdicts a second on one core")
    print(f"       {len(batch.slot) / seconds / 1e6:.0f} million readings a second")
    print(f"single path, floors known: {1 / single:,.0f} a second; batch is {rate * single:,.0f} x")
    print(f"placing when readings come in: {placing * 1e3:.2f} ms a job")
    print(f"columns {batch.nbytes / 1e6:.0f} MB, answers {answers / 1e6:.0f} MB")
    print(f"peak of the whole process {peak_mb:.0f} MB")


if __name__ == "__main__":
    main()
