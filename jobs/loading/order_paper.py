"""What to order by when, as a table for a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator

from jobs.loading.ordering import StockWarning

HEADINGS = (
    "item", "code", "supplier", "order_by", "packs", "units_per_pack", "units", "unit",
    "short_on", "left_units", "for_visits", "late",
)  # fmt: skip
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def order_csv(warnings: Iterable[StockWarning]) -> str:
    """Rows of UTF-8 text by RFC 4180, under headings whose names carry the units."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(HEADINGS)
    for warning in warnings:
        writer.writerow(_plain(value) for value in _row(warning))
    return out.getvalue()


def _row(warning: StockWarning) -> Iterator[object]:
    item = warning.item
    yield from (warning.name, warning.code, item.supplier if item else "")
    yield warning.order_by.isoformat() if warning.order_by else ""
    yield from (warning.packs, item.units_per_pack if item else "", warning.units)
    yield item.unit if item else "roll"
    yield from (warning.on.isoformat(), warning.left)
    yield " ".join(visit.job.reference for visit in warning.visits)
    yield "yes" if warning.late else "no"


def _plain(value: object) -> object:
    """Text that a spreadsheet would take for a formula is marked as text; numbers stay numbers."""
    if isinstance(value, str) and value.startswith(FORMULA_STARTS):
        return f"'{value}"
    return value
