"""What the ledger costs a writer: readings inserted, and visits edited, by 16 writers.

    python -m benchmarks.ledger_appends [seconds a measurement]

Makes a database of its own on the server of DATABASE_URL (the role must be allowed to), inserts
depth readings by 16 connections at once, then edits 16 visits, each transaction committed, and
takes the database away again. "Bare" is the same with the trigger `enter_the_ledger` switched off;
the other triggers and constraints stay, so an edit still writes its event. The best of three rounds
each, since the machine may be shared.
"""

from __future__ import annotations

import os
import sys
import threading
import time
from dataclasses import dataclass

import django

WRITERS = 16
ROUNDS = 3
INSERT = """
INSERT INTO jobs_depthreading ({columns}, client_key)
SELECT {columns}, gen_random_uuid() FROM jobs_depthreading, generate_series(1, %(rows)s)
WHERE jobs_depthreading.id = %(row)s
"""
EDIT = "UPDATE jobs_visit SET version = version + 1 WHERE id = %(row)s"


@dataclass(frozen=True)
class Act:
    """table: whose trigger is switched. rows: written a transaction. row_of: by writer."""

    what: str
    table: str
    sql: str
    rows: int
    row_of: list[int]


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

    print(f"{WRITERS} writers, {seconds:g} s each, load average {os.getloadavg()[0]:.1f}")
    for act in acts():
        bare, kept = 0.0, 0.0
        for _ in range(ROUNDS):
            bare = max(bare, rate(act, seconds, ledger=False))
            kept = max(kept, rate(act, seconds, ledger=True))
        print(
            f"{act.what:<30} bare {bare:9,.0f} rows/s   with the ledger {kept:9,.0f} rows/s   "
            f"{kept / bare:5.0%} of it"
        )
    start = time.perf_counter()
    seal = make_seal()
    took = time.perf_counter() - start
    print(f"one Seal over {seal.tree_size:,} new entries: {took:.2f} s, while writers go on")
    assert seal.tree_size == LedgerEntry.objects.count()


def acts() -> list[Act]:
    from jobs.models import DepthReading
    from tests.factories import DepthReadingFactory, VisitFactory

    reading = DepthReadingFactory()
    visits = [VisitFactory().pk for _ in range(WRITERS)]
    fields = [f.column for f in DepthReading._meta.concrete_fields if not f.generated]
    insert = INSERT.format(columns=", ".join(c for c in fields if c not in ("id", "client_key")))
    readings, same = "jobs_depthreading", [reading.pk] * WRITERS
    return [
        Act("one reading a transaction", readings, insert, 1, same),
        Act("a loft's 14 readings at once", readings, insert, 14, same),
        Act("one edit of a visit", "jobs_visitevent", EDIT, 1, visits),
    ]


def rate(act: Act, seconds: float, *, ledger: bool) -> float:
    """Rows a second that all writers together have committed."""
    from django.db import connection

    word = "ENABLE" if ledger else "DISABLE"
    with connection.cursor() as cursor:
        cursor.execute(f"ALTER TABLE {act.table} {word} TRIGGER enter_the_ledger")
    written = [0] * WRITERS
    ready, end = threading.Barrier(WRITERS + 1), threading.Event()
    threads = [
        threading.Thread(target=write, args=(n, act, written, ready, end)) for n in range(WRITERS)
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
    n: int, act: Act, written: list[int], ready: threading.Barrier, end: threading.Event
) -> None:
    from django.db import connection

    try:
        with connection.cursor() as cursor:
            ready.wait()
            while not end.is_set():
                cursor.execute(act.sql, {"rows": act.rows, "row": act.row_of[n]})
                written[n] += act.rows
    finally:
        connection.close()


if __name__ == "__main__":
    main(float(sys.argv[1]) if len(sys.argv) > 1 else 5.0)
