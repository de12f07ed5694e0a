"""Rows that never entered the ledger: slipped in by somebody who had switched triggers off."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

from django.apps import apps
from django.db import connection

from compliance.ledger.facts import FACTS, fact_expression
from compliance.models import Seal
from compliance.packs.scope import PackScope

MOST = 1000
STILL_ON_ITS_WAY = timedelta(minutes=10)
"""An entry younger than this may belong to a transaction that had not ended at the Seal."""


def stray_lines(scope: PackScope, seal: Seal) -> Iterator[bytes]:
    """Rows of the scope's jobs without an entry, or whose entry lost its place in the tree."""
    models = {model._meta.db_table: model for model in apps.get_models()}
    for table, hashed in FACTS.items():
        if table in scope.kinds_apart:
            continue
        path = getattr(models[table]._default_manager.all(), "job_path", None)
        condition, parameters = "true", []
        if scope.jobs is not None:
            if path is None:
                continue
            mine = models[table]._default_manager.filter(**{f"{path}__in": list(scope.jobs)})
            sql, parameters = mine.order_by().values("pk").query.sql_with_params()
            condition = f"f.id IN ({sql})"
        yield from _strays(table, hashed, condition, list(parameters), seal)


def _strays(
    table: str, hashed: tuple[str, ...], condition: str, parameters: list[object], seal: Seal
) -> Iterator[bytes]:
    with connection.cursor() as cursor:
        cursor.execute(
            f"""
            SELECT jsonb_build_object(
                'kind', %s::text, 'fact', {fact_expression("f", hashed)})::text
            FROM {table} f WHERE {condition} AND NOT EXISTS (
                SELECT 1 FROM compliance_ledgerentry e
                WHERE e.kind = %s AND e.fact_id = f.id AND (
                    e.recorded_at > %s
                    OR EXISTS (SELECT 1 FROM compliance_ledgerleaf l WHERE l.entry_id = e.id)))
            ORDER BY f.id LIMIT {MOST}
            """,
            [table, *parameters, table, seal.made_at - STILL_ON_ITS_WAY],
        )
        for (text,) in cursor.fetchall():
            yield text.encode() + b"\n"
