"""What erasures took away: rows of a pack that no longer hold what entered the ledger as a hash."""

from __future__ import annotations

import json
from collections import defaultdict
from functools import cached_property
from typing import Any

from compliance.ledger.facts import erased_things
from compliance.ledger.histories import HISTORIES
from compliance.ledger.kinds import erased_as, looks_erased
from compliance.models import Erasure


class Erased:
    """Columns by table and id, read once for a pack."""

    @cached_property
    def columns(self) -> dict[tuple[str, int], frozenset[str]]:
        found: dict[tuple[str, int], set[str]] = defaultdict(set)
        for items in Erasure.objects.values_list("items", flat=True).iterator():
            for table, row_id, column in erased_things(items):
                found[table, row_id].add(column)
        return {key: frozenset(columns) for key, columns in found.items()}

    def of(self, table: str, row_id: int) -> frozenset[str]:
        return self.columns.get((table, row_id), frozenset())

    def as_recorded(self, table: str, row_id: int, now: str | None, entry: str) -> str | None:
        """A row as it is now, with the marks of an erasure as the ledger has them: as hashes."""
        if now is None or now == entry:
            return now
        row: dict[str, Any] = json.loads(now)
        named = erased_as(table, row["fact"])
        columns = self.of(*named) if named else frozenset()
        if not columns:
            return now
        if table in HISTORIES:  # an event is overwritten whole, whichever words were named
            columns = frozenset(HISTORIES[table].words)
        recorded = json.loads(entry)["fact"]
        for column in columns & recorded.keys():
            if looks_erased(row["fact"].get(column)):
                row["fact"][column] = recorded[column]
        return json.dumps(row, ensure_ascii=False)
