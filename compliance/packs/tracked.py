"""Rows that can be edited, as a pack shows them: by what the last event of each says.

A row is written in the form of its last event, with the row's own values of today. Where nothing
was tampered with, that is letter for letter the event's entry in the ledger.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Any

from django.apps import apps
from django.db.models import Model, QuerySet

from compliance.ledger.check_histories import tracked_columns
from compliance.ledger.histories import HISTORIES, event_expression, hashed_word, salt_of
from compliance.models import Seal
from compliance.packs.lines import EntryRow, json_line, written
from compliance.packs.scope import PackScope, batched
from compliance.packs.scratch import Scratch

MOST_STRAYS = 1000
OBJECT = re.compile(r'"row_id": (\d{1,18})\b')

# Tracked table -> the way from its rows to their jobs, of those that belong to jobs.
JOBS_OF = {
    "jobs_job": "pk",
    "jobs_property": "jobs",
    "jobs_survey": "job",
    "jobs_loftarea": "survey__job",
    "jobs_obstacle": "survey__job",
    "jobs_fixture": "survey__job",
    "jobs_hazard": "survey__job",
    "jobs_visitneed": "job",
    "jobs_visitneed_barred_crews": "visitneed__job",
    "jobs_agreedwindow": "need__job",
    "jobs_visit": "job",
    "jobs_visitoperative": "visit__job",
    "compliance_shortfall": "job",
    "compliance_legalhold": "job",
    "compliance_erasurerequest": "job",
}


class Tracked:
    """The rows that the entries of a pack tell of, by the kind of their events."""

    def __init__(self, scratch: Scratch) -> None:
        self._scratch = scratch

    def note(self, rows: Sequence[EntryRow]) -> None:
        self._scratch.add_edited(
            (row.kind, int(found[1]))
            for row in rows
            if row.kind in HISTORIES and (found := OBJECT.search(row.payload))
        )

    def lines(self, scope: PackScope, seal: Seal) -> Iterator[bytes]:
        """A line for each row, and for rows of the scope that never had an event."""
        for kind in HISTORIES:
            if kind in scope.kinds_apart:
                continue
            self._scratch.add_edited((kind, number) for number in _strays(kind, scope))
            for numbers in self._scratch.edited(kind):
                yield from _lines(kind, numbers, seal)


def rows_of_jobs(kind: str, jobs: Sequence[int]) -> QuerySet[Any] | None:
    """Rows of the table that events of `kind` are of, as far as they belong to these jobs."""
    table = HISTORIES[kind].of
    if table not in JOBS_OF:
        return None
    rows = _model(table)._base_manager.order_by()
    return rows.filter(**{f"{JOBS_OF[table]}__in": list(jobs)}).values("pk")


def _model(table: str) -> type[Model]:
    models = apps.get_models(include_auto_created=True)
    return next(m for m in models if m._meta.db_table == table and not m._meta.proxy)


def _strays(kind: str, scope: PackScope) -> Iterator[int]:
    if scope.jobs is None:
        yield from _without_event(kind, "true", [])
        return
    for jobs in batched(scope.jobs):
        mine = rows_of_jobs(kind, jobs)
        if mine is not None:
            sql, parameters = mine.query.sql_with_params()
            yield from _without_event(kind, f"r.id IN ({sql})", list(parameters))


def _without_event(kind: str, condition: str, parameters: list[object]) -> Iterator[int]:
    for (number,) in written(
        f"SELECT r.id FROM {HISTORIES[kind].of} r WHERE {condition} AND NOT EXISTS "
        f"(SELECT 1 FROM {kind} v WHERE v.id = r.id) ORDER BY r.id LIMIT {MOST_STRAYS}",
        parameters,
    ):
        yield number


def _lines(kind: str, numbers: list[int], seal: Seal) -> Iterator[bytes]:
    history, columns = HISTORIES[kind], tracked_columns(kind)
    model = _model(history.of)
    apart = [f.column for f in model._meta.concrete_fields if f.column not in columns]
    listed = ", ".join(f"'{column}'" for column in {*apart, "id"})
    words = ", ".join(
        f"'{word}', {hashed_word(salt_of('v', kind), 'r', word)}" for word in history.words
    )
    now = f"(to_jsonb(r) - ARRAY[{listed}]) || jsonb_build_object({words})"
    event = _model(kind)
    key = "pgh_obj_id" if any(f.column == "pgh_obj_id" for f in event._meta.fields) else "id"
    rows = written(
        f"""
        WITH v AS (SELECT DISTINCT ON (id) * FROM {kind} WHERE {key} = ANY(%s)
                   ORDER BY id, pgh_id DESC)
        SELECT i.id, v.id IS NOT NULL, r.id IS NOT NULL, EXISTS (
            SELECT 1 FROM compliance_ledgerentry e
            LEFT JOIN compliance_ledgerleaf l ON l.entry_id = e.id
            WHERE e.kind = %s AND e.fact_id = v.pgh_id
              AND (l.position IS NULL OR l.position >= %s)),
            CASE WHEN r.id IS NOT NULL AND v.id IS NOT NULL THEN jsonb_build_object(
                'kind', %s::text, 'fact', {event_expression("v", kind)} || {now})::text END
        FROM unnest(%s::bigint[]) AS i(id) LEFT JOIN v ON v.id = i.id
        LEFT JOIN {history.of} r ON r.id = i.id ORDER BY i.id
        """,
        [numbers, kind, seal.tree_size, kind, numbers],
    )
    for number, has_event, has_row, later, line in rows:
        said: dict[str, Any] = {"kind": kind, "object": number}
        if has_event and later:
            yield json_line(said | {"later": True})
        elif not has_row:
            yield json_line(said | {"gone": True})
        elif not has_event:
            yield json_line(said | {"slipped_in": True})
        else:
            yield line.encode() + b"\n"
