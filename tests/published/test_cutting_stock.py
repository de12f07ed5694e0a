"""The bound on rolls against a published cutting-stock example."""

from __future__ import annotations

from calculations.cutting import best_packing
from calculations.packing import Item
from calculations.roll_bound import roll_lower_bound

PAPER_ROLL_MM = 5600
PAPER_ORDERS = {
    1380: 22,
    1520: 25,
    1560: 12,
    1710: 14,
    1820: 18,
    1880: 18,
    1930: 20,
    2000: 10,
    2050: 12,
    2100: 14,
    2140: 16,
    2150: 18,
    2200: 20,
}


def test_paper_machine_example_needs_73_master_rolls() -> None:
    """The example of the encyclopaedia article "Cutting stock problem" (Wikipedia).

    Thirteen widths out of rolls 5600 mm wide; its optimum is 73 master rolls with 0.401 % waste.
    Orders and optimum from memory, unconfirmed; the waste follows from them, which confirms the
    pair: 1 - sum(width x count) / (73 x 5600) = 0.401 %.
    """
    used = sum(width * count for width, count in PAPER_ORDERS.items())
    assert round(100 * (1 - used / (73 * PAPER_ROLL_MM)), 3) == 0.401
    widths = [float(width) for width, count in PAPER_ORDERS.items() for _ in range(count)]
    items = [Item(i, width, 1000, joinable=False) for i, width in enumerate(widths)]
    assert roll_lower_bound(items, float(PAPER_ROLL_MM), 1000) == 73
    # Without the exact search the plan stays within one roll of the optimum.
    packing, bound = best_packing(items, float(PAPER_ROLL_MM), 1000, 0)
    assert bound == 73
    assert 73 <= packing.rolls <= 74
