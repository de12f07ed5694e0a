"""Conduction in two dimensions against the validation cases of ISO 10211 and known series."""

from __future__ import annotations

import math

import pytest

from calculations.conduction import (
    Block,
    Edge,
    JoistBay,
    Section,
    check_joist_bay,
    solve,
    solve_settled,
)

# ISO 10211:2017 annex C, case 1, as third parties transcribe it: 28 points of half a square
# column, from the hot top down, from the cold side to the middle. To be met within 0.1 K.
CASE_1 = (
    (9.7, 13.4, 14.7, 15.1),
    (5.3, 8.6, 10.3, 10.8),
    (3.2, 5.6, 7.0, 7.5),
    (2.0, 3.6, 4.7, 5.0),
    (1.3, 2.3, 3.0, 3.2),
    (0.7, 1.4, 1.8, 1.9),
    (0.3, 0.6, 0.8, 0.9),
)
COLUMN = Section(
    (Block("column", 0, 0, 400, 800, 1.0),), top=Edge(20), bottom=Edge(0), left=Edge(0)
)


def series_c(x_share: float, y_share: float) -> float:
    """Fourier series of a square with one side at 20 deg C and three at 0 deg C.

    T = sum over odd n of 80 / (n pi) sin(n pi x) sinh(n pi y) / sinh(n pi); Carslaw and Jaeger,
    Conduction of Heat in Solids (2nd edition), 5.3.
    """
    return sum(
        80
        / (n * math.pi)
        * math.sin(n * math.pi * x_share)
        * math.sinh(n * math.pi * y_share)
        / math.sinh(n * math.pi)
        for n in range(1, 80, 2)
    )


def test_case_1_of_iso_10211() -> None:
    """ISO 10211:2017 annex C, case 1: half a square column, 28 temperatures within 0.1 K."""
    field = solve(COLUMN, cells_per_block=64)
    for row, printed in enumerate(CASE_1):
        for column, expected in enumerate(printed):
            found = field.at(100 * (column + 1), 100 * (7 - row))
            assert found == pytest.approx(expected, abs=0.1)


def test_case_1_against_the_series() -> None:
    """The same column against its analytic series: within 0.01 K at all 28 points.

    The printed table is the series to one decimal; this is the stricter check.
    """
    field = solve(COLUMN, cells_per_block=128)
    for row, printed in enumerate(CASE_1):
        for column, expected in enumerate(printed):
            exact = series_c((column + 1) / 8, (7 - row) / 8)
            assert round(exact, 1) == expected
            assert field.at(100 * (column + 1), 100 * (7 - row)) == pytest.approx(exact, abs=0.01)


def test_case_2_of_iso_10211() -> None:
    """ISO 10211:2017 annex C, case 2: nine temperatures within 0.1 K, 9.5 W/m within 0.1 W/m.

    Concrete on wood, insulation and a thin aluminium profile, half by symmetry. Sizes and
    results as third parties transcribe them.
    """
    section = Section(
        (
            Block("insulation", 0, 0, 500, 47.5, 0.029),
            Block("concrete", 0, 41.5, 500, 47.5, 1.15),
            Block("wood", 0, 36.5, 15, 41.5, 0.12),
            Block("aluminium flange", 0, 35, 15, 36.5, 230),
            Block("aluminium web", 0, 0, 1.5, 36.5, 230),
            Block("aluminium sheet", 0, 0, 500, 1.5, 230),
        ),
        bottom=Edge(20, 0.11),
        top=Edge(0, 0.06),
    )
    field = solve_settled(section)
    printed = {
        (0, 47.5): 7.1,
        (500, 47.5): 0.8,
        (0, 41.5): 7.9,
        (15, 41.5): 6.3,
        (500, 41.5): 0.8,
        (0, 36.5): 16.4,
        (15, 36.5): 16.3,
        (0, 0): 16.8,
        (500, 0): 18.3,
    }
    for (x_mm, y_mm), expected in printed.items():
        assert field.at(x_mm, y_mm) == pytest.approx(expected, abs=0.1)
    assert field.heat_in_w_m == pytest.approx(9.5, abs=0.1)
    assert field.heat_in_w_m == pytest.approx(field.heat_out_w_m, rel=1e-4)


def test_plain_layers_are_the_sum_of_their_resistances() -> None:
    """ISO 6946:2017, 6.7.1.1 (homogeneous layers): conduction gives the sum of resistances."""
    section = Section(
        (
            Block("board", 0, 0, 300, 12.5, 0.25),
            Block("wool", 0, 12.5, 300, 282.5, 0.044),
        ),
        bottom=Edge(20, 0.10),
        top=Edge(0, 0.24),
    )
    resistance = 0.10 + 0.0125 / 0.25 + 0.270 / 0.044 + 0.24
    assert solve(section).heat_in_w_m == pytest.approx(0.3 * 20 / resistance, rel=1e-9)


@pytest.mark.parametrize("conductivity", [0.035, 0.040, 0.044])
@pytest.mark.parametrize("across_mm", [0, 100, 170, 250])
@pytest.mark.parametrize("joist", [(35, 600), (48, 600), (50, 400)])
def test_combined_method_holds_for_joist_bays(
    joist: tuple[float, float], across_mm: float, conductivity: float
) -> None:
    """ISO 6946 against ISO 10211 for 36 joist bays: from 0.5 % under to 1.2 % over.

    ISO 6946:2017 (6.7.2.4) puts the error of the combined method at half the gap between its
    limits; the joist bays of a loft stay far inside it.
    """
    bay = JoistBay(*joist, 100, 100, across_mm, conductivity, conductivity)
    check = check_joist_bay(bay)
    assert -0.005 < check.difference_share < 0.012


@pytest.mark.parametrize(("wool_mm", "joist_depth_mm"), [(25, 100), (50, 100), (75, 150)])
def test_timber_that_stands_above_the_wool_hardly_matters(
    wool_mm: float, joist_depth_mm: float
) -> None:
    """ISO 6946 takes the timber no deeper than the wool; ISO 10211 agrees within 0.2 %.

    The joist stands into the roof space as a fin. Its surfaces and the wool's have 0.24 m2K/W to
    air at 0 deg C, drawn as a 1 mm film of 0.001/0.24 W/mK before a block that conducts freely.
    """
    board, film, half = 12.5, 1.0, 300.0
    film_conductivity = film / 1000 / 0.24
    wool_top, joist_top = board + wool_mm, board + joist_depth_mm
    section = Section(
        (
            Block("air", 0, 0, half, joist_top + 20, 1000),
            Block("board", 0, 0, half, board, 0.25),
            Block("wool", 0, board, half, wool_top, 0.044),
            Block("film on the wool", 0, wool_top, half, wool_top + film, film_conductivity),
            Block("film on the joist", 0, wool_top, 24 + film, joist_top + film, film_conductivity),
            Block("joist", 0, board, 24, joist_top, 0.13),
        ),
        bottom=Edge(1, 0.10),
        top=Edge(0, 0),
    )
    with_fin = solve_settled(section).heat_in_w_m / (half / 1000)
    without = check_joist_bay(JoistBay(48, 600, joist_depth_mm, wool_mm, 0, 0.044, 0.044))
    assert with_fin == pytest.approx(without.conduction_u_w_m2k, rel=0.002)
