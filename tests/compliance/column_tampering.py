"""Each column of each table of the ledger's list, changed at least once, by a superuser.

Facts, with rows that can be edited and what is derived, are changed apart from events: an event of
another number would leave its row without a history, and hide what else was done to the row.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from django.db import Error, connection

from compliance.ledger.facts import FACTS
from compliance.ledger.histories import HISTORIES
from compliance.ledger.tables import NOT_COMPARED
from compliance.verify.facts import name_of
from tests.compliance.database_tampering import another, ids_of, model_of, triggers_off

TRACKED = {history.of: kind for kind, history in HISTORIES.items()}
DERIVED = {"jobs_stockbalance": "stock balance", "jobs_photohash": "hash of photo"}
GROUPS: tuple[tuple[str, ...], ...] = ((*FACTS, *TRACKED, *DERIVED), tuple(HISTORIES))
TABLES = (*GROUPS[0], *GROUPS[1])
PASSES = 3
"""A third of a row's columns at a time, so that one change cannot stand for all of them."""
TRIES = 30
TOLD_AS = {"id": "row_id", "pgh_context_id": "context"}
"""What the verifier calls columns of events that enter under another name."""


@dataclass(frozen=True)
class Change:
    """name, told: what the verifier calls the row and the column."""

    table: str
    column: str
    name: str
    told: str


def columns_of(table: str) -> list[str]:
    """Columns that the verifier answers for; the key that names the row apart."""
    fields = model_of(table)._meta.concrete_fields
    left = NOT_COMPARED.get(table, {})
    return [f.column for f in fields if not (f.primary_key or f.generated or f.column in left)]


def change_columns(chance: random.Random, tables: Sequence[str], part: int) -> Iterator[Change]:
    """Of a random row of each table, every PASSES-th column, from the `part`-th on."""
    for table in tables:
        drop_constraints(table)
        pk = chance.choice(ids_of(table))
        for column in columns_of(table)[part::PASSES]:
            change_column(chance, table, pk, column)
            yield Change(table, column, _name(table, pk), _told_as(table, column))


def drop_constraints(table: str) -> None:
    """As a superuser may, to write what could not be: until the transaction is rolled back."""
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        cursor.execute(
            "SELECT string_agg(format('DROP CONSTRAINT %%I', conname), ', ') FROM pg_constraint "
            "WHERE conrelid = %s::regclass AND contype IN ('c', 'x')",
            [table],
        )
        (drops,) = cursor.fetchone()
        if drops:
            cursor.execute(f"ALTER TABLE {table} {drops}")


def change_column(chance: random.Random, table: str, pk: int, column: str) -> None:
    """Another value of its type; what is refused, such as one that is taken, is tried anew."""
    model = model_of(table)
    field = next(f for f in model._meta.concrete_fields if f.column == column)
    rows = model._base_manager.filter(pk=pk)
    value = rows.values_list(field.attname, flat=True).get()
    for _ in range(TRIES):
        try:
            with triggers_off():
                rows.update(**{field.attname: another(chance, field, value)})
        except Error:
            continue
        return
    raise AssertionError(f"{table}.{column}: nothing else is let in for {value!r}")


def _told_as(table: str, column: str) -> str:
    """What the verifier calls a column; a salt changes the hash of what it salts."""
    if table in HISTORIES:
        return TOLD_AS.get(column, column)
    return FACTS[table][0] if column == "salt" else column


def _name(table: str, pk: int) -> str:
    if table in DERIVED:
        return f"{DERIVED[table]} {pk}"
    if table in TRACKED:
        return f"{HISTORIES[TRACKED[table]].noun} {pk}"
    if table in HISTORIES:
        return f"edit {pk} of {HISTORIES[table].noun}"
    return name_of(table, {"id": pk}).partition(" (")[0]
