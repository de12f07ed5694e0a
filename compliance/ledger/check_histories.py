"""Checking what can be edited: each event against its entry, each row against its last event.

Also what follows from facts and is kept apart only to be found quickly: stock balances, and the
hashes by which like photos are found.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cache

from django.apps import apps

from compliance.ledger.facts import ERASED_HASHES
from compliance.ledger.histories import DELETED, HISTORIES, event_expression
from compliance.ledger.kinds import key_of
from compliance.verify.layout import HASHES_SINCE

Query = Callable[[str, list[object]], list[tuple]]  # type: ignore[type-arg]
Found = Iterator[tuple[str, str]]
"""Where, and what is wrong there."""

ERASED_FROM_THE_ROW = """EXISTS (
    SELECT 1 FROM compliance_erasure r WHERE r.items @> jsonb_build_object(%s::text,
        jsonb_build_object(coalesce(e.now ->> 'row_id', ''), '[]'::jsonb)))"""

DERIVED: dict[str, tuple[str, str]] = {
    "jobs_stockbalance": (
        "is not the sum of its movements",
        """
        SELECT coalesce(b.id, 0) FROM (
            SELECT *, row_number() OVER (PARTITION BY depot_id, item_id ORDER BY id) AS nth
            FROM jobs_stockbalance
        ) b FULL JOIN (
            SELECT depot_id, item_id, sum(effect) AS quantity, count(*) AS movements
            FROM jobs_stockmovement GROUP BY depot_id, item_id
        ) m ON m.depot_id = b.depot_id AND m.item_id = b.item_id
        WHERE (coalesce(b.quantity, 0), coalesce(b.movements, 0))
            IS DISTINCT FROM (coalesce(m.quantity, 0), coalesce(m.movements, 0))
            OR b.nth > 1
        """,
    ),
    "jobs_visitoperative": (
        "is not at the time of its visit",
        """
        SELECT o.id FROM jobs_visitoperative o LEFT JOIN jobs_visit v ON v.id = o.visit_id
        WHERE (o.during, o.live) IS DISTINCT FROM (v.during, v.status <> 'cancelled')
        """,
    ),
    "jobs_photohash": (
        "is not what the inspection of its photo found",
        f"""
        SELECT h.photo_id FROM jobs_photohash h
        LEFT JOIN jobs_photoinspection i ON i.id = h.inspection_id
        LEFT JOIN jobs_photo p ON p.id = h.photo_id
        WHERE (h.value, h.photo_id, h.job_id)
            IS DISTINCT FROM (i.perceptual_hash, i.photo_id, p.job_id)
        UNION ALL
        SELECT n.photo_id FROM (
            SELECT DISTINCT ON (photo_id) photo_id, inspector_version, perceptual_hash
            FROM jobs_photoinspection ORDER BY photo_id, id DESC
        ) n
        WHERE n.inspector_version ~ '^[0-9]{{1,8}}$'
        AND n.inspector_version::int >= {HASHES_SINCE}
        AND n.perceptual_hash IS NOT NULL
        AND NOT EXISTS (SELECT FROM jobs_photohash h WHERE h.photo_id = n.photo_id)
        """,
    ),
}
"""Table -> what is wrong with rows that do not follow, and SQL that finds them by number."""

NOUNS = {
    "jobs_stockbalance": "stock balance",
    "jobs_visitoperative": "operative on a visit",
    "jobs_photohash": "hash of photo",
}
"""What a person calls a row of them."""


@cache
def tracked_columns(kind: str) -> tuple[str, ...]:
    """Columns of a tracked row that its events hold; the row's own number apart."""
    event = next(model for model in apps.get_models() if model._meta.db_table == kind)
    columns = [field.column for field in event._meta.concrete_fields]
    return tuple(c for c in columns if not c.startswith("pgh_") and c != "id")


def edit_name(kind: str, number: int) -> str:
    """What a person calls an event, with its table for whoever looks it up."""
    return f"edit {number} of a {HISTORIES[kind].noun} ({kind})"


