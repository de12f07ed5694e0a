"""Ways for a superuser to tamper with the database: triggers off, then any statement at all."""

from __future__ import annotations

import json
import random
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from typing import Any

from django.apps import apps
from django.db import connection, models, transaction
from django.utils import timezone

from compliance.ledger.histories import HISTORIES
from compliance.ledger.kinds import KINDS, key_of
from tests.compliance.tampering import other_value

ANOTHER_OF: dict[str, Any] = {
    "BigIntegerField": 7,
    "PositiveSmallIntegerField": 7,
    "IntegerField": 7,
    "FloatField": 7.5,
    "BooleanField": True,
    "DateTimeField": "2026-01-01T00:00:00Z",
}
LedgerChange = Callable[[random.Random], None]


@contextmanager
def triggers_off() -> Iterator[Any]:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")
        yield cursor
        cursor.execute("SET LOCAL session_replication_role = DEFAULT")


def by_force(rows: models.QuerySet[Any], **values: object) -> None:
    with triggers_off():
        assert rows.update(**values)


def model_of(table: str) -> type[models.Model]:
    models = apps.get_models(include_auto_created=True)
    return next(m for m in models if m._meta.db_table == table and not m._meta.proxy)


def ids_of(table: str) -> list[int]:
    return sorted(model_of(table)._base_manager.values_list("pk", flat=True))


def another(chance: random.Random, field: models.Field[Any, Any], value: Any) -> Any:
    kind = field.get_internal_type()
    if field.is_relation and field.target_field.get_internal_type() == "UUIDField":
        kind = "UUIDField"
    if kind == "UUIDField":
        return f"{chance.getrandbits(128):032x}"
    if kind == "DateTimeField":
        shift = timedelta(seconds=chance.randrange(1, 100_000))
        return (value or timezone.now()) + shift
    if kind == "DurationField":
        return (value or timedelta()) + timedelta(seconds=chance.randrange(1, 1000))
    if kind == "DateField":
        return (value or timezone.localdate()) + timedelta(days=chance.randrange(1, 90))
    if kind == "DateTimeRangeField":
        start, end = (value.lower, value.upper) if value else (timezone.now(),) * 2
        return start, end + timedelta(seconds=chance.randrange(1, 100_000))
    if kind == "TimeField":
        return f"{chance.randrange(24):02}:{chance.randrange(60):02}:{chance.randrange(60):02}"
    if kind == "ArrayField":
        inner = field.base_field.get_internal_type()  # type: ignore[attr-defined]
        return [*(value or ()), ANOTHER_OF.get(inner, "another")]
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
    """Of a fact, an event, or a row that can be edited."""
    tables = [*KINDS, *(history.of for history in HISTORIES.values())]
    table = chance.choice([table for table in tables if ids_of(table)])
    key = key_of(table)
    with triggers_off() as cursor:
        cursor.execute(f"DELETE FROM {table} WHERE {key} = %s", [chance.choice(ids_of(table))])


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
        cursor.execute(f"DELETE FROM {kind} WHERE {key_of(kind)} = %s", [fact])


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


def seal_deleted(chance: random.Random) -> None:
    """Any but the last, which can be missed only by whoever kept it."""
    with triggers_off() as cursor:
        cursor.execute(
            "DELETE FROM compliance_seal WHERE id = (SELECT id FROM compliance_seal WHERE id < "
            "(SELECT max(id) FROM compliance_seal) ORDER BY md5(%s || id::text) LIMIT 1)",
            [str(chance.random())],
        )
        assert cursor.rowcount == 1


