"""Yearly savings as ranges."""

from __future__ import annotations

import pytest

from calculations.checks import InputError
from calculations.climate import CLIMATE_REGIONS, climate_region, degree_days
from calculations.savings import yearly_saving


def test_a_saving_is_a_range_with_its_assumptions() -> None:
    saving = yearly_saving(0.40, 0.16, 50, "uk_average", price_per_kwh=(0.06, 0.08))
    assert 0 < saving.kwh_low < saving.kwh_high
    assert saving.kg_co2e_low == pytest.approx(saving.kwh_low * 0.210)
    assert saving.money_high == pytest.approx(saving.kwh_high * 0.08)
    assert any("UK average" in line for line in saving.assumptions)
    assert any("not a promise" in line for line in saving.assumptions)


def test_without_a_price_money_is_left_open() -> None:
    saving = yearly_saving(0.40, 0.16, 50, "thames")
    assert (saving.money_low, saving.money_high) == (None, None)
    assert any("no price" in line for line in saving.assumptions)


def test_nothing_changed_saves_nothing() -> None:
    saving = yearly_saving(0.2, 0.2, 50, "wales")
    assert (saving.kwh_low, saving.kwh_high) == (0.0, 0.0)


def test_a_heat_pump_buys_less_energy_for_the_same_heat() -> None:
    gas = yearly_saving(0.40, 0.16, 50, "midlands")
    pump = yearly_saving(0.40, 0.16, 50, "midlands", fuel="heat_pump")
    assert pump.fabric_kwh_high == gas.fabric_kwh_high
    assert pump.kwh_high < gas.kwh_high


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"u_before": -0.1}, "u_before"),
        ({"u_after": float("nan")}, "u_after"),
        ({"area_m2": -5}, "area_m2"),
        ({"region": "mars"}, "region"),
        ({"fuel": "peat"}, "fuel"),
        ({"price_per_kwh": (0.2, 0.1)}, "price_per_kwh[1]"),
    ],
)
def test_bad_input_is_named(change: dict[str, object], field: str) -> None:
    arguments = {"u_before": 0.4, "u_after": 0.16, "area_m2": 50, "region": "thames"}
    with pytest.raises(InputError) as error:
        yearly_saving(**(arguments | change))  # type: ignore[arg-type]
    assert error.value.field == field


def test_a_lower_base_has_fewer_degree_days_everywhere() -> None:
    for region in CLIMATE_REGIONS:
        assert degree_days(region, 15.5) < degree_days(region, 18.0)
        assert degree_days(region, 18.0) <= degree_days(region, 18.0, range(1, 13))


def test_an_unknown_region_says_which_there_are() -> None:
    with pytest.raises(InputError, match="uk_average, thames"):
        climate_region("atlantis")
