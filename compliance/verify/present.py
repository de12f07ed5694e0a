"""Rows that can be edited: each must hold what the last event of its history says."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from hashlib import sha256
from marshal import dumps, loads
from typing import Any

from compliance.ledger.histories import DELETED, HISTORIES
from compliance.verify.facts import Facts
from compliance.verify.faults import Fault
from compliance.verify.layout import (
    ASSESSMENT,
    ENTRIES,
    OPERATIVE_EVENTS,
    PRESENT,
    RULE_EVENTS,
    VISIT_EVENTS,
)
from compliance.verify.reading_json import read_object, whole_number
from compliance.verify.scratch import STEP, is_number, open_scratch
from compliance.verify.sources import PackFiles

OF_THE_EVENT = frozenset(
    {"id", "by", "context", "row_id", "pgh_obj_id", "pgh_label", "pgh_created_at"}
)
"""What an event says of itself rather than of its row."""

# What others follow from, by the kind of the events of its row.
KEPT: dict[str, tuple[str, ...]] = {
    VISIT_EVENTS: ("during", "status"),
    OPERATIVE_EVENTS: ("visit_id",),
}
COMPARED, APART = 1, 2
"""How a row was told of: as it is now, or as gone or changed after the last Seal."""


@dataclass(frozen=True, slots=True)
class LastEvent:
    """number: its own. line: of the entries, from 0. digest: SHA-256 of that line."""

    number: int
    line: int
    digest: bytes
    deleted: bool


class Histories:
    """The last event of each row, by the kind of its events and the row's number; on disk."""

    def __init__(self) -> None:
        self._noted: list[tuple[Any, ...]] = []
        self._lists = open_scratch(
            "last (kind, row, number, line, digest, deleted, kept, told, copied, "
            "PRIMARY KEY (kind, row)) WITHOUT ROWID"
        )

    def note(self, kind: str, fact: dict[str, Any], line: int, entry: bytes) -> None:
        if kind not in HISTORIES:
            return
        row, number = fact.get("row_id"), fact["id"]
        if not is_number(row) or not is_number(number):
            return
        deleted = fact.get("pgh_label") == DELETED
        kept = dumps([fact.get(name) for name in KEPT[kind]]) if kind in KEPT else None
        self._noted.append((kind, row, number, line, sha256(entry).digest(), deleted, kept))
        if len(self._noted) >= STEP:
            self._write()

    def _write(self) -> sqlite3.Connection:
        noted, self._noted = self._noted, []
        self._lists.executemany(
            "INSERT INTO last VALUES (?, ?, ?, ?, ?, ?, ?, 0, 0) ON CONFLICT (kind, row) DO UPDATE "
            "SET number = excluded.number, line = excluded.line, digest = excluded.digest, "
            "deleted = excluded.deleted, kept = excluded.kept WHERE excluded.number > number",
            noted,
        )
        return self._lists

    def any(self) -> bool:
        return self._write().execute("SELECT 1 FROM last LIMIT 1").fetchone() is not None

    def last(self, kind: str, row: Any) -> LastEvent | None:
        if not is_number(row):
            return None
        sql = "SELECT number, line, digest, deleted FROM last WHERE kind = ? AND row = ?"
        found = self._write().execute(sql, (kind, row)).fetchone()
        if found is None:
            return None
        number, line, digest, deleted = found
        return LastEvent(number, line, digest, bool(deleted))

    def values(self, kind: str, row: Any) -> dict[str, Any] | None:
        """What its last event says of what others follow from; None when it has no history."""
        if not is_number(row):
            return None
        sql = "SELECT kept FROM last WHERE kind = ? AND row = ? AND kept IS NOT NULL"
        found = self._write().execute(sql, (kind, row)).fetchone()
        return None if found is None else dict(zip(KEPT[kind], loads(found[0]), strict=True))

    def tell(self, kind: str, row: int, how: int = COMPARED) -> bool:
        """Mark it as told of. False when it was, or when it has no history."""
        sql = "UPDATE last SET told = ? WHERE kind = ? AND row = ? AND NOT told"
        return self._write().execute(sql, (how, kind, row)).rowcount == 1

    def tell_copy(self, kind: str, row: int) -> bool:
        """Mark what the row has of another as told. False when it was, or without a history."""
        sql = "UPDATE last SET copied = 1 WHERE kind = ? AND row = ? AND NOT copied"
        return self._write().execute(sql, (kind, row)).rowcount == 1

    def without_copy(self, kind: str) -> Iterator[int]:
        """Rows of that kind that are there, and of which `tell_copy` was never asked."""
        sql = (
            "SELECT row FROM last WHERE kind = ? AND NOT deleted AND told = ? AND NOT copied "
            "ORDER BY row"
        )
        yield from (row for (row,) in self._write().execute(sql, (kind, COMPARED)))

    def untold(self) -> Iterator[tuple[str, int]]:
        sql = "SELECT kind, row FROM last WHERE NOT told ORDER BY kind, row"
        yield from self._write().execute(sql)


