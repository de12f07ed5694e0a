"""Long lists of a pack, on disk: which entries it holds, and which files it has already."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import islice
from typing import Protocol

from django.db import connection

from compliance.verify.scratch import STEP, in_steps, open_scratch


class Entries(Protocol):
    """Entries of the ledger, however many."""

    def steps(self) -> Iterator[list[int]]:
        """Their ids in the order of the tree, STEP at a time."""
        ...


class Scratch:
    """A list of entries and one of names."""

    def __init__(self) -> None:
        self._lists = open_scratch(
            "entry (position INTEGER PRIMARY KEY, id INTEGER NOT NULL)",
            "name (name TEXT PRIMARY KEY) WITHOUT ROWID",
            "edited (kind, row, PRIMARY KEY (kind, row)) WITHOUT ROWID",
        )

    def add(self, places: Iterable[tuple[int, int]]) -> None:
        """Position and id of entries, in any order; one that is there already is left."""
        self._lists.executemany("INSERT OR IGNORE INTO entry VALUES (?, ?)", places)

    def steps(self) -> Iterator[list[int]]:
        last = -1
        while rows := self._lists.execute(
            "SELECT position, id FROM entry WHERE position > ? ORDER BY position LIMIT ?",
            (last, STEP),
        ).fetchall():
            yield [number for _, number in rows]
            last = rows[-1][0]

    def is_new(self, name: str) -> bool:
        """Whether this name is asked about for the first time."""
        return self._lists.execute("INSERT OR IGNORE INTO name VALUES (?)", (name,)).rowcount == 1

    def add_edited(self, rows: Iterable[tuple[str, int]]) -> None:
        """Rows that can be edited, by the kind of their events."""
        self._lists.executemany("INSERT OR IGNORE INTO edited VALUES (?, ?)", rows)

    def edited(self, kind: str) -> Iterator[list[int]]:
        """Their numbers in order, STEP at a time."""
        sql = "SELECT row FROM edited WHERE row > ? AND kind = ? ORDER BY row LIMIT ?"
        found = in_steps(self._lists, sql, 0, kind)
        while some := [row for (row,) in islice(found, STEP)]:
            yield some

    def close(self) -> None:
        self._lists.close()


@dataclass(frozen=True, slots=True)
class WholeLedger:
    """The first `size` entries."""

    size: int

    def steps(self) -> Iterator[list[int]]:
        for start in range(0, self.size, STEP):
            with connection.cursor() as cursor:
                cursor.execute(
                    "SELECT entry_id FROM compliance_ledgerleaf "
                    "WHERE position >= %s AND position < %s ORDER BY position",
                    [start, min(start + STEP, self.size)],
                )
                yield [number for (number,) in cursor.fetchall()]
