"""Keeping depots and what they keep: adding one, and edits that never overwrite silently."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import time
from typing import TypeVar

from jobs.errors import Refused, Stale, refusals_explained, refuse_invalid
from jobs.models import Depot, DepotHours, StockBalance, StockItem

Kept = TypeVar("Kept", Depot, StockItem)
Hours = tuple[time, time]


def keep_depot(
    depot: Depot, hours: Mapping[int, Hours] | None = None, *, version: int | None = None
) -> Depot:
    """Store a depot, and when it is open by weekday (0 is Monday); a weekday left out is closed.

    Raises:
        Stale: somebody changed it since it was read at `version`.
        Refused: a value cannot be (names the field). Conflict: the name is taken.
    """
    with refusals_explained():
        _store(depot, version)
        if hours is not None:
            depot.hours.all().delete()
            DepotHours.objects.bulk_create(
                DepotHours(depot=depot, weekday=day, opens_at=opens, closes_at=closes)
                for day, (opens, closes) in sorted(hours.items())
            )
    return depot


def keep_item(item: StockItem, *, version: int | None = None) -> StockItem:
    """Store an item of the company's stock.

    Raises:
        Stale: somebody changed it since it was read at `version`.
        Refused: a value cannot be, or its code is changed while some of it lies at a depot.
        Conflict: the code is taken.
    """
    with refusals_explained():
        was = StockItem.objects.filter(pk=item.pk).values_list("code", flat=True).first()
        if was is not None and was != item.code and StockBalance.objects.filter(item=item).exists():
            raise Refused(
                f"“{was}” has moved at a depot; its code stays.",
                field="code",
                remedy="Add an item with the new code, and move the stock over by stock-takes.",
            )
        _store(item, version)
    return item


def _store(record: Kept, version: int | None) -> None:
    if record.pk is not None:
        stored = type(record).objects.select_for_update().values_list("version", flat=True)
        if version is not None and stored.get(pk=record.pk) != version:
            raise Stale(f"“{record}”")
        record.version = (version or record.version) + 1
    refuse_invalid(record)
    record.save()
