"""What was ordered for a depot: placed, arrived, cancelled."""

from __future__ import annotations

from datetime import date
from uuid import UUID, uuid4

from jobs.errors import Refused, Stale, refusals_explained
from jobs.loading.movements import Kind, check_units, one_act
from jobs.models import Depot, StockItem, StockMovement, StockOrder, User

State = StockOrder.State


def place_order(
    depot: Depot,
    item: StockItem,
    quantity: int,
    due_on: date,
    *,
    by: User,
    note: str = "",
    key: UUID | None = None,
) -> StockOrder:
    """Note that `quantity` units were ordered and are due on a day. Sent twice it is one order.

    Raises:
        Refused: no whole packs, or an item or depot of another company.
    """
    if item.company_id != depot.company_id:
        raise Refused("There is no such item.", field="item", remedy="Choose one of yours.")
    check_units(item, quantity, at_least=1)
    if quantity % item.units_per_pack:
        packs = -(-quantity // item.units_per_pack)
        raise Refused(
            f"{quantity:,} is no whole number of packs of {item.units_per_pack:,}.",
            field="quantity",
            remedy=f"Order {packs * item.units_per_pack:,}.",
        )
    with refusals_explained():
        order, _ = StockOrder.objects.get_or_create(
            client_key=key or uuid4(),
            defaults={
                "company_id": depot.company_id,
                "depot": depot,
                "item": item,
                "quantity": quantity,
                "due_on": due_on,
                "note": note.strip(),
                "ordered_by": by,
            },
        )
    return order


def order_arrived(
    order: StockOrder, quantity: int, *, by: User, version: int | None = None, note: str = ""
) -> StockMovement | None:
    """Take the units that came into the stock and close the order; none came where it is 0.

    Raises:
        Stale: somebody changed the order since. Refused: it is closed, or units cannot be.
    """
    check_units(order.item, quantity, at_least=0)
    with refusals_explained():
        order = _lock(order, version)
        _close(order, State.ARRIVED)
        if not quantity:
            return None
        with one_act(order.depot, [order.item]) as act:
            return act.move(
                order.item, Kind.RECEIVED, quantity, by=by, order=order, reason=note.strip()
            )


def cancel_order(order: StockOrder, *, version: int | None = None) -> StockOrder:
    """Count on an order no more.

    Raises:
        Stale: somebody changed the order since. Refused: it is closed.
    """
    with refusals_explained():
        order = _lock(order, version)
        return _close(order, State.CANCELLED)


def _lock(order: StockOrder, version: int | None) -> StockOrder:
    locked: StockOrder = (
        StockOrder.objects.select_for_update(of=("self",)).with_names().get(pk=order.pk)
    )
    if version is not None and locked.version != version:
        raise Stale("This order")
    if locked.state != State.OPEN:
        raise Refused(
            f"This order is closed: {locked.get_state_display().lower()}.",
            field="state",
            remedy="Place another if more is needed.",
        )
    return locked


def _close(order: StockOrder, state: str) -> StockOrder:
    order.state = state
    order.version += 1
    order.save(update_fields=["state", "version"])
    return order
