"""How long the travel matrix of a big company takes: `python -m benchmarks.travel`.

Processor time, since machines are shared. The great-circle rule is worked out anew each time; the
comparison is with reading as many legs from a table, which is why they are not stored.
"""

from __future__ import annotations

import time

import numpy as np

from jobs.planning.travel import GreatCircle, TravelRule

SIZES = (100, 300, 1040, 2000)
SEED = 20_261


def main() -> None:
    chance = np.random.default_rng(SEED)
    provider = GreatCircle(TravelRule())
    print(f"{'places':>8} {'pairs':>10} {'processor s':>12} {'pairs a second':>15}")
    for size in SIZES:
        latitudes, longitudes = chance.uniform(51, 55, size), chance.uniform(-3, 1, size)
        places = list(zip(latitudes.tolist(), longitudes.tolist(), strict=True))
        began = time.process_time()
        provider.matrices(places)
        took = time.process_time() - began
        print(f"{size:8d} {size * size:10d} {took:12.3f} {size * size / took:15.0f}")


if __name__ == "__main__":
    main()
