"""Checking the whole ledger: nothing trusted, everything worked out again.

In order: every entry's hash from its payload; every fact's row against its payload; no fact
without an entry; every row that can be edited against its history; positions from 0 without a gap;
the root at the size of every Seal; every Seal's signature; the stored tree hashes. The first thing
wrong is named first.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from django.db import connection, transaction

from compliance.ledger import check_histories
from compliance.ledger.check_stored import belonging_faults, node_faults
from compliance.ledger.facts import ERASABLE, ERASED_HASHES, FACTS, fact_expression
from compliance.ledger.histories import HISTORIES
from compliance.ledger.kinds import KINDS, key_of
from compliance.ledger.seals import signature_holds, text_agrees
from compliance.ledger.tree import Frontier, leaf_hash
from compliance.models import LedgerEntry, Seal
from compliance.verify.chain import Chain
from compliance.verify.facts import thing_name

CHUNK = 5000
ERASED_BY_A_FACT = """EXISTS (
    SELECT 1 FROM compliance_erasure r WHERE r.items @> jsonb_build_object(
        %s::text, jsonb_build_object(e.fact_id::text, jsonb_build_array(p.key))))"""
MOST_FAULTS = 20

__all__ = ["Fault", "LedgerReport", "verify_ledger"]


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is not as it was written: what, and where."""

    what: str
    where: str

    def __str__(self) -> str:
        return f"{self.where}: {self.what}"


@dataclass(frozen=True, slots=True)
class LedgerReport:
    """What was looked at and what is wrong with it, the first fault first."""

    entries: int
    in_tree: int
    seals: int
    faults: tuple[Fault, ...]

    @property
    def sound(self) -> bool:
        return not self.faults

    def __str__(self) -> str:
        looked = f"{self.entries} entries, {self.in_tree} in the tree, {self.seals} Seals checked."
        if self.sound:
            return f"{looked} Everything is as it was written."
        return f"{looked} The first thing wrong: {self.faults[0]}"


def verify_ledger() -> LedgerReport:
    """Check everything; at most MOST_FAULTS faults are collected."""
    with transaction.atomic():
        faults: list[Fault] = []
        counts = {"in_tree": 0}
        sources = (_payloads(), _rows(), _unwritten(), _histories(), _tree(counts), _signatures())
        for source in sources:
            for fault in source:
                faults.append(fault)
                if len(faults) >= MOST_FAULTS:
                    break
        return LedgerReport(
            entries=LedgerEntry.objects.count(),
            in_tree=counts["in_tree"],
            seals=Seal.objects.count(),
            faults=tuple(faults),
        )


def _payloads() -> Iterator[Fault]:
    rows = LedgerEntry.objects.order_by("id").values_list(
        "id", "kind", "fact_id", "payload", "leaf_hash"
    )
    for number, kind, fact_id, payload, stored in rows.iterator(CHUNK):
        if kind not in KINDS:
            yield Fault(f"there are no facts of kind {kind}", f"entry {number}")
        if leaf_hash(payload.encode()) != bytes(stored):
            where = f"entry {number}, {_name(kind, fact_id)}"
            yield Fault("the payload does not give the stored hash", where)
    for where, what in belonging_faults(MOST_FAULTS):
        yield Fault(what, where)


def _rows() -> Iterator[Fault]:
    """Facts whose row says something else than when it was written, column by column."""
    for table in FACTS:
        now = fact_expression("f", table)
        sql = check_histories.differing(table, now, ERASED_BY_A_FACT, MOST_FAULTS)
        erasable = sorted(ERASABLE.get(table, ()))
        for number, fact_id, column in _query(sql, [table, erasable, list(ERASED_HASHES), table]):
            yield Fault(check_histories.changed(column, number), _name(table, fact_id))


def _unwritten() -> Iterator[Fault]:
    for table in KINDS:
        key = key_of(table)
        for (fact_id,) in _query(
            f"""
            SELECT f.{key} FROM {table} f WHERE NOT EXISTS (
                SELECT 1 FROM compliance_ledgerentry e WHERE e.kind = %s AND e.fact_id = f.{key})
            ORDER BY f.{key} LIMIT {MOST_FAULTS}
            """,
            [table],
        ):
            yield Fault(
                "no ledger entry was ever written for it: it was slipped in", _name(table, fact_id)
            )


def _name(table: str, number: int) -> str:
    """What a person calls a row, with its table for whoever looks it up."""
    if table in HISTORIES:
        return check_histories.edit_name(table, number)
    return f"{thing_name(table)} {number} ({table})"


def _histories() -> Iterator[Fault]:
    """What can be edited, and what follows from facts."""
    for check in (
        check_histories.event_faults,
        check_histories.present_faults,
        check_histories.derived_faults,
    ):
        for where, what in check(_query, MOST_FAULTS):
            yield Fault(what, where)


def _tree(counts: dict[str, int]) -> Iterator[Fault]:
    """Positions, every Seal's root, and the stored hashes of full runs."""
    by_size: dict[int, list[Seal]] = {}
    for seal in Seal.objects.order_by("id"):
        by_size.setdefault(seal.tree_size, []).append(seal)
    frontier = Frontier()
    yield from _roots(frontier, by_size)
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT l.position, e.payload FROM compliance_ledgerleaf l "
            "JOIN compliance_ledgerentry e ON e.id = l.entry_id ORDER BY l.position"
        )
        while rows := cursor.fetchmany(CHUNK):
            for position, payload in rows:
                if position != frontier.size:
                    yield Fault(f"nothing stands at position {frontier.size}", "the tree")
                    return
                frontier.add(leaf_hash(payload.encode()))
                yield from _roots(frontier, by_size)
    counts["in_tree"] = frontier.size
    for size, seals in sorted(by_size.items()):
        for seal in seals:
            yield Fault(f"it covers {size} entries, but the tree has fewer", f"Seal {seal.pk}")
    for where, what in node_faults():
        yield Fault(what, where)


def _roots(frontier: Frontier, by_size: dict[int, list[Seal]]) -> Iterator[Fault]:
    for seal in by_size.pop(frontier.size, ()):
        if bytes(seal.root_hash) != frontier.root():
            yield Fault(
                f"the first {seal.tree_size} entries do not give its root", f"Seal {seal.pk}"
            )


def _signatures() -> Iterator[Fault]:
    chain = Chain()
    for seal in Seal.objects.order_by("id"):
        name = f"Seal {seal.pk}"
        misplaced = list(chain.take(seal.signed_text, name))
        if not signature_holds(seal):
            yield Fault("its signature does not fit its text", name)
        elif not text_agrees(seal):
            yield Fault("its signed text says something else than its row", name)
        else:
            yield from (Fault(fault.what, fault.where) for fault in misplaced)


def _query(sql: str, parameters: list[object]) -> list[tuple]:  # type: ignore[type-arg]
    """Rows of a query, with time zone and digits as the trigger sets them when it writes."""
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL timezone TO 'UTC'")
        cursor.execute("SET LOCAL extra_float_digits TO 1")
        try:
            cursor.execute(sql, parameters)
            return list(cursor.fetchall())
        finally:
            cursor.execute("RESET extra_float_digits")
            cursor.execute("RESET timezone")
