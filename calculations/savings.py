"""What insulating a ceiling saves in a year: heat, fuel, carbon and money, as ranges.

A range, not a promise: how warm a house is kept moves the result more than the wool does.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass

from calculations.checks import InputError, require_between
from calculations.climate import climate_region, degree_days

# Low end: part of the heat comes free (sun, people, cooking), so heating starts at 15.5 deg C
# (the usual base of degree-days in Britain). High end: every degree up to 18 is heated.
LOW_BASE_C = 15.5
HIGH_BASE_C = 18.0
# Share by which savings in use fall short of reckoned ones for loft insulation in the low case
# (the British in-use factor for loft insulation; from memory, unconfirmed).
LOW_IN_USE_SHORTFALL = 0.35
HOURS_PER_DAY = 24


@dataclass(frozen=True, slots=True)
class Fuel:
    """What heats the house: carbon factor [kg CO2e/kWh delivered] and heating efficiency range.

    Efficiency is heat given per energy bought [-]; the better end gives the lower saving.
    """

    key: str
    name: str
    kg_co2e_per_kwh: float
    efficiency_low: float
    efficiency_high: float


# Carbon factors of SAP 10.2 table 12 (from memory, unconfirmed). Efficiencies: usual range of
# such heating in use; common practice, no published source.
FUELS = (
    Fuel("mains_gas", "mains gas", 0.210, 0.75, 0.92),
    Fuel("heating_oil", "heating oil", 0.298, 0.75, 0.92),
    Fuel("bulk_lpg", "bulk LPG", 0.241, 0.75, 0.92),
    Fuel("electricity", "electric heaters", 0.136, 1.0, 1.0),
    Fuel("heat_pump", "heat pump on electricity", 0.136, 2.0, 3.5),
)
_BY_KEY = {fuel.key: fuel for fuel in FUELS}


@dataclass(frozen=True, slots=True)
class Saving:
    """Yearly saving: delivered energy [kWh], carbon [kg CO2e], money, each low and high.

    fabric_kwh_low, fabric_kwh_high : heat that no longer leaves through the ceiling [kWh].
    money_low, money_high : in `currency`, or None where no price was given.
    """

    kwh_low: float
    kwh_high: float
    fabric_kwh_low: float
    fabric_kwh_high: float
    kg_co2e_low: float
    kg_co2e_high: float
    money_low: float | None
    money_high: float | None
    currency: str
    assumptions: tuple[str, ...]

    def to_dict(self) -> dict[str, object]:
        """JSON-able copy."""
        return asdict(self) | {"assumptions": list(self.assumptions)}


def heating_fuel(key: str) -> Fuel:
    """The fuel with this key, such as "mains_gas". Raises InputError, naming those there are."""
    try:
        return _BY_KEY[key]
    except KeyError:
        raise InputError(
            "fuel", f"{key!r} is not known.", f"Use one of: {', '.join(_BY_KEY)}."
        ) from None


def fabric_heat_kwh(u_change_w_m2k: float, area_m2: float, degree_days_k_day: float) -> float:
    """Heat lost less in a year [kWh]: change in U x area x degree-days x 24 h / 1000."""
    return u_change_w_m2k * area_m2 * degree_days_k_day * HOURS_PER_DAY / 1000


def yearly_saving(
    u_before: float,
    u_after: float,
    area_m2: float,
    region: str,
    *,
    fuel: str = "mains_gas",
    price_per_kwh: tuple[float, float] | None = None,
    currency: str = "GBP",
) -> Saving:
    """Saving of a year between two U-values of a ceiling, October to May.

    Parameters
    ----------
    u_before, u_after : mean U-values [W/m2K], 0 to 6. A worse ceiling gives a negative saving.
    area_m2 : ceiling area [m2].
    region : key of calculations.climate.CLIMATE_REGIONS.
    fuel : key of FUELS.
    price_per_kwh : lowest and highest price of the fuel [currency/kWh]. Prices change by the
        quarter, so none is built in: without one, money is left open.

    Raises
    ------
    InputError names the argument.
    """
    require_between("u_before", u_before, 0, 6, "W/m2K")
    require_between("u_after", u_after, 0, 6, "W/m2K")
    require_between("area_m2", area_m2, 0, 5000, "m2")
    climate = climate_region(region)
    heating = heating_fuel(fuel)
    change = u_before - u_after
    low_days = degree_days(climate, LOW_BASE_C)
    high_days = degree_days(climate, HIGH_BASE_C)
    fabric = (
        fabric_heat_kwh(change, area_m2, low_days) * (1 - LOW_IN_USE_SHORTFALL),
        fabric_heat_kwh(change, area_m2, high_days),
    )
    kwh = (fabric[0] / heating.efficiency_high, fabric[1] / heating.efficiency_low)
    money = _money(kwh, price_per_kwh)
    assumptions = (
        f"Outdoor temperatures: SAP table U1, {climate.name}, October to May.",
        f"Low: heated from {LOW_BASE_C:g} °C down ({low_days:.0f} K day), less "
        f"{LOW_IN_USE_SHORTFALL:.0%} because savings in use fall short.",
        f"High: heated from {HIGH_BASE_C:g} °C down ({high_days:.0f} K day).",
        f"Heating by {heating.name}, efficiency {heating.efficiency_low:g} to "
        f"{heating.efficiency_high:g}, {heating.kg_co2e_per_kwh:g} kg CO2e/kWh.",
        _price_words(price_per_kwh, currency),
        "A range from stated assumptions, not a promise: how the house is heated decides.",
    )
    return Saving(
        kwh_low=kwh[0],
        kwh_high=kwh[1],
        fabric_kwh_low=fabric[0],
        fabric_kwh_high=fabric[1],
        kg_co2e_low=kwh[0] * heating.kg_co2e_per_kwh,
        kg_co2e_high=kwh[1] * heating.kg_co2e_per_kwh,
        money_low=money[0],
        money_high=money[1],
        currency=currency,
        assumptions=assumptions,
    )


def _money(
    kwh: tuple[float, float], price_per_kwh: tuple[float, float] | None
) -> tuple[float | None, float | None]:
    if price_per_kwh is None:
        return None, None
    low, high = price_per_kwh
    require_between("price_per_kwh[0]", low, 0, 10, "per kWh")
    require_between("price_per_kwh[1]", high, low, 10, "per kWh")
    return kwh[0] * low, kwh[1] * high


def _price_words(price_per_kwh: tuple[float, float] | None, currency: str) -> str:
    if price_per_kwh is None:
        return "Money left open: no price of fuel was given."
    return f"Fuel at {price_per_kwh[0]:g} to {price_per_kwh[1]:g} {currency}/kWh, as given."
