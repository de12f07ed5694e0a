"""U-values at the joists and of a whole loft."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calculations.checks import InputError
from calculations.heat import (
    LaidWool,
    ceiling_area_m2,
    loft_u_values,
    u_value_at_joists,
    u_value_of_layers,
)
from calculations.heat_zones import ZoneKind
from calculations.loft import Loft, LoftArea, Obstacle, ObstacleKind, Roof

AREA = LoftArea(
    name="main",
    outline_mm=((0, 0), (8000, 0), (8000, 6000), (0, 6000)),
    joist_spacing_mm=600,
    joist_depth_mm=100,
    joist_width_mm=48,
    joist_direction_deg=90,
    eaves_edges=(0, 2),
)
LOFT = Loft(
    areas=(AREA,),
    roof=Roof(pitch_deg=35, rafter_depth_mm=200),
    obstacles=(
        Obstacle(
            "hatch", ObstacleKind.HATCH, ((4000, 3000), (4600, 3000), (4600, 3600), (4000, 3600))
        ),
        Obstacle(
            "tank", ObstacleKind.TANK, ((1000, 2000), (2000, 2000), (2000, 3000), (1000, 3000))
        ),
        Obstacle(
            "stack",
            ObstacleKind.CHIMNEY,
            ((6000, 2000), (7000, 2000), (7000, 3000), (6000, 3000)),
        ),
    ),
)
FIRST = LaidWool(100, 0.044, "between_joists")
SECOND = LaidWool(170, 0.044, "across_joists", "middle")


def u_value(between_mm: float, across_mm: float, **changes: float) -> float:
    arguments: dict[str, float] = {
        "joist_width_mm": 48,
        "joist_spacing_mm": 600,
        "joist_depth_mm": 100,
        "between_mm": between_mm,
        "across_mm": across_mm,
        "conductivity_between_w_mk": 0.044,
        "conductivity_across_w_mk": 0.044,
    }
    return u_value_at_joists(**(arguments | changes)).u_value_w_m2k  # type: ignore[arg-type]


def test_more_wool_never_loses_more_heat() -> None:
    depths = [(0, 0), (50, 0), (100, 0), (100, 100), (100, 170), (100, 300)]
    values = [u_value(between, across) for between, across in depths]
    assert values == sorted(values, reverse=True)
    assert len(set(values)) == len(values)


def test_wool_above_the_joists_counts_as_wool_across() -> None:
    assert u_value(150, 0) == pytest.approx(u_value(100, 50), rel=1e-12)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("joist_spacing_mm", 0),
        ("joist_spacing_mm", float("nan")),
        ("joist_width_mm", 600),
        ("joist_depth_mm", -1),
        ("between_mm", -1),
        ("across_mm", float("inf")),
        ("conductivity_across_w_mk", 0),
    ],
)
def test_a_number_out_of_range_is_named(field: str, value: float) -> None:
    with pytest.raises(InputError) as error:
        u_value(**({"between_mm": 100, "across_mm": 170} | {field: value}))
    assert error.value.field == field
    assert "Give a number from" in error.value.remedy


def test_zones_share_out_the_whole_ceiling_but_the_chimney() -> None:
    heat = loft_u_values(LOFT, {"main": (FIRST, SECOND)})
    by_zone = {row.zone: row for row in heat.rows}
    assert heat.area_m2 == pytest.approx(48 - 1)
    assert by_zone[ZoneKind.HATCH].area_m2 == pytest.approx(0.36)
    assert by_zone[ZoneKind.TANK].area_m2 == pytest.approx(1.0)
    assert by_zone[ZoneKind.OPEN].u_value_w_m2k == pytest.approx(u_value(100, 170))
    assert by_zone[ZoneKind.EAVES].u_value_w_m2k == pytest.approx(u_value(100, 0))
    assert by_zone[ZoneKind.TANK].u_value_w_m2k == pytest.approx(u_value(0, 0))


def test_the_ceiling_is_the_floor_less_chimneys() -> None:
    assert ceiling_area_m2(LOFT) == pytest.approx(47)


def test_the_mean_is_the_heat_loss_over_the_area() -> None:
    heat = loft_u_values(LOFT, {"main": (FIRST, SECOND)})
    loss = sum(row.area_m2 * row.u_value_w_m2k for row in heat.rows)
    assert heat.mean_u == pytest.approx(loss / 47)
    assert heat.heat_loss_w_k == pytest.approx(loss)


def test_insulating_the_hatch_lowers_the_hatch_alone() -> None:
    before = loft_u_values(LOFT, {"main": (FIRST,)})
    after = loft_u_values(LOFT, {"main": (FIRST,)}, hatch_insulation_mm=100)
    changed = [a.zone for a, b in zip(after.rows, before.rows, strict=True) if a != b]
    assert changed == [ZoneKind.HATCH]
    assert after.mean_u < before.mean_u


def test_an_area_without_insulation_lies_bare() -> None:
    assert loft_u_values(replace(LOFT, obstacles=()), {}).mean_u == pytest.approx(u_value(0, 0))


def test_insulation_for_an_unknown_area_is_refused() -> None:
    with pytest.raises(InputError, match="Use one of: main"):
        loft_u_values(LOFT, {"attic": (FIRST,)})


def test_a_starter_lies_only_where_its_thicker_neighbour_does_not_fit() -> None:
    starter = LaidWool(100, 0.044, "across_joists", "eaves")
    heat = loft_u_values(LOFT, {"main": (FIRST, starter, SECOND)})
    eaves = [row for row in heat.rows if row.zone is ZoneKind.EAVES]
    assert [row.depth_mm for row in eaves] == [200, 100]  # outwards, as far as the plate
    assert eaves[0].u_value_w_m2k == pytest.approx(u_value(100, 100))
    plain = loft_u_values(LOFT, {"main": (FIRST, SECOND)})
    assert heat.mean_u < plain.mean_u


def test_existing_wool_lies_to_the_wall_plate_and_new_wool_stops_for_the_air_path() -> None:
    low = replace(LOFT, roof=Roof(pitch_deg=35, rafter_depth_mm=100), obstacles=())
    existing = loft_u_values(low, {"main": (replace(FIRST, existing=True),)})
    new = loft_u_values(low, {"main": (FIRST,)})
    assert [row.zone for row in existing.rows] == [ZoneKind.OPEN]
    assert new.mean_u > existing.mean_u


def test_a_pressed_end_counts_with_its_mean_depth() -> None:
    """By hand on a 3-4-5 slope: 62.5 mm at the plate, 100 mm 50 mm on, 81.25 mm in the mean."""
    roof = Roof(pitch_deg=math.degrees(math.atan2(3, 4)), rafter_depth_mm=100)
    heat = loft_u_values(replace(LOFT, roof=roof, obstacles=()), {"main": (FIRST,)})
    (eaves,) = [row for row in heat.rows if row.zone is ZoneKind.EAVES]
    assert eaves.depth_mm == pytest.approx(81.25)


@pytest.mark.parametrize(
    ("underside_mm", "depth_mm"),
    [(None, 100), (220, 100), (240, 240), (300, 270)],
    ids=["boards on the joists", "too low to squeeze", "squeezed", "clear of the wool"],
)
def test_beneath_a_deck_lies_what_fits(underside_mm: float | None, depth_mm: float) -> None:
    deck = Obstacle(
        "deck",
        ObstacleKind.DECK,
        ((3000, 2000), (5000, 2000), (5000, 4000), (3000, 4000)),
        underside_mm,
    )
    heat = loft_u_values(replace(LOFT, obstacles=(deck,)), {"main": (FIRST, SECOND)})
    (row,) = [row for row in heat.rows if row.zone is ZoneKind.DECK]
    assert row.depth_mm == pytest.approx(depth_mm)
    assert row.area_m2 == pytest.approx(4.0)


def test_old_wool_alone_between_deep_joists_is_taken_to_have_gaps() -> None:
    deep = replace(AREA, joist_depth_mm=200)
    old = LaidWool(200, 0.044, "between_joists", existing=True)
    snug = u_value_of_layers(deep, (replace(old, existing=False),))
    gappy = u_value_of_layers(deep, (old,))
    share = 0.200 / 0.044 / snug.total_resistance
    assert gappy.u_value_w_m2k == pytest.approx(snug.u_value_w_m2k + 0.01 * share**2)
    assert gappy.steps[-1].label == "with corrections"
    crossed = u_value_of_layers(deep, (old, LaidWool(100, 0.044, "across_joists")))
    assert crossed.correction_w_m2k == 0.0


def test_a_correction_under_three_per_cent_is_left_out() -> None:
    old = u_value_of_layers(AREA, (replace(FIRST, existing=True),))
    assert old.u_value_w_m2k == u_value_of_layers(AREA, (FIRST,)).u_value_w_m2k


@given(
    between=st.floats(0, 300),
    across=st.floats(0, 400),
    wool=st.floats(0.025, 0.060),
    width=st.floats(25, 100),
    spacing=st.floats(300, 900),
    more=st.floats(1, 100),
)
def test_what_must_hold_of_any_ceiling(
    between: float, across: float, wool: float, width: float, spacing: float, more: float
) -> None:
    def u(**changes: float) -> float:
        arguments = {
            "joist_width_mm": width,
            "joist_spacing_mm": spacing,
            "conductivity_between_w_mk": wool,
            "conductivity_across_w_mk": wool,
        }
        return u_value(**({"between_mm": between, "across_mm": across} | arguments | changes))

    plain = u()
    assert u(across_mm=across + more) < plain
    assert u(between_mm=between + more) < plain
    assert u(conductivity_across_w_mk=wool + 0.01) >= plain
    assert u(joist_width_mm=width + 10) >= plain - 1e-12
    assert u(roof_space_resistance_m2k_w=0.30) < plain
