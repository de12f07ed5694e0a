"""Conduction in a section: what must hold whatever the section."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calculations.checks import InputError
from calculations.conduction import (
    Block,
    Edge,
    JoistBay,
    Section,
    check_joist_bay,
    solve,
    solve_settled,
)

BAY = JoistBay(48, 600, 100, 100, 170, 0.044, 0.044)


@given(
    width=st.floats(25, 75),
    spacing=st.floats(300, 900),
    across=st.just(0.0) | st.floats(1, 400),
    wool=st.floats(0.030, 0.050),
    inside=st.floats(15, 25),
    outside=st.floats(-10, 10),
)
@settings(max_examples=40, deadline=None)
def test_heat_in_is_heat_out_and_no_place_is_warmer_than_the_room(
    width: float, spacing: float, across: float, wool: float, inside: float, outside: float
) -> None:
    bay = JoistBay(width, spacing, 100, 100, across, wool, wool)
    field = solve(bay.section(inside, outside))
    assert field.heat_in_w_m == pytest.approx(field.heat_out_w_m, rel=1e-4)
    assert outside - 1e-9 <= field.level_c.min() <= field.level_c.max() <= inside + 1e-9


@given(st.floats(0.030, 0.050), st.just(0.0) | st.floats(1, 300))
@settings(max_examples=25, deadline=None)
def test_conduction_lies_between_the_limits_of_the_combined_method(
    wool: float, over: float
) -> None:
    """The two limits are an upper and a lower bound of the true resistance."""
    from calculations.ceilings import u_value_at_joists

    found = check_joist_bay(replace(BAY, across_mm=over, conductivity_between_w_mk=wool))
    limits = u_value_at_joists(
        joist_width_mm=48,
        joist_spacing_mm=600,
        joist_depth_mm=100,
        between_mm=100,
        across_mm=over,
        conductivity_between_w_mk=wool,
        conductivity_across_w_mk=0.044,
        fraction_extra=0.0,
    )
    resistance = 1 / found.conduction_u_w_m2k
    assert limits.lower_resistance * 0.999 <= resistance <= limits.upper_resistance * 1.001


def test_the_ceiling_is_coldest_under_the_joist() -> None:
    field = solve_settled(BAY.section())
    ceiling = field.level_c[0]
    assert int(np.argmin(ceiling)) == 0
    assert ceiling[0] < ceiling[-1] - 0.1


def test_a_section_with_a_gap_is_refused() -> None:
    blocks = (Block("low", 0, 0, 100, 50, 1.0), Block("high", 50, 50, 100, 100, 1.0))
    with pytest.raises(InputError, match="leave a gap"):
        solve(Section(blocks, bottom=Edge(20), top=Edge(0)))


def test_a_section_without_temperatures_is_refused() -> None:
    with pytest.raises(InputError, match="Give bottom or top"):
        solve(Section((Block("slab", 0, 0, 100, 50, 1.0),)))


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"between_mm": 120.0}, "between_mm"),
        ({"between_mm": 0.0}, "between_mm"),
        ({"across_mm": -1.0}, "across_mm"),
        ({"joist_width_mm": 600.0}, "joist_width_mm"),
        ({"joist_spacing_mm": float("nan")}, "joist_spacing_mm"),
    ],
)
def test_a_bay_that_cannot_be_names_the_field(change: dict[str, float], field: str) -> None:
    with pytest.raises(InputError) as error:
        replace(BAY, **change)
    assert error.value.field == field


def test_settling_gives_the_heat_flow_of_much_finer_cells() -> None:
    section = BAY.section(1.0, 0.0)
    assert solve_settled(section).heat_in_w_m == pytest.approx(
        solve(section, 96).heat_in_w_m, rel=0.002
    )
