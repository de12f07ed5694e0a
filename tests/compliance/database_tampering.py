"""Ways for a superuser to tamper with the database: triggers off, then any statement at all."""

from __future__ import annotations

import json
import random
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.apps import apps
from django.db import IntegrityError, connection, models, transaction
from django.utils import timezone

from compliance.ledger.facts import FACTS
from compliance.verify.facts import name_of
from tests.compliance.tampering import other_value

LedgerChange = Callable[[random.Random], None]


@dataclass(frozen=True)
class ChangedRow:
    table: str
    column: str
    name: str
    """What the verifier calls the fact."""


@contextmanager
def triggers_off() -> Iterator[Any]:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")
        yield cursor
        cursor.execute("SET LOCAL session_replication_role = DEFAULT")


def model_of(table: str) -> type[models.Model]:
    return next(model for model in apps.get_models() if model._meta.db_table == table)


def ids_of(table: str) -> list[int]:
    return sorted(model_of(table)._base_manager.values_list("pk", flat=True))


def tables_without_rows() -> list[str]:
    return [table for table in FACTS if not ids_of(table)]


def change_rows(chance: random.Random, count: int) -> list[ChangedRow]:
    """Change one column in each of `count` rows, of as many tables as there are."""
    tables = list(FACTS)
    left = {table: chance.sample(ids_of(table), len(ids_of(table))) for table in tables}
    changed: list[ChangedRow] = []
    while len(changed) < count:
        table = tables[len(changed) % len(tables)]
        if not left[table]:
            table = max(left, key=lambda name: len(left[name]))
        changed.append(change_row(chance, table, left[table].pop()))
    return changed


def change_row(chance: random.Random, table: str, pk: int) -> ChangedRow:
    """A random column gets another value of its type. What a constraint refuses is tried anew."""
    model = model_of(table)
    row = model._base_manager.get(pk=pk)
    name = name_of(table, {"id": pk, "code": getattr(row, "code", None)})
    fields = [f for f in model._meta.concrete_fields if not f.primary_key and not f.generated]
    while True:
        field = chance.choice(fields)
        new = another(chance, field, getattr(row, field.attname))
        try:
            with triggers_off():
                model._base_manager.filter(pk=pk).update(**{field.attname: new})
        except IntegrityError:
            continue
        return ChangedRow(table, field.attname, name)


def another(chance: random.Random, field: models.Field[Any, Any], value: Any) -> Any:
    kind = field.get_internal_type()
    if kind == "UUIDField":
        return f"{chance.getrandbits(128):032x}"
    if kind == "DateTimeField":
        shift = timedelta(seconds=chance.randrange(1, 100_000))
        return (value or timezone.now()) + shift
    if kind == "DurationField":
        return (value or timedelta()) + timedelta(seconds=chance.randrange(1, 1000))
    if kind == "DateField":
        return (value or timezone.localdate()) + timedelta(days=chance.randrange(1, 90))
    if kind == "ArrayField":
        inner = field.base_field.get_internal_type()  # type: ignore[attr-defined]
        return [*value, 7 if "Integer" in inner else True if "Boolean" in inner else "another"]
    if kind in ("ForeignKey", "OneToOneField"):
        return (value or 0) + chance.randrange(1, 1_000_000)
    if kind in ("CharField", "TextField"):
        return _other_text(chance, value, field.max_length)
    if value is None and "Boolean" not in kind:
        return chance.randrange(1, 1000)
    return other_value(chance, value)


def _other_text(chance: random.Random, value: str, most: int | None) -> str:
    """Another text that fits: a character put in, or one changed where it is full."""
    longer = str(other_value(chance, value))
    if most is None or len(longer) <= most:
        return longer
    at = chance.randrange(len(value))
    digit = chance.choice([d for d in "0123456789abcdef" if d != value[at]])
    return value[:at] + digit + value[at + 1 :]


# --- The ledger itself


def random_position(chance: random.Random, cursor: Any) -> int:
    cursor.execute("SELECT count(*) FROM compliance_ledgerleaf")
    return chance.randrange(cursor.fetchone()[0])


