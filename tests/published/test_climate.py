"""Degree-days and the yearly saving of a worked case."""

from __future__ import annotations

import pytest

from calculations.climate import climate_region, degree_days
from calculations.savings import fabric_heat_kwh


@pytest.mark.parametrize(
    ("key", "expected"),
    [
        ("uk_average", 2600.5),
        ("thames", 2372.0),
        ("midlands", 2597.2),
        ("wales", 2540.0),
        ("east_scotland", 2871.5),
        ("northern_ireland", 2619.6),
    ],
)
def test_degree_days_of_sap_table_u1(key: str, expected: float) -> None:
    """SAP table U1 (transcribed): October to May to 18 deg C, computed by hand from its months."""
    assert degree_days(climate_region(key), 18.0) == pytest.approx(expected, abs=0.05)


def test_fabric_heat_of_a_worked_case() -> None:
    """50 m2 from 0.40 to 0.16 W/m2K in the mean climate of SAP table U1: about 749 kWh a year.

    0.24 x 50 x 2600.5 x 24 / 1000, before gains and the boiler; U-values of SAP table S9.
    """
    days = degree_days(climate_region("uk_average"), 18.0)
    assert fabric_heat_kwh(0.40 - 0.16, 50, days) == pytest.approx(749, abs=0.5)


def test_a_cold_month_counts_in_full_and_a_warm_one_not_at_all() -> None:
    """SAP table U1, UK average: January is 31 x (18 - 4.3) = 424.7; July at base 16 is nothing."""
    region = climate_region("uk_average")
    assert degree_days(region, 18.0, (1,)) == pytest.approx(424.7)
    assert degree_days(region, 16.0, (7,)) == 0.0
