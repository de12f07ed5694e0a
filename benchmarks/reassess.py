"""Verdicts of a million jobs under a new rule, over arrays, against judging row by row.

    python -m benchmarks.reassess [jobs]

Lofts and readings are invented, as in benchmarks.depth_batch: 400 lofts placed for real and
repeated with new depths. Times are processor time, since the machine may be shared; what two
cores do is measured with two processes. Reported apart: the verdicts (what the target is about),
placing the readings for the new depth (once a job and depth, when it is first asked for), and the
path that pages use, `verdicts_under`, which does both and the other evidence too.
"""

from __future__ import annotations

import argparse
import os
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict

import numpy as np

from benchmarks.depth_batch import Job, invented_jobs, repeated
from calculations.batch import DepthBatch, assess_batch, batch_of
from calculations.depths import DepthRequirement
from calculations.loft_json import loft_to_dict

NEW_RULE = DepthRequirement(min_depth_mm=280)
CORES = 2


def processor_seconds(work: Callable[[], object]) -> float:
    start = time.process_time()
    work()
    return time.process_time() - start


def tally_in_process(arguments: tuple[DepthBatch, int]) -> dict[str, int]:
    """One process's share: the batch repeated, as if it were its part of the jobs."""
    placed, jobs = arguments
    return assess_batch(repeated(placed, jobs, np.random.default_rng(jobs))).tally()


def evidence_of(jobs: list[Job]) -> list[object]:
    """The same jobs as the evidence that their assessments keep."""
    from compliance.judging import Evidence

    return [
        Evidence(
            rule_id=1,
            nation="england",
            work_day="2026-11-25",
            requirement=asdict(DepthRequirement(min_depth_mm=270)),
            least_before_photos=2,
            least_after_photos=2,
            survey_id=1,
            loft=loft_to_dict(loft),
            readings=[
                {
                    "id": n,
                    "area": r.area,
                    "x_mm": r.x_mm,
                    "y_mm": r.y_mm,
                    "depth_mm": r.depth_mm,
                    "allowance": "",
                }
                for n, r in enumerate(readings)
            ],
            stray_readings=0,
            photos=[
                {"id": n, "moment": moment, "sha256": "0" * 64}
                for n, moment in enumerate(("before", "before", "after", "after"))
            ],
            unreadable_photos=0,
            pre_start_check={"id": 1, "safe_to_start": True},
            handover={"id": 1, "all_done": True, "not_done_reason": ""},
        )
        for loft, readings in jobs
    ]


def main(wanted: int) -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings.test")
    from compliance.judging import Evidence, judge_evidence
    from compliance.rule_verdicts import AskedOfEvidence, verdicts_under

    jobs = invented_jobs(np.random.default_rng(1))
    evidence: list[Evidence] = evidence_of(jobs)  # type: ignore[assignment]
    asked = AskedOfEvidence(NEW_RULE, asdict(NEW_RULE), 2, 2, photos_at_points=False)
    print(f"{wanted:,} jobs, load average {os.getloadavg()[0]:.1f}, {CORES} processes")

    found: list[str] = []
    rows = processor_seconds(
        lambda: found.extend(judge_evidence(asked.of(one)).verdict for one in evidence)
    ) / len(jobs)
    print(
        f"row by row                    {rows * 1e3:8.3f} ms a job"
        f"   {rows * wanted / CORES:9,.0f} s for all on two cores"
    )

    arrays: list[str] = []
    path = processor_seconds(lambda: arrays.extend(verdicts_under(asked, evidence))) / len(jobs)
    assert arrays == found
    print(
        f"verdicts_under, from evidence {path * 1e3:8.3f} ms a job"
        f"   {path * wanted / CORES:9,.0f} s for all on two cores"
    )

    start = time.process_time()
    placed = batch_of(jobs, NEW_RULE)
    placing = (time.process_time() - start) / len(jobs)
    print(f"of which placing the readings {placing * 1e3:8.3f} ms a job, lofts known")

    batch = repeated(placed, wanted, np.random.default_rng(2))
    one_core = processor_seconds(lambda: assess_batch(batch))
    print(
        f"verdicts from placed columns  {one_core / wanted * 1e3:8.5f} ms a job"
        f"   {one_core:9.2f} s for all on one core, {rows * wanted / one_core:,.0f} x row by row"
    )
    shares = [(placed, wanted // CORES)] * CORES
    with ProcessPoolExecutor(CORES) as pool:
        list(pool.map(tally_in_process, [(placed, 1000)] * CORES))
        begun = time.perf_counter()
        tallies = list(pool.map(tally_in_process, shares))
        took = time.perf_counter() - begun
    counted = sum(sum(tally.values()) for tally in tallies)
    print(
        f"the same in two processes, with making the columns up: {took:.2f} s by the clock "
        f"for {counted:,} jobs (target for the verdicts: 10 s)"
    )


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("jobs", type=int, nargs="?", default=1_000_000)
    main(parser.parse_args().jobs)