def stored_hash_changed(chance: random.Random) -> None:
    """Of an entry, what it is of, or of a run of the tree: kept only to be quick."""
    entry = "compliance_ledgerentry"
    one = f"WHERE id = (SELECT id FROM {entry} ORDER BY md5(%s || id::text) LIMIT 1)"
    sql = chance.choice(
        [
            f"UPDATE {entry} SET leaf_hash = sha256(leaf_hash) {one}",
            f"UPDATE {entry} SET belongs_to = belongs_to || '1' {one}",
            "INSERT INTO compliance_ledgernode (level, index, node_hash) VALUES (8, 0, "
            "sha256(convert_to(%s, 'UTF8'))) "
            "ON CONFLICT (level, index) DO UPDATE SET node_hash = excluded.node_hash",
        ]
    )
    with triggers_off() as cursor:
        cursor.execute(sql, [str(chance.random())])
        assert cursor.rowcount == 1


def visit_copied_wrongly(chance: random.Random) -> None:
    """When somebody is on a visit, or that they are, so that they could be sent elsewhere."""
    change = chance.choice(
        ["live = NOT live", "during = tstzrange(lower(during) - interval '1 day', upper(during))"]
    )
    with triggers_off() as cursor:
        cursor.execute(
            f"UPDATE jobs_visitoperative SET {change} WHERE id = "
            "(SELECT id FROM jobs_visitoperative ORDER BY md5(%s || id::text) LIMIT 1)",
            [str(chance.random())],
        )
        assert cursor.rowcount == 1


def row_that_follows_deleted(chance: random.Random) -> None:
    """So that a photo shown before is not found again, or stock is not missed."""
    table, key = chance.choice([("jobs_photohash", "photo_id"), ("jobs_stockbalance", "id")])
    with triggers_off() as cursor:
        cursor.execute(f"DELETE FROM {table} WHERE {key} = %s", [chance.choice(ids_of(table))])
        assert cursor.rowcount == 1


def row_slipped_in(chance: random.Random) -> None:
    """A copy of a fact, an event or a row that can be edited, which never entered the ledger."""
    table, own = chance.choice(COPIED)
    model = model_of(table)
    fields = model._meta.concrete_fields
    kept = [f.column for f in fields if not (f.generated or f.primary_key or f.column in own)]
    new = ", ".join([*own, *kept])
    with triggers_off() as cursor:
        cursor.execute(
            f"INSERT INTO {table} ({new}) SELECT {', '.join([*own.values(), *kept])} FROM {table} "
            f"WHERE {model._meta.pk.column} = %s",
            [chance.choice(ids_of(table))],
        )


def context_rewritten(chance: random.Random) -> None:
    """Who made an edit, or from where."""
    with triggers_off() as cursor:
        cursor.execute(
            "UPDATE pghistory_context SET metadata = metadata || jsonb_build_object(%s::text, "
            "%s::int) WHERE id = (SELECT pgh_context_id FROM jobs_visitevent "
            "WHERE pgh_context_id IS NOT NULL ORDER BY pgh_id LIMIT 1)",
            [chance.choice(["user", "url", "what"]), chance.randrange(1_000_000)],
        )
        assert cursor.rowcount == 1


COPIED: tuple[tuple[str, dict[str, str]], ...] = (
    ("jobs_depthreading", {"client_key": "gen_random_uuid()", "replaces_id": "NULL"}),
    ("jobs_stockmovement", {"client_key": "gen_random_uuid()", "number": "number + 7"}),
    ("jobs_layerplan", {}),
    ("jobs_visitevent", {}),
    ("jobs_jobevent", {}),
    ("jobs_survey", {}),
    ("jobs_loftarea", {"name": "name || ' again'"}),
    ("jobs_property", {"reference": "reference || ' again'"}),
)
"""Tables whose rows are copied, with SQL for the columns in which a copy must differ."""

LEDGER_CHANGES: tuple[LedgerChange, ...] = (
    entry_rewritten,
    row_deleted,
    entry_deleted,
    positions_swapped,
    seal_rewritten,
    seal_deleted,
    stored_hash_changed,
    visit_copied_wrongly,
    row_that_follows_deleted,
    row_slipped_in,
    context_rewritten,
)
