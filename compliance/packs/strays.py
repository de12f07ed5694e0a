"""Rows that never entered the ledger: slipped in by somebody who had switched triggers off."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import timedelta
from typing import Any

from django.apps import apps
from django.db import connection
from django.db.models import QuerySet

from compliance.ledger.histories import HISTORIES
from compliance.ledger.kinds import KINDS, expression_of, key_of
from compliance.models import Seal
from compliance.packs.scope import PackScope, batched
from compliance.packs.tracked import rows_of_jobs

MOST = 1000
STILL_ON_ITS_WAY = timedelta(minutes=10)
"""An entry younger than this may belong to a transaction that had not ended at the Seal."""


def stray_lines(scope: PackScope, seal: Seal) -> Iterator[bytes]:
    """Rows of the scope's jobs without an entry, or whose entry lost its place in the tree."""
    for kind in KINDS:
        if kind in scope.kinds_apart:
            continue
        if scope.jobs is None:
            yield from _strays(kind, "true", [], seal)
            continue
        for jobs in batched(scope.jobs):
            mine = _of_jobs(kind, jobs)
            if mine is not None:
                sql, parameters = mine.query.sql_with_params()
                # Of an event, the row it is of.
                yield from _strays(kind, f"f.id IN ({sql})", list(parameters), seal)


def _of_jobs(kind: str, jobs: Sequence[int]) -> QuerySet[Any] | None:
    if kind in HISTORIES:
        return rows_of_jobs(kind, jobs)
    rows = next(m for m in apps.get_models() if m._meta.db_table == kind)._default_manager.all()
    path = getattr(rows, "job_path", None)
    if path is None:
        return None
    return rows.filter(**{f"{path}__in": list(jobs)}).order_by().values("pk")


def _strays(table: str, condition: str, parameters: list[object], seal: Seal) -> Iterator[bytes]:
    key = key_of(table)
    with connection.cursor() as cursor:
        cursor.execute(
            f"""
            SELECT jsonb_build_object(
                'kind', %s::text, 'fact', {expression_of("f", table)})::text
            FROM {table} f WHERE {condition} AND NOT EXISTS (
                SELECT 1 FROM compliance_ledgerentry e
                WHERE e.kind = %s AND e.fact_id = f.{key} AND (
                    e.recorded_at > %s
                    OR EXISTS (SELECT 1 FROM compliance_ledgerleaf l WHERE l.entry_id = e.id)))
            ORDER BY f.{key} LIMIT {MOST}
            """,
            [table, *parameters, table, seal.made_at - STILL_ON_ITS_WAY],
        )
        for (text,) in cursor.fetchall():
            yield text.encode() + b"\n"
