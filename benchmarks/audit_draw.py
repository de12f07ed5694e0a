"""How long a draw takes, and how much memory: `python -m benchmarks.audit_draw [jobs] [size]`."""

from __future__ import annotations

import hashlib
import sys
import time
import tracemalloc

from calculations.sampling import draw, draw_seed


def main(jobs: int = 1_000_000, size: int = 1250) -> None:
    """Draw `size` of `jobs`, already in order and in reverse; print seconds and peak memory."""
    seed = draw_seed(bytes(range(32)), hashlib.sha256(b"root").digest(), "benchmark")
    names = [f"JOB-{i:08d}" for i in range(jobs)]
    for label, population in (("in order", names), ("in reverse", names[::-1])):
        start = time.perf_counter()
        drawn = draw(seed, population, size)
        taken = time.perf_counter() - start
        print(f"draw {size} of {jobs} {label}: {taken:.3f} s, first {drawn[0]}")
    tracemalloc.start()
    draw(seed, names, size)
    print(f"peak memory beside the population: {tracemalloc.get_traced_memory()[1] / 1e6:.1f} MB")
    tracemalloc.stop()
    start = time.perf_counter()
    hashlib.sha256("\n".join(names).encode()).digest()
    bare = time.perf_counter() - start
    print(f"SHA-256 of the same names joined, for comparison: {bare:.3f} s")


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:]))
