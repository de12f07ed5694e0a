"""Current-carrying capacity in insulation against the printed tables."""

from __future__ import annotations

import pytest

from calculations.cables import capacity_in_insulation_a, surrounded_factor


@pytest.mark.parametrize(
    ("length_mm", "factor"),
    [
        (0, 1.0),
        (1, 0.88),
        (50, 0.88),
        (51, 0.78),
        (100, 0.78),
        (150, 0.63),
        (200, 0.63),
        (400, 0.51),
        (401, 0.50),
        (500, 0.50),
        (5000, 0.50),
    ],
)
def test_table_52_2_of_bs_7671(length_mm: float, factor: float) -> None:
    """BS 7671, regulation 523.9, table 52.2 (transcribed by several): 0.88 0.78 0.63 0.51 0.50.

    Between printed lengths the longer one's factor holds. The 0.89, 0.81, 0.68 and 0.55 of
    older editions are superseded and must not come back.
    """
    assert surrounded_factor(length_mm) == factor


@pytest.mark.parametrize(
    ("conductor_mm2", "shallow_a", "deep_a", "clipped_a"),
    [(1.0, 13.0, 10.5, 16.0), (1.5, 16.0, 13.0, 20.0), (2.5, 21.0, 17.0, 27.0)],
)
def test_table_4d5_of_bs_7671(
    conductor_mm2: float, shallow_a: float, deep_a: float, clipped_a: float
) -> None:
    """BS 7671, table 4D5, methods 100, 101 and C (1.0 and 1.5 mm2 transcribed, 2.5 from memory).

    A 40 mm length keeps the factor of table 52.2 at 0.88, so that for the deep case the ceiling
    method governs and for the shallow case the lower of the two.
    """
    assert capacity_in_insulation_a(conductor_mm2, 0, 0) == clipped_a
    assert capacity_in_insulation_a(conductor_mm2, 40, 270) == deep_a
    assert capacity_in_insulation_a(conductor_mm2, 40, 100) == min(shallow_a, clipped_a * 0.88)


def test_half_the_clipped_rating_when_surrounded_for_long() -> None:
    """BS 7671, 523.9: for 0.5 m or more, half the rating clipped direct, without better data."""
    assert capacity_in_insulation_a(1.5, 500, 270) == 10.0
