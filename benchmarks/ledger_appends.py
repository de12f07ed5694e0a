"""What the ledger costs a writer: readings inserted by 16 writers, with it and without.

    python -m benchmarks.ledger_appends [seconds a measurement]

Makes a database of its own on the server of DATABASE_URL (the role must be allowed to), inserts
depth readings by 16 connections at once, each transaction committed, and takes the database away
again. "Bare" are the same inserts with the trigger `enter_the_ledger` switched off; the other
triggers and constraints stay. The best of three rounds each, since the machine may be shared.
"""

from __future__ import annotations

import os
import sys
import threading
import time

import django

WRITERS = 16
ROUNDS = 3
INSERT = """
INSERT INTO jobs_depthreading ({columns}, client_key)
SELECT {columns}, gen_random_uuid() FROM jobs_depthreading, generate_series(1, %(rows)s)
WHERE jobs_depthreading.id = %(reading)s
"""


def main(seconds: float) -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings.test")
    django.setup()
    from django.test.utils import setup_databases, teardown_databases

    old = setup_databases(verbosity=0, interactive=False)
    try:
        measure_all(seconds)
    finally:
        teardown_databases(old, verbosity=0)


def measure_all(seconds: float) -> None:
    from compliance.ledger.seals import make_seal
    from compliance.models import LedgerEntry
    from tests.factories import DepthReadingFactory

    reading = DepthReadingFactory()
    print(f"{WRITERS} writers, {seconds:g} s each, load average {os.getloadavg()[0]:.1f}")
    for rows, what in ((1, "one reading a transaction"), (14, "a loft's 14 readings at once")):
        bare, kept = 0.0, 0.0
        for _ in range(ROUNDS):
            bare = max(bare, rate(reading.pk, rows, seconds, ledger=False))
            kept = max(kept, rate(reading.pk, rows, seconds, ledger=True))
        print(
            f"{what:<30} bare {bare:9,.0f} rows/s   with the ledger {kept:9,.0f} rows/s   "
            f"{kept / bare:5.0%} of it"
        )
    start = time.perf_counter()
    seal = make_seal()
    took = time.perf_counter() - start
    print(f"one Seal over {seal.tree_size:,} new entries: {took:.2f} s, while writers go on")
    assert seal.tree_size == LedgerEntry.objects.count()


def rate(reading: int, rows: int, seconds: float, *, ledger: bool) -> float:
    """Rows a second that all writers together have committed."""
    from django.db import connection

    word = "ENABLE" if ledger else "DISABLE"
    with connection.cursor() as cursor:
        cursor.execute(f"ALTER TABLE jobs_depthreading {word} TRIGGER enter_the_ledger")
    written = [0] * WRITERS
    ready, end = threading.Barrier(WRITERS + 1), threading.Event()
    threads = [
        threading.Thread(target=write, args=(n, reading, rows, written, ready, end))
        for n in range(WRITERS)
    ]
    for thread in threads:
        thread.start()
    ready.wait()
    start = time.perf_counter()
    time.sleep(seconds)
    end.set()
    for thread in threads:
        thread.join()
    return sum(written) / (time.perf_counter() - start)


def write(
    n: int,
    reading: int,
    rows: int,
    written: list[int],
    ready: threading.Barrier,
    end: threading.Event,
) -> None:
    from django.db import connection

    from jobs.models import DepthReading

    fields = [f.column for f in DepthReading._meta.concrete_fields if not f.generated]
    columns = ", ".join(c for c in fields if c not in ("id", "client_key"))
    sql = INSERT.format(columns=columns)
    try:
        with connection.cursor() as cursor:
            ready.wait()
            while not end.is_set():
                cursor.execute(sql, {"rows": rows, "reading": reading})
                written[n] += rows
    finally:
        connection.close()


if __name__ == "__main__":
    main(float(sys.argv[1]) if len(sys.argv) > 1 else 5.0)
