"""How long a search for near pictures takes among millions of hashes, in PostgreSQL.

    python -m benchmarks.photo_lookup [millions] [searches]

Makes a database of its own beside the one of DATABASE_URL, fills the columns and indexes of the
real table (jobs_photohash; without its foreign keys) and drops it afterwards. Two populations:
hashes anywhere alike, and hashes as drawn lofts have them (each a drawn loft's own with every bit
flipped with a chance of 15 %), which crowd together and make searches read more.
"""

from __future__ import annotations

import io
import os
import statistics
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from urllib.parse import urlsplit, urlunsplit

import django
import numpy as np
import psycopg
from numpy.typing import NDArray
from PIL import Image

django.setup()

from deploy.demo.pictures import Snapshot, draw_loft_photo  # noqa: E402
from jobs.evidence.looks import look_of  # noqa: E402
from jobs.models.photo_hashes import BANDS, NEAR, RADIUS, PhotoHashQuerySet  # noqa: E402

NAME = "eavesbook_photo_lookup"
LOFTS = 150
FLIPPED = 0.15
BLOCK = 250_000

COLUMNS = ", ".join(
    f"band_{band} integer GENERATED ALWAYS AS ((value >> {16 * band}) & 65535) STORED"
    for band in range(BANDS)
)
TABLE = f"CREATE TABLE jobs_photohash (photo_id bigint, job_id bigint, value bigint, {COLUMNS})"


@contextmanager
def own_database() -> Iterator[psycopg.Connection]:
    parts = urlsplit(os.environ["DATABASE_URL"])
    server = urlunsplit(parts._replace(path="/postgres"))
    with psycopg.connect(server, autocommit=True) as admin:
        admin.execute(f"DROP DATABASE IF EXISTS {NAME}")
        admin.execute(f"CREATE DATABASE {NAME}")
    try:
        url = urlunsplit(parts._replace(path=f"/{NAME}"))
        with psycopg.connect(url, autocommit=True) as connection:
            yield connection
    finally:
        with psycopg.connect(server, autocommit=True) as admin:
            admin.execute(f"DROP DATABASE {NAME} WITH (FORCE)")


def drawn_hashes() -> NDArray[np.uint64]:
    """All hashes that a search asks for, of each drawn loft; the first is its own."""
    rows = []
    for seed in range(LOFTS):
        jpeg = draw_loft_photo(Snapshot(seed, depth_mm=80), width_px=400)
        with Image.open(io.BytesIO(jpeg)) as image:
            rows.append([value & (1 << 64) - 1 for value in look_of(image).hashes])
    return np.array(rows, dtype=np.uint64)


def anywhere(rng: np.random.Generator, count: int) -> NDArray[np.uint64]:
    return rng.integers(0, 1 << 64, count, dtype=np.uint64, endpoint=False)


def crowded(rng: np.random.Generator, count: int, own: NDArray[np.uint64]) -> NDArray[np.uint64]:
    flips = np.zeros(count, dtype=np.uint64)
    for bit in range(64):
        flips |= (rng.random(count) < FLIPPED).astype(np.uint64) << np.uint64(bit)
    found: NDArray[np.uint64] = own[rng.integers(0, len(own), count)] ^ flips
    return found


def fill(connection: psycopg.Connection, values: NDArray[np.uint64]) -> float:
    began = time.perf_counter()
    connection.execute("DROP TABLE IF EXISTS jobs_photohash")
    connection.execute(TABLE)
    signed = values.astype(np.int64)
    with (
        connection.cursor() as cursor,
        cursor.copy("COPY jobs_photohash (photo_id, job_id, value) FROM STDIN") as copy,
    ):
        for start in range(0, len(signed), BLOCK):
            block = signed[start : start + BLOCK]
            rows = (f"{start + i}\t{(start + i) // 8}\t{v}\n" for i, v in enumerate(block))
            copy.write("".join(rows))
    for band in range(BANDS):
        connection.execute(
            f"CREATE INDEX ON jobs_photohash (band_{band}) INCLUDE (value, job_id, photo_id)"
        )
    connection.execute("VACUUM ANALYZE jobs_photohash")
    return time.perf_counter() - began


def search(connection: psycopg.Connection, hashes: list[int]) -> tuple[float, int]:
    """Milliseconds, and how many photos were found."""
    parameters = PhotoHashQuerySet.parameters(hashes, not_of_job=-1, most=12)
    began = time.perf_counter()
    rows = connection.execute(NEAR, parameters).fetchall()
    return (time.perf_counter() - began) * 1000, len(rows)


def signed(values: NDArray[np.uint64]) -> list[int]:
    return [int(value) for value in values.astype(np.int64)]


def report(name: str, results: list[tuple[float, int]]) -> None:
    times = sorted(took for took, _ in results)
    at_99 = times[min(len(times) - 1, int(0.99 * len(times)))]
    print(
        f"  {name:34} median {statistics.median(times):8.1f} ms   p99 {at_99:8.1f} ms   "
        f"{statistics.mean(n for _, n in results):5.1f} found in the mean",
        flush=True,
    )


def main() -> None:
    count = int(float(sys.argv[1]) * 1e6) if len(sys.argv) > 1 else 5_000_000
    searches = int(sys.argv[2]) if len(sys.argv) > 2 else 200
    rng = np.random.default_rng(20261125)
    drawn = drawn_hashes()
    populations = {
        "hashes anywhere alike": anywhere(rng, count),
        "hashes that crowd like drawn lofts": crowded(rng, count, drawn[:, 0]),
    }
    print(f"{count:,} hashes; up to {RADIUS} bits; load average {os.getloadavg()[0]:.1f}")
    with own_database() as connection:
        for name, values in populations.items():
            took = fill(connection, values)
            size = connection.execute(
                "SELECT pg_size_pretty(pg_total_relation_size('jobs_photohash'))"
            ).fetchone()
            print(f"{name}: loaded and indexed in {took:.0f} s, {size[0] if size else '?'}")
            asked = [rng.integers(0, count) for _ in range(searches)]
            one = [search(connection, signed(values[at : at + 1])) for at in asked]
            report("one hash, of a stored photo", one)
            lofts = [drawn[rng.integers(0, len(drawn))] for _ in range(searches)]
            report(f"the {drawn.shape[1]} hashes of a new photo", [
                search(connection, signed(each)) for each in lofts
            ])  # fmt: skip


if __name__ == "__main__":
    main()
