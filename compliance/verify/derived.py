"""What only follows from the rest, followed again: hashes of photos, when operatives are on visits,
stock balances. Also what the service's own check says of its stored tree."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from compliance.verify.facts import Facts
from compliance.verify.faults import Fault
from compliance.verify.layout import (
    BALANCE,
    DERIVED,
    HASHES_SINCE,
    INSPECTION,
    MOVEMENT,
    OPERATIVE,
    OPERATIVE_EVENTS,
    PHOTO,
    PHOTO_HASH,
    STORED_TREE,
    VISIT_EVENTS,
)
from compliance.verify.present import Histories, row_name
from compliance.verify.reading_json import read_object
from compliance.verify.scratch import in_steps, is_number, open_scratch
from compliance.verify.sources import PackFiles

CANCELLED = "cancelled"
Row = dict[str, Any]


@dataclass(slots=True)
class Derived:
    """whole: of a pack of the whole ledger, which alone holds enough to follow balances from.

    complete: whether the pack must tell of every operative; one of version 1 does not.
    """

    facts: Facts
    histories: Histories
    files: PackFiles
    whole: bool
    complete: bool
    later: int = field(default=0, init=False)
    hashes: PhotoHashes = field(default_factory=lambda: PhotoHashes(), init=False)

    def faults(self) -> Iterator[Fault]:
        if DERIVED not in self.files.names:
            if self.complete or (self.whole and self.facts.counts().get(MOVEMENT)):
                yield Fault(DERIVED, "is missing from the pack")
            return
        sums = _sums(self.facts) if self.whole else {}
        for n, line in enumerate(self.files.lines(DERIVED), 1):
            where = f"{DERIVED}, line {n}"
            yield from self._row(read_object(line, where), sums, where)
        for depot, item in sorted(sums):
            yield Fault(f"stock of item {item} at depot {depot}", "has movements, but no balance")
        if self.complete:
            for number in self.histories.without_copy(OPERATIVE_EVENTS):
                yield Fault(row_name(OPERATIVE_EVENTS, number), f"is missing from {DERIVED}")
            for photo in self.hashes.missing(self.facts):
                yield Fault(f"hash of photo {photo}", "is missing: an inspection of it has one")

    def notes(self) -> list[str]:
        """What could not be told; asked for when all faults were."""
        if not self.later:
            return []
        return [
            f"{self.later} stock balances, hashes of photos or times of operatives follow from "
            "what was recorded after the last Seal, so they were not compared: make the pack "
            "again for those."
        ]

    def _row(self, values: Row, sums: dict[tuple[int, int], Any], where: str) -> Iterator[Fault]:
        table, later = values["table"], values.get("later") is True
        self.later += later
        if table == BALANCE:
            expected = sums.pop((values["depot_id"], values["item_id"]), (0, 0))
            if not later:
                yield from _balance(values, expected)
        elif table == PHOTO_HASH:
            self.hashes.tell(values["id"])
            if not later:
                yield from _photo_hash(values, self.facts)
        elif table == OPERATIVE:
            yield from self._operative(values, later)
        elif table == STORED_TREE:
            yield Fault(str(values["where"]), str(values["what"]))
        else:
            yield Fault(where, "is of a table that follows from no facts")

    def _operative(self, values: Row, later: bool) -> Iterator[Fault]:
        """Its period and whether it takes place are its visit's, as the visit's history has it."""
        number = values["id"]
        own = self.histories.values(OPERATIVE_EVENTS, number)
        name = row_name(OPERATIVE_EVENTS, number)
        if own is None:
            return  # it has no history, which was told of with the rows
        if not self.histories.tell_copy(OPERATIVE_EVENTS, number):
            yield Fault(name, f"is told twice in {DERIVED}")
        visit = self.histories.values(VISIT_EVENTS, own["visit_id"])
        if later:
            return
        if visit is None:
            yield Fault(name, f"is on visit {own['visit_id']}, which is missing from the pack")
            return
        expected = {"during": visit["during"], "live": visit["status"] != CANCELLED}
        for column, value in expected.items():
            if values[column] != value or type(values[column]) is not type(value):
                what = f"its {column} is not what follows from visit {own['visit_id']}"
                yield Fault(name, what, repr(value), repr(values[column]))


class PhotoHashes:
    """Which photos a pack tells the hash of, on disk; and which their inspections say have one."""

    def __init__(self) -> None:
        self._lists = open_scratch("told (photo PRIMARY KEY)", "due (photo PRIMARY KEY, is_due)")

    def tell(self, photo: Any) -> None:
        if is_number(photo):
            self._lists.execute("INSERT OR IGNORE INTO told VALUES (?)", (photo,))

    def missing(self, facts: Facts) -> Iterator[int]:
        """By each photo's newest inspection; asked for when all were told."""
        self._lists.executemany(
            "INSERT OR REPLACE INTO due VALUES (?, ?)",
            (
                (known["photo_id"], _has_a_hash(known))
                for _, known in facts.of_kind(INSPECTION)
                if is_number(known["photo_id"])
            ),
        )
        sql = (
            "SELECT photo FROM due WHERE photo > ? AND is_due "
            "AND photo NOT IN (SELECT photo FROM told) ORDER BY photo LIMIT ?"
        )
        yield from (photo for (photo,) in in_steps(self._lists, sql, 0))


def _has_a_hash(inspection: Row) -> bool:
    version = inspection["inspector_version"]
    known = isinstance(version, str) and version.isdecimal() and len(version) < 9
    return known and int(version) >= HASHES_SINCE and inspection["perceptual_hash"] is not None


def _sums(facts: Facts) -> dict[tuple[int, int], tuple[int, int]]:
    """Depot and item -> units and number of movements."""
    sums: dict[tuple[int, int], tuple[int, int]] = defaultdict(lambda: (0, 0))
    for _, known in facts.of_kind(MOVEMENT):
        place = known["depot_id"], known["item_id"]
        units, movements = sums[place]
        sums[place] = units + known["effect"], movements + 1
    return dict(sums)


def _balance(values: Row, expected: tuple[int, int]) -> Iterator[Fault]:
    found = values["quantity"], values["movements"]
    if found != expected:
        yield Fault(
            f"stock balance {values['id']}",
            "is not the sum of its movements",
            f"{expected[0]} units of {expected[1]} movements",
            f"{found[0]} units of {found[1]} movements",
        )


def _photo_hash(values: Row, facts: Facts) -> Iterator[Fault]:
    of = facts.values(INSPECTION, values["inspection_id"]) or {}
    photo = facts.values(PHOTO, values["id"]) or {}
    expected = of.get("photo_id"), photo.get("job_id"), of.get("perceptual_hash")
    found = values["id"], values["job_id"], values["value"]
    if found != expected:
        yield Fault(
            f"hash of photo {values['id']}",
            "is not what the inspection of its photo found",
            str(expected),
            str(found),
        )
