"""How a depot stands: each item now, what is coming, what it will be at its lowest."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from jobs.loading.ordering import DAYS_AHEAD, StockWarning, overdue_orders, warnings_in
from jobs.loading.stock import Projection, projection_of
from jobs.models import Depot, StockItem, StockOrder, User


@dataclass(frozen=True, slots=True)
class ItemStanding:
    """An item at a depot: units now, needed and arriving in the days looked ahead, the least."""

    item: StockItem
    now: int
    needed: int
    arriving: int
    least: int
    least_on: date
    warning: StockWarning | None

    @property
    def needs_hand(self) -> bool:
        return self.warning is not None


@dataclass(frozen=True, slots=True)
class DepotStanding:
    """The depot's items, what to order by when, orders under way and those that never came."""

    depot: Depot
    today: date
    days: int
    items: tuple[ItemStanding, ...]
    warnings: tuple[StockWarning, ...]
    orders: tuple[StockOrder, ...]
    overdue: tuple[StockOrder, ...]


def standing_of(depot: Depot, today: date, *, days: int = DAYS_AHEAD) -> DepotStanding:
    """The number of queries does not grow with items, visits or orders."""
    projection = projection_of(depot, today, days)
    warnings = warnings_in(projection, today)
    by_code = {warning.code: warning for warning in warnings}
    open_orders = list(StockOrder.objects.open().filter(depot=depot).with_names())
    return DepotStanding(
        depot,
        today,
        days,
        tuple(
            _item(projection, item, by_code.get(item.code))
            for item in sorted(projection.items.values(), key=lambda item: item.name)
            if item.is_active or projection.by_item[item.code][0].opening
        ),
        warnings,
        tuple(order for order in open_orders if order.due_on >= today),
        tuple(order for order in open_orders if order.due_on < today),
    )


def _item(projection: Projection, item: StockItem, warning: StockWarning | None) -> ItemStanding:
    rows = projection.by_item[item.code]
    lowest = min(rows, key=lambda row: (row.opening - row.needed, row.day))
    return ItemStanding(
        item=item,
        now=rows[0].opening,
        needed=sum(row.needed for row in rows),
        arriving=sum(row.arriving for row in rows),
        least=lowest.opening - lowest.needed,
        least_on=lowest.day,
        warning=warning,
    )


def urgent_count(user: User, today: date) -> tuple[int, int]:
    """Items of a person's depots that run out, and orders that never came."""
    short = late = 0
    for depot in Depot.objects.visible_to(user).active().prefetch_related("hours"):
        found = warnings_in(projection_of(depot, today, DAYS_AHEAD), today)
        short += sum(1 for warning in found if warning.kind != "low")
        late += len(overdue_orders(depot, today))
    return short, late
