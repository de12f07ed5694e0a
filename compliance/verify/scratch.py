"""Lists that may be long, on disk: in a database without a name, which is gone when it is closed.

SQLite comes with Python. Of its "temporary on-disk database" CACHE_KB are in memory.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from typing import Any

CACHE_KB = 2_000
STEP = 1000
LARGEST = 2**63 - 1


def open_scratch(*tables: str) -> sqlite3.Connection:
    """With these tables; nothing in it outlives the program."""
    # A server may take one piece of a pack in one thread and the next in another.
    scratch = sqlite3.connect("", check_same_thread=False)
    scratch.executescript(f"PRAGMA journal_mode = OFF; PRAGMA cache_size = -{CACHE_KB};")
    for table in tables:
        scratch.execute(f"CREATE TABLE {table}")
    return scratch


def in_steps(scratch: sqlite3.Connection, sql: str, first: Any, *given: Any) -> Iterator[Any]:
    """Rows of a query over a key above `first`, STEP at a time, so that others may write between.

    sql: takes the key last seen, then `given`, then the most rows; the key is its first column.
    """
    last = first
    while rows := scratch.execute(sql, (last, *given, STEP)).fetchall():
        yield from rows
        last = rows[-1][0]


def is_number(value: object) -> bool:
    """Whether it is a whole number that a table can hold."""
    return type(value) is int and -LARGEST <= value <= LARGEST