def row_name(kind: str, number: int) -> str:
    """What a person calls it, such as "visit 12"."""
    return f"{HISTORIES[kind].noun} {number}"


def present_faults(histories: Histories, files: PackFiles, notes: list[str]) -> Iterator[Fault]:
    """That rows hold what their histories say. notes: what could not be told is put there."""
    if PRESENT not in files.names:
        if histories.any():
            yield Fault(PRESENT, "is missing from the pack")
        return
    different: dict[int, bytes] = {}
    later = 0
    for n, line in enumerate(files.lines(PRESENT)):
        values = read_object(line, f"{PRESENT}, line {n + 1}")
        kind, number = _row_of(values, n)
        name, last = row_name(kind, number), histories.last(kind, number)
        apart = values.get("later") is True or values.get("gone") is True
        if last is not None and not histories.tell(kind, number, APART if apart else COMPARED):
            yield Fault(name, f"is told twice in {PRESENT}")
        if values.get("later") is True:
            later += 1
        elif last is None:
            yield Fault(name, "has no history: it was slipped in")
        elif last.deleted:
            if values.get("gone") is not True:
                yield Fault(name, "is there, though its history says that it was deleted")
        elif values.get("gone") is True or "fact" not in values:
            yield Fault(name, "is gone, and its history does not say that it was deleted")
        elif sha256(line).digest() != last.digest:
            different[last.line] = line
    yield from _differences(different, files)
    for kind, number in histories.untold():
        yield Fault(row_name(kind, number), f"is missing from {PRESENT}")
    if later:
        notes.append(
            f"{later} rows were changed after the last Seal, so they were not compared with their "
            "histories: make the pack again for those."
        )


def rule_faults(facts: Facts, histories: Histories, files: PackFiles) -> Iterator[Fault]:
    """That the depth rule which a verdict names is in the pack."""
    if PRESENT not in files.names:
        return
    for number, known in facts.of_kind(ASSESSMENT):
        rule = known["rule_id"]
        if histories.last(RULE_EVENTS, rule) is None:
            yield Fault(f"assessment {number}", f"names depth rule {rule}, which is missing")


def _row_of(values: dict[str, Any], n: int) -> tuple[str, int]:
    """Kind of the events and number of the row of a line. Raises Unsound, KeyError."""
    where = f"{PRESENT}, line {n + 1}"
    kind = values["kind"]
    HISTORIES[kind]  # a KeyError says that the line has no proper shape
    if "fact" in values:
        return kind, whole_number(values["fact"], "row_id", where)
    return kind, whole_number(values, "object", where)


def _differences(different: dict[int, bytes], files: PackFiles) -> Iterator[Fault]:
    """Column by column; a column added to the table since its last event is no change."""
    if not different:
        return
    for n, entry in enumerate(files.lines(ENTRIES)):
        if n not in different:
            continue
        recorded = read_object(entry, f"{ENTRIES}, line {n + 1}")
        now = read_object(different[n], PRESENT)["fact"]
        name = row_name(recorded["kind"], recorded["fact"]["row_id"])
        for column, value in recorded["fact"].items():
            found = now.get(column)
            if column not in OF_THE_EVENT and (
                column not in now or found != value or type(found) is not type(value)
            ):
                what = f"its {column} is not what its history says"
                yield Fault(name, what, repr(value), repr(found))
