"""Movements of a depot's stock: deliveries, stock-takes, what is spoilt, and corrections.

Each act may be sent twice under its `key` and is stored once. Items are moved in the order of
their ids, so that two acts at once wait for each other instead of stopping each other.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from uuid import UUID, uuid4, uuid5

from django.db.models import QuerySet

from jobs.errors import Conflict, Refused, refusals_explained
from jobs.models import Depot, StockBalance, StockItem, StockMovement, User

Kind = StockMovement.Kind
MOST_UNITS = 100_000


def receive_delivery(
    depot: Depot,
    quantities: Mapping[StockItem, int],
    *,
    by: User,
    note: str = "",
    key: UUID | None = None,
) -> list[StockMovement]:
    """Add a delivery to the stock: units by item.

    Raises:
        Refused: nothing, or a quantity that cannot be (the field is the item's code).
    """
    wanted = _some(quantities)
    for item, quantity in wanted.items():
        check_units(item, quantity, at_least=1)
    with one_act(depot, wanted, key) as act:
        return act.stored or [
            act.move(item, Kind.RECEIVED, quantity, by=by, reason=note)
            for item, quantity in act.in_order(wanted)
        ]


def count_stock(
    depot: Depot,
    counts: Mapping[StockItem, int],
    *,
    by: User,
    note: str = "",
    key: UUID | None = None,
) -> list[StockMovement]:
    """Set the stock to what was counted; the difference is the movement, even where it is 0.

    Raises:
        Refused: nothing was counted, or a count cannot be (the field is the item's code).
    """
    wanted = dict(counts)
    if not wanted:
        raise Refused("Nothing was counted.", remedy="Fill in at least one item.")
    for item, count in wanted.items():
        check_units(item, count, at_least=0)
    with one_act(depot, wanted, key) as act:
        return act.stored or [
            act.move(item, Kind.COUNTED, count - act.held(item), by=by, reason=note)
            for item, count in act.in_order(wanted)
        ]


def record_spoilt(
    depot: Depot,
    quantities: Mapping[StockItem, int],
    reason: str,
    *,
    by: User,
    key: UUID | None = None,
) -> list[StockMovement]:
    """Take what is wet, torn or lost out of the stock.

    Raises:
        Refused: no reason, or a quantity that cannot be. Conflict: more than there is.
    """
    if not reason.strip():
        raise Refused("Say what happened to it.", field="reason")
    wanted = _some(quantities)
    for item, quantity in wanted.items():
        check_units(item, quantity, at_least=1)
    with one_act(depot, wanted, key) as act:
        return act.stored or [
            act.move(item, Kind.SPOILT, -quantity, by=by, reason=reason.strip())
            for item, quantity in act.in_order(wanted)
        ]


def correct_movement(
    movement: StockMovement, quantity: int, reason: str, *, by: User, key: UUID | None = None
) -> StockMovement:
    """Put a movement right: `quantity` as it should have been, signed, by a row that replaces it.

    Raises:
        Refused: no reason. Conflict: corrected already, or the stock would fall below zero.
    """
    if not reason.strip():
        raise Refused("Say why the movement is corrected.", field="reason")
    if abs(quantity) > MOST_UNITS:
        raise Refused(f"{quantity:,} units cannot be.", field="quantity")
    with one_act(movement.depot, [movement.item], key) as act:
        return (
            act.stored[0]
            if act.stored
            else act.move(
                movement.item,
                movement.kind,
                quantity,
                by=by,
                reason=reason.strip(),
                replaces=movement,
                crew_id=movement.crew_id,
                van_id=movement.van_id,
                day=movement.day,
                loading_id=movement.loading_id,
            )
        )


class Act:
    """Movements of one depot written together, its items' balances locked in order.

    stored: what came under the same key before; then nothing more is written.
    """

    def __init__(self, depot: Depot, items: Iterable[StockItem], key: UUID | None) -> None:
        self.depot, self.key = depot, key or uuid4()
        self.items = sorted(items, key=lambda item: item.pk)
        self._held = self._lock()
        self.stored = list(self._earlier())

    def _lock(self) -> dict[int, int]:
        rows = StockBalance.objects.select_for_update().order_by("item_id")
        mine = rows.filter(depot=self.depot, item__in=self.items)
        return dict(mine.values_list("item_id", "quantity"))

    def _earlier(self) -> QuerySet[StockMovement]:
        keys = [self._key_of(item) for item in self.items]
        return StockMovement.objects.filter(client_key__in=keys).with_names()

    def _key_of(self, item: StockItem) -> UUID:
        return uuid5(self.key, item.code)

    def in_order(self, wanted: Mapping[StockItem, int]) -> list[tuple[StockItem, int]]:
        """What is wanted, in the order in which every act takes its items."""
        return [(item, wanted[item]) for item in self.items]

    def held(self, item: StockItem) -> int:
        return self._held.get(item.pk, 0)

    def move(
        self,
        item: StockItem,
        kind: str,
        quantity: int,
        *,
        by: User,
        reason: str = "",
        **values: object,
    ) -> StockMovement:
        """Write one movement and read back what the database made of it."""
        self._explain_shortage(item, quantity, values.get("replaces"))
        row = StockMovement.objects.create(
            company_id=self.depot.company_id,
            depot=self.depot,
            item=item,
            kind=kind,
            quantity=quantity,
            reason=reason[:200],
            by=by,
            client_key=self._key_of(item),
            **values,
        )
        row.refresh_from_db(fields=["effect", "number", "balance_after"])
        self._held[item.pk] = row.balance_after
        return row

    def _explain_shortage(self, item: StockItem, quantity: int, was: object) -> None:
        """The database refuses this too; here the item and the numbers are said."""
        effect = quantity - (was.quantity if isinstance(was, StockMovement) else 0)
        left = self.held(item) + effect
        if left < 0:
            raise Conflict(
                f"{self.depot} holds {self.held(item):,} of {item.name}, "
                f"{-left:,} fewer than this takes.",
                field=item.code,
                remedy="Take fewer, or record the delivery or stock-take that is missing.",
            )


@contextmanager
def one_act(depot: Depot, items: Iterable[StockItem], key: UUID | None = None) -> Iterator[Act]:
    """A transaction for movements of one depot; what the database refuses is explained."""
    with refusals_explained():
        yield Act(depot, items, key)


def check_units(item: StockItem, quantity: int, *, at_least: int) -> None:
    """Raises Refused for a number of units that cannot be, naming the item's code."""
    if not at_least <= quantity <= MOST_UNITS:
        raise Refused(
            f"{quantity:,} of {item.name} cannot be.",
            field=item.code,
            remedy=f"Give {at_least} to {MOST_UNITS:,} whole units.",
        )


def _some(quantities: Mapping[StockItem, int]) -> dict[StockItem, int]:
    wanted = {item: quantity for item, quantity in quantities.items() if quantity}
    if not wanted:
        raise Refused("Nothing is filled in.", remedy="Give the units of at least one item.")
    return wanted
