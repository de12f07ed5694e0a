"""Room under the roof, worked by hand: a 3-4-5 slope, 100 mm rafters."""

from __future__ import annotations

import math

import pytest

from calculations.headroom import distance_for_mm, eaves_band, height_mm, room_mm, where_fits
from calculations.loft import LoftArea, Roof

ROOF = Roof(pitch_deg=math.degrees(math.atan2(3, 4)), rafter_depth_mm=100)
"""tan = 3/4, cos = 4/5: rafters are 125 mm deep cut plumb, the 50 mm gap takes 62.5 mm."""


def area(eaves: tuple[int, ...]) -> LoftArea:
    outline = ((0, 0), (8000, 0), (8000, 6000), (0, 6000))
    return LoftArea("Main", outline, 400, 100, 50, 90, eaves_edges=eaves)


@pytest.mark.parametrize(
    ("distance_mm", "height", "room"), [(0, 125, 62.5), (100, 200, 137.5), (400, 425, 362.5)]
)
def test_height_and_room_by_hand(distance_mm: float, height: float, room: float) -> None:
    assert height_mm(ROOF, distance_mm) == pytest.approx(height)
    assert room_mm(ROOF, distance_mm) == pytest.approx(room)
    assert distance_for_mm(ROOF, room) == pytest.approx(distance_mm)


def test_shallow_rafters_leave_no_room_at_the_plate() -> None:
    assert room_mm(Roof(pitch_deg=20, rafter_depth_mm=40), 0) == 0


def test_band_along_two_sides() -> None:
    assert eaves_band(area((0, 2)), 300).area == pytest.approx(2 * 8000 * 300)


def test_band_round_a_hipped_roof_closes_its_corners() -> None:
    rest = 7400 * 5400
    assert eaves_band(area((0, 1, 2, 3)), 300).area == pytest.approx(48e6 - rest)


def test_where_270_mm_fits() -> None:
    from_plate = (270 - 62.5) * 4 / 3
    fits = where_fits(area((0, 2)), ROOF, 270)
    assert fits.bounds == pytest.approx((0, from_plate, 8000, 6000 - from_plate))


def test_no_eaves_no_limit() -> None:
    assert where_fits(area(()), ROOF, 900).area == pytest.approx(48e6)