def entry_rewritten(chance: random.Random) -> None:
    """An entry's payload and its hash together, and the row to match."""
    with triggers_off() as cursor:
        cursor.execute(
            "SELECT e.id, e.payload FROM compliance_ledgerentry e JOIN compliance_ledgerleaf l "
            "ON l.entry_id = e.id WHERE l.position = %s",
            [random_position(chance, cursor)],
        )
        number, payload = cursor.fetchone()
        values = json.loads(payload)
        column = chance.choice(sorted(values["fact"].keys() - {"id"}))
        values["fact"][column] = other_value(chance, values["fact"][column])
        text = json.dumps(values)
        cursor.execute(
            "UPDATE compliance_ledgerentry SET payload = %s, "
            "leaf_hash = sha256('\\x00'::bytea || convert_to(%s, 'UTF8')) WHERE id = %s",
            [text, text, number],
        )


def row_deleted(chance: random.Random) -> None:
    table = chance.choice([table for table in FACTS if ids_of(table)])
    with triggers_off() as cursor:
        cursor.execute(f"DELETE FROM {table} WHERE id = %s", [chance.choice(ids_of(table))])


def entry_deleted(chance: random.Random) -> None:
    """An entry with its row and its position, as if it had never been."""
    with triggers_off() as cursor:
        position = random_position(chance, cursor)
        cursor.execute(
            "DELETE FROM compliance_ledgerleaf WHERE position = %s RETURNING entry_id", [position]
        )
        cursor.execute(
            "DELETE FROM compliance_ledgerentry WHERE id = %s RETURNING kind, fact_id",
            [cursor.fetchone()[0]],
        )
        kind, fact = cursor.fetchone()
        cursor.execute(f"DELETE FROM {kind} WHERE id = %s", [fact])


def positions_swapped(chance: random.Random) -> None:
    with triggers_off() as cursor:
        one = random_position(chance, cursor)
        two = next(p for p in iter(lambda: random_position(chance, cursor), None) if p != one)
        cursor.execute(
            "SELECT entry_id FROM compliance_ledgerleaf WHERE position IN (%s, %s) "
            "ORDER BY position = %s",
            [one, two, one],
        )
        of_two, of_one = (row[0] for row in cursor.fetchall())
        for position, entry in ((one, -1), (two, of_one), (one, of_two)):
            cursor.execute(
                "UPDATE compliance_ledgerleaf SET entry_id = %s WHERE position = %s",
                [entry, position],
            )


def seal_rewritten(chance: random.Random) -> None:
    column, value = chance.choice(
        [
            ("root_hash", "sha256(root_hash)"),
            ("tree_size", "tree_size - 1"),
            ("signature", "sha256(signature) || sha256(root_hash)"),
            ("signed_text", "replace(signed_text, 'tree size', 'tree width')"),
            ("made_at", "made_at - interval '1 hour'"),
        ]
    )
    with triggers_off() as cursor:
        cursor.execute(
            f"UPDATE compliance_seal SET {column} = {value} WHERE id = "
            "(SELECT id FROM compliance_seal ORDER BY id OFFSET %s LIMIT 1)",
            [chance.randrange(3)],
        )


def row_slipped_in(chance: random.Random) -> None:
    """A reading that never entered the ledger."""
    own = ("id", "client_key", "replaces_id", "depth_mm")
    fields = model_of("jobs_depthreading")._meta.concrete_fields
    kept = [f.column for f in fields if not f.generated and f.column not in own]
    with triggers_off() as cursor:
        cursor.execute(
            f"INSERT INTO jobs_depthreading ({', '.join(kept)}, client_key, depth_mm) "
            f"SELECT {', '.join(kept)}, gen_random_uuid(), %s FROM jobs_depthreading WHERE id = %s",
            [chance.randrange(200, 400), chance.choice(ids_of("jobs_depthreading"))],
        )


LEDGER_CHANGES: tuple[LedgerChange, ...] = (
    entry_rewritten,
    row_deleted,
    entry_deleted,
    positions_swapped,
    seal_rewritten,
    row_slipped_in,
)
