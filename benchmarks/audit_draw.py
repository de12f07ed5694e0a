"""How long a draw takes, and how much memory: `python -m benchmarks.audit_draw [jobs] [size]`.

The draw itself, the same in twenty strata with the reading of the population's file before it,
and the draw as the offline check of a pack repeats it. Times are processor time, since the
machine may be shared.
"""

from __future__ import annotations

import hashlib
import os
import sys
import time
import tracemalloc
from collections.abc import Callable
from typing import Any

from calculations.sampling import draw, draw_seed
from calculations.sampling.population import (
    PopulationLine,
    draw_from,
    population_text,
    read_population,
    strata_of,
)
from compliance.verify.draws import read_population as read_offline
from compliance.verify.draws import repeated_draw

STRATA = 20


def measured(what: str, act: Callable[[], Any], against: float = 0.0) -> tuple[float, Any]:
    busy, start = time.process_time(), time.perf_counter()
    found = act()
    seconds, clock = time.process_time() - busy, time.perf_counter() - start
    ratio = f"  {seconds / against:6.1f} x" if against else ""
    print(f"{what:<52}{seconds:7.3f} s of processor {clock:7.3f} s by the clock{ratio}", flush=True)
    return seconds, found


def main(jobs: int = 1_000_000, size: int = 1250) -> None:
    """Draw `size` of `jobs`; print seconds, ratios to a bare SHA-256, and peak memory."""
    nonce, root = bytes(range(32)), hashlib.sha256(b"root").digest()
    seed = draw_seed(nonce, root, "benchmark")
    names = [f"J-{i:08d}" for i in range(jobs)]
    lines = [PopulationLine(name, f"crew {i % STRATA}") for i, name in enumerate(names)]
    print(f"{size} of {jobs:,}; load average {os.getloadavg()[0]:.1f}")
    text = "\n".join(names).encode()
    bare, _ = measured("bare SHA-256 of the names", lambda: hashlib.sha256(text).digest())
    measured("draw, names in order", lambda: draw(seed, names, size), bare)
    measured("draw, names in reverse", lambda: draw(seed, names[::-1], size), bare)
    _, file = measured("population's file written", lambda: population_text(lines), bare)
    _, read = measured("population's file read", lambda: read_population(file), bare)
    shares = strata_of(read, size)
    _, drawn = measured(f"draw in {STRATA} strata", lambda: draw_from(seed, read, shares), bare)
    _, again = measured(
        "the same by the offline check, file and all",
        lambda: repeated_draw(
            nonce,
            root,
            "benchmark",
            read_offline(iter(file.encode().splitlines())),
            [(s.name, s.sample) for s in shares],
            0,
        ),
        bare,
    )
    assert again == [(job.name, job.stratum) for job in drawn]
    tracemalloc.start()
    draw(seed, names, size)
    print(f"peak memory beside the population: {tracemalloc.get_traced_memory()[1] / 1e6:.1f} MB")
    tracemalloc.stop()


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:]))