def changed(column: str | None, entry: int) -> str:
    """How a row that is not as it entered is told of; column: None where it is gone."""
    if column is None:
        return f"is gone, though it is recorded in the ledger (entry {entry})"
    return f"its {column} is not what the ledger recorded (entry {entry})"


def differing(kind: str, now: str, erased: str, most: int) -> str:
    """SQL for entry, fact and column where rows say something else than when they entered; without
    a column where a row is gone.

    Most rows give their payload again letter by letter and are done with; a column added to the
    table since then is no change of what was recorded. kind: the table. now: SQL of its row `f` as
    its trigger would write it today. erased: SQL that an Erasure took away column `p.key` of `e`.
    Takes the kind, the columns that can be erased, what stands in their place, and what `erased`
    takes.
    """
    return f"""
        SELECT e.id, e.fact_id, p.key FROM (
            SELECT x.id, x.fact_id, x.payload, CASE WHEN f.{key_of(kind)} IS NOT NULL
                THEN {now} END AS now
            FROM compliance_ledgerentry x LEFT JOIN {kind} f ON f.{key_of(kind)} = x.fact_id
            WHERE x.kind = %s AND (f.{key_of(kind)} IS NULL OR x.payload IS DISTINCT FROM
                jsonb_build_object('kind', x.kind, 'fact', {now})::text)
            OFFSET 0
        ) e CROSS JOIN LATERAL (
            SELECT * FROM jsonb_each(e.payload::jsonb -> 'fact') WHERE e.now IS NOT NULL
            UNION ALL SELECT NULL, NULL WHERE e.now IS NULL
        ) p
        WHERE e.now IS NULL OR (e.now -> p.key) IS DISTINCT FROM p.value
            AND NOT (p.key = ANY(%s) AND e.now ->> p.key = ANY(%s) AND {erased})
        ORDER BY e.id LIMIT {most}
    """


def event_faults(query: Query, most: int) -> Found:
    """Events whose row says something else than when it entered, column by column."""
    for kind, history in HISTORIES.items():
        sql = differing(kind, event_expression("f", kind), ERASED_FROM_THE_ROW, most)
        parameters: list[object] = [kind, list(history.words), list(ERASED_HASHES), history.of]
        for entry, fact, column in query(sql, parameters):
            yield edit_name(kind, fact), changed(column, entry)


def present_faults(query: Query, most: int) -> Found:
    """Rows that hold something else than their last event says."""
    for kind, history in HISTORIES.items():
        columns = tracked_columns(kind)
        of_row, of_event = (", ".join(f"{row}.{c}" for c in columns) for row in ("r", "v"))
        for number, has_row, label, different in query(
            f"""
            SELECT coalesce(r.id, v.id), r.id IS NOT NULL, v.pgh_label, ARRAY(
                SELECT c FROM unnest(%s::text[]) AS c
                WHERE to_jsonb(r) -> c IS DISTINCT FROM to_jsonb(v) -> c)
            FROM {history.of} r FULL JOIN (
                SELECT DISTINCT ON (id) * FROM {kind} ORDER BY id, pgh_id DESC
            ) v ON v.id = r.id
            WHERE v.id IS NULL OR (r.id IS NULL) <> (v.pgh_label = %s)
                OR (r.id IS NOT NULL AND ({of_row}) IS DISTINCT FROM ({of_event}))
            ORDER BY 1 LIMIT {most}
            """,
            [list(columns), DELETED],
        ):
            where = f"{history.noun} {number} ({history.of})"
            if label is None:
                yield where, "has no history: it was slipped in"
            elif not has_row:
                yield where, "is gone, and its history does not say that it was deleted"
            elif label == DELETED:
                yield where, "is there, though its history says that it was deleted"
            else:
                for column in different:
                    yield where, f"its {column} is not what its history says"


def derived_faults(query: Query, most: int) -> Found:
    """Rows that do not follow from the facts they are worked out from."""
    for table, (what, sql) in DERIVED.items():
        for (number,) in query(f"{sql} LIMIT {most}", []):
            yield f"{NOUNS[table]} {number} ({table})", what
