"""Every kind of fact in the ledger: rows only added, and events of rows that are edited."""

from __future__ import annotations

from typing import Any

from compliance.ledger.facts import ERASED_HASHES, FACTS, fact_expression
from compliance.ledger.histories import HISTORIES, event_expression

# Kind -> columns that enter as hashes and whose text a pack gives beside them.
KINDS: dict[str, tuple[str, ...]] = {
    **FACTS,
    **{kind: history.words for kind, history in HISTORIES.items()},
}


def key_of(kind: str) -> str:
    """The column that an entry names a row by."""
    return "pgh_id" if kind in HISTORIES else "id"


def expression_of(row: str, kind: str) -> str:
    """SQL for the fact of a row named `row`, as the trigger would write it today."""
    if kind in HISTORIES:
        return event_expression(row, kind)
    return fact_expression(row, kind)


def erased_as(kind: str, fact: dict[str, Any]) -> tuple[str, int] | None:
    """Table and number that an erasure names for this fact; of an event the row it is of."""
    table, number = kind, fact.get("id")
    if kind in HISTORIES:
        table, number = HISTORIES[kind].of, fact.get("row_id")
    return (table, number) if isinstance(number, int) else None


def looks_erased(value: object) -> bool:
    """Whether a hashed column holds what an erasure leaves there."""
    return value in ERASED_HASHES
