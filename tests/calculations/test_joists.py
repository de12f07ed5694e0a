"""Joists and bays of an area, counted by hand."""

from __future__ import annotations

import pytest

from calculations.joists import bays_of, joist_centres_mm, joist_lines_mm
from calculations.loft import LoftArea


def area(direction_deg: float, outline: object = None) -> LoftArea:
    square = ((0, 0), (2000, 0), (2000, 2000), (0, 2000))
    return LoftArea("Main", outline or square, 400, 100, 50, direction_deg)  # type: ignore[arg-type]


@pytest.mark.parametrize("direction_deg", [0, 90])
def test_bays_by_hand(direction_deg: float) -> None:
    """Joists at 0-50, 400-450, ... 1600-1650; then 350 mm to the wall."""
    found = area(direction_deg)
    assert joist_centres_mm(found) == (25, 425, 825, 1225, 1625)
    assert [(b.low_mm, b.high_mm) for b in bays_of(found)] == [
        (50, 400),
        (450, 800),
        (850, 1200),
        (1250, 1600),
        (1650, 2000),
    ]


def test_a_hair_at_the_wall_is_no_bay() -> None:
    outline = ((0, 0), (2000, 0), (2000, 1660), (0, 1660))
    assert len(bays_of(area(0, outline))) == 4


def test_lines_run_along_the_joists_within_the_floor() -> None:
    lines = joist_lines_mm(area(90))
    assert len(lines) == 5
    assert sorted(a[0] for a, _ in lines) == pytest.approx([25, 425, 825, 1225, 1625])
    assert all(a[0] == pytest.approx(b[0]) for a, b in lines)
    assert all(abs(a[1] - b[1]) == pytest.approx(2000) for a, b in lines)


def test_lines_break_at_a_hole() -> None:
    hole = ((300, 500), (900, 500), (900, 1000), (300, 1000))
    square = ((0, 0), (2000, 0), (2000, 2000), (0, 2000))
    holed = LoftArea("Main", square, 400, 100, 50, 90, holes_mm=(hole,))
    assert len(joist_lines_mm(holed)) == 7
