"""Monthly outdoor temperatures by region, and degree-days.

Reference
---------
SAP 2012 (and 10.2), appendix U, table U1: mean external temperature by month, for the typical
height of each region. Transcribed by third parties that name the table and agree with each
other; the table itself was not opened.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from calculations.checks import InputError, require_between

DAYS_IN_MONTH = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
MONTH_NAMES = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
# October to May, as month numbers.
HEATING_MONTHS = (1, 2, 3, 4, 5, 10, 11, 12)


@dataclass(frozen=True, slots=True)
class ClimateRegion:
    """A region with its mean outdoor temperature from January to December [deg C]."""

    key: str
    number: int
    name: str
    monthly_mean_c: tuple[float, ...]


# fmt: off
CLIMATE_REGIONS = (
    ClimateRegion("uk_average", 0, "UK average",
        (4.3, 4.9, 6.5, 8.9, 11.7, 14.6, 16.6, 16.4, 14.1, 10.6, 7.1, 4.2)),
    ClimateRegion("thames", 1, "Thames",
        (5.1, 5.6, 7.4, 9.9, 13.0, 16.0, 17.9, 17.8, 15.2, 11.6, 8.0, 5.1)),
    ClimateRegion("south_east_england", 2, "South East England",
        (5.0, 5.4, 7.1, 9.5, 12.6, 15.4, 17.4, 17.5, 15.0, 11.7, 8.1, 5.2)),
    ClimateRegion("southern_england", 3, "Southern England",
        (5.4, 5.7, 7.3, 9.6, 12.6, 15.4, 17.3, 17.3, 15.0, 11.8, 8.4, 5.5)),
    ClimateRegion("south_west_england", 4, "South West England",
        (6.1, 6.4, 7.5, 9.3, 11.9, 14.5, 16.2, 16.3, 14.6, 11.8, 9.0, 6.4)),
    ClimateRegion("severn", 5, "Severn Wales and Severn England",
        (4.9, 5.3, 7.0, 9.3, 12.2, 15.0, 16.7, 16.7, 14.4, 11.1, 7.8, 4.9)),
    ClimateRegion("midlands", 6, "Midlands",
        (4.3, 4.8, 6.6, 9.0, 11.8, 14.8, 16.6, 16.5, 14.0, 10.5, 7.1, 4.2)),
    ClimateRegion("west_pennines", 7, "West Pennines Wales and West Pennines England",
        (4.7, 5.2, 6.7, 9.1, 12.0, 14.7, 16.4, 16.3, 14.1, 10.7, 7.5, 4.6)),
    ClimateRegion("north_west_england", 8, "North West England and South West Scotland",
        (3.9, 4.3, 5.6, 7.9, 10.7, 13.2, 14.9, 14.8, 12.8, 9.7, 6.6, 3.7)),
    ClimateRegion("borders", 9, "Borders Scotland and Borders England",
        (4.0, 4.5, 5.8, 7.9, 10.4, 13.3, 15.2, 15.1, 13.1, 9.7, 6.6, 3.7)),
    ClimateRegion("north_east_england", 10, "North East England",
        (4.0, 4.6, 6.1, 8.3, 10.9, 13.8, 15.8, 15.6, 13.5, 10.1, 6.7, 3.8)),
    ClimateRegion("east_pennines", 11, "East Pennines",
        (4.3, 4.9, 6.5, 8.9, 11.7, 14.6, 16.6, 16.4, 14.1, 10.6, 7.1, 4.2)),
    ClimateRegion("east_anglia", 12, "East Anglia",
        (4.7, 5.2, 7.0, 9.5, 12.5, 15.4, 17.6, 17.6, 15.0, 11.4, 7.7, 4.7)),
    ClimateRegion("wales", 13, "Wales",
        (5.0, 5.3, 6.5, 8.5, 11.2, 13.7, 15.3, 15.3, 13.5, 10.7, 7.8, 5.2)),
    ClimateRegion("west_scotland", 14, "West Scotland",
        (4.0, 4.4, 5.6, 7.9, 10.4, 13.0, 14.5, 14.4, 12.5, 9.3, 6.5, 3.8)),
    ClimateRegion("east_scotland", 15, "East Scotland",
        (3.6, 4.0, 5.4, 7.7, 10.1, 12.9, 14.6, 14.5, 12.5, 9.2, 6.1, 3.2)),
    ClimateRegion("north_east_scotland", 16, "North East Scotland",
        (3.3, 3.6, 5.0, 7.1, 9.3, 12.2, 14.0, 13.9, 12.0, 8.8, 5.7, 2.9)),
    ClimateRegion("highland", 17, "Highland",
        (3.1, 3.2, 4.4, 6.6, 8.9, 11.4, 13.2, 13.1, 11.3, 8.2, 5.4, 2.7)),
    ClimateRegion("western_isles", 18, "Western Isles",
        (5.2, 5.0, 5.8, 7.6, 9.7, 11.8, 13.4, 13.6, 12.1, 9.6, 7.3, 5.2)),
    ClimateRegion("orkney", 19, "Orkney",
        (4.4, 4.2, 5.0, 7.0, 8.9, 11.2, 13.1, 13.2, 11.7, 9.1, 6.6, 4.3)),
    ClimateRegion("shetland", 20, "Shetland",
        (4.6, 4.1, 4.7, 6.5, 8.3, 10.5, 12.4, 12.8, 11.4, 8.8, 6.5, 4.6)),
    ClimateRegion("northern_ireland", 21, "Northern Ireland",
        (4.8, 5.2, 6.4, 8.4, 10.9, 13.5, 15.0, 14.9, 13.1, 10.0, 7.2, 4.7)),
)
# fmt: on
_BY_KEY = {region.key: region for region in CLIMATE_REGIONS}


def climate_region(key: str) -> ClimateRegion:
    """The region with this key, such as "thames". Raises InputError, naming those there are."""
    try:
        return _BY_KEY[key]
    except KeyError:
        raise InputError(
            "region", f"{key!r} is not a climate region.", f"Use one of: {', '.join(_BY_KEY)}."
        ) from None


def degree_days(
    region: ClimateRegion, base_c: float = 18.0, months: Iterable[int] = HEATING_MONTHS
) -> float:
    """Heating degree-days of the named months [K day].

    Sum over the months of days x (base - mean), where the month is colder than the base. Monthly
    means miss the cold days of a month whose mean is near the base, so a low base is understated.
    base_c from 5 to 25 deg C; months from 1 to 12.
    """
    require_between("base_c", base_c, 5.0, 25.0, "deg C")
    total = 0.0
    for month in months:
        require_between("months", month, 1, 12, "")
        short_by = base_c - region.monthly_mean_c[month - 1]
        total += DAYS_IN_MONTH[month - 1] * max(0.0, short_by)
    return total
