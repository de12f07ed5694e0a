"""Resistance of layers bridged by another material, and corrections to the U-value.

The combined method of ISO 6946 as BR 443 applies it: the total resistance is the
mean of an upper limit (heat runs in parallel paths that do not mix) and a lower limit (each
layer is mixed to one conductance). Valid where the ratio of the two limits is at most 1.5
and no metal bridges the insulation.

References
----------
ISO 6946:2017, Building components and building elements, Thermal resistance and thermal
    transmittance, Calculation methods: 6.7.1 and 6.7.2 (combined method, equations 5 to 9),
    annex F (corrections for air voids and for mechanical fasteners).
BR 443:2019, Conventions for U-value calculations: two significant figures, corrections of up
    to 3 % left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Literal

from calculations.checks import InputError, require_between

# Surface resistances for heat flowing upwards, m2K/W (ISO 6946 table 7).
INSIDE_SURFACE_RESISTANCE = 0.10
OUTSIDE_SURFACE_RESISTANCE = 0.04
# Beyond this ratio ISO 6946 (6.7.2.1) asks for a numerical method instead.
LARGEST_LIMIT_RATIO = 1.5
# Share of a correction in the U-value under which it may be left out (ISO 6946, 6.9.2).
NEGLIGIBLE_CORRECTION_SHARE = 0.03

AirVoidLevel = Literal[0, 1, 2]
# Correction for air voids by level, W/m2K (ISO 6946:2017 table F.1).
AIR_VOID_CORRECTION: dict[int, float] = {0: 0.00, 1: 0.01, 2: 0.04}


@dataclass(frozen=True, slots=True)
class Stratum:
    """One layer of the build-up, bridged by another material or not.

    thickness_mm; conductivity_w_mk and bridge_conductivity_w_mk in W/mK;
    bridge_fraction: share of the plan area that the bridge takes, 0 to 1.
    """

    name: str
    thickness_mm: float
    conductivity_w_mk: float
    bridge_conductivity_w_mk: float | None = None

    @property
    def resistance_m2k_w(self) -> float:
        """Resistance of the unbridged material, m2K/W (ISO 6946 equation 3)."""
        return self.thickness_mm / 1000 / self.conductivity_w_mk

    @property
    def bridge_resistance_m2k_w(self) -> float:
        """Resistance along the bridging material, m2K/W."""
        conductivity = self.bridge_conductivity_w_mk or self.conductivity_w_mk
        return self.thickness_mm / 1000 / conductivity


@dataclass(frozen=True, slots=True)
class HeatStep:
    """One line of the arithmetic, for a page to show."""

    label: str
    expression: str
    value: float
    unit: str


@dataclass(frozen=True, slots=True)
class UValueResult:
    """A U-value [W/m2K] with the two limits of resistance [m2K/W] it came from."""

    u_value_w_m2k: float
    upper_resistance: float
    lower_resistance: float
    total_resistance: float
    timber_fraction: float
    correction_w_m2k: float
    strata: tuple[Stratum, ...]
    surfaces_m2k_w: float

    @property
    def rounded(self) -> float:
        """The U-value to two significant figures, as BR 443 states results."""
        return float(f"{self.u_value_w_m2k:.2g}")

    @property
    def steps(self) -> tuple[HeatStep, ...]:
        """The arithmetic, line by line. Worded on demand: planning weighs many build-ups."""
        timber = self.timber_fraction
        clear_path = self.surfaces_m2k_w + sum(s.resistance_m2k_w for s in self.strata)
        bridge_path = self.surfaces_m2k_w + sum(s.bridge_resistance_m2k_w for s in self.strata)
        total = self.total_resistance
        steps = [
            HeatStep(
                s.name,
                f"{s.thickness_mm:g} mm / {s.conductivity_w_mk:g} W/mK",
                s.resistance_m2k_w,
                "m2K/W",
            )
            for s in self.strata
        ]
        steps += [
            HeatStep("surfaces and roof space", "sum", self.surfaces_m2k_w, "m2K/W"),
            HeatStep(
                "upper limit",
                f"1 / ({1 - timber:.4g} / {clear_path:.4f} + {timber:.4g} / {bridge_path:.4f})",
                self.upper_resistance,
                "m2K/W",
            ),
            HeatStep(
                "lower limit",
                "sum of the layers, each mixed with its timber, and the surfaces",
                self.lower_resistance,
                "m2K/W",
            ),
            HeatStep(
                "total resistance",
                f"({self.upper_resistance:.4f} + {self.lower_resistance:.4f}) / 2",
                total,
                "m2K/W",
            ),
            HeatStep("U-value", f"1 / {total:.4f}", 1 / total, "W/m2K"),
        ]
        if self.correction_w_m2k:
            words = f"{1 / total:.4f} + {self.correction_w_m2k:.4f}"
            steps.append(HeatStep("with corrections", words, self.u_value_w_m2k, "W/m2K"))
        return tuple(steps)

    def to_dict(self) -> dict[str, object]:
        """JSON-able copy, with the steps worded."""
        kept = ("u_value_w_m2k", "upper_resistance", "lower_resistance", "total_resistance")
        values: dict[str, object] = {name: getattr(self, name) for name in kept}
        values["timber_fraction"] = self.timber_fraction
        values["correction_w_m2k"] = self.correction_w_m2k
        values["steps"] = [asdict(step) for step in self.steps]
        return values


def combined_method(
    strata: Sequence[Stratum],
    bridge_fraction: float,
    *,
    inside_surface_resistance_m2k_w: float = INSIDE_SURFACE_RESISTANCE,
    outside_resistance_m2k_w: float = OUTSIDE_SURFACE_RESISTANCE,
) -> UValueResult:
    """U-value of layers one of more of which is bridged, by ISO 6946 (6.7.2).

    Parameters
    ----------
    strata : layers from inside to outside; the bridges lie in line above each other.
    bridge_fraction : share of the plan taken by the bridge [-], 0 to below 1.
    inside_surface_resistance_m2k_w, outside_resistance_m2k_w : [m2K/W]; the second takes in
        the roof space where there is one.

    Returns
    -------
    UValueResult; upper limit by equation 6, lower limit by equations 7 to 8, total by 5.

    Raises
    ------
    InputError when the fraction is outside its range, or when the limits differ by more than
    a factor of 1.5, where the method does not hold.
    """
    require_between("bridge_fraction", bridge_fraction, 0.0, 0.99, "of the area")
    fixed = inside_surface_resistance_m2k_w + outside_resistance_m2k_w
    clear_path = fixed + sum(s.resistance_m2k_w for s in strata)
    bridge_path = fixed + sum(s.bridge_resistance_m2k_w for s in strata)
    clear_fraction = 1 - bridge_fraction
    upper = 1 / (clear_fraction / clear_path + bridge_fraction / bridge_path)
    lower = fixed + sum(_mixed_resistance(s, bridge_fraction) for s in strata)
    if upper > LARGEST_LIMIT_RATIO * lower:
        raise InputError(
            "bridge_conductivity_w_mk",
            f"upper and lower limits of resistance differ by a factor of {upper / lower:.2f}.",
            "Use calculations.conduction, as ISO 6946 asks above 1.5.",
        )
    total = (upper + lower) / 2
    return UValueResult(1 / total, upper, lower, total, bridge_fraction, 0.0, tuple(strata), fixed)


def _mixed_resistance(stratum: Stratum, bridge_fraction: float) -> float:
    """Equations 7 and 8 in one: thickness over the conductivity mixed by area [m2K/W]."""
    bridge = stratum.bridge_conductivity_w_mk or stratum.conductivity_w_mk
    mixed = (1 - bridge_fraction) * stratum.conductivity_w_mk + bridge_fraction * bridge
    return stratum.thickness_mm / 1000 / mixed


def air_void_correction(
    level: AirVoidLevel, insulation_resistance_m2k_w: float, total_resistance_m2k_w: float
) -> float:
    """Addition for air voids in the insulation [W/m2K], ISO 6946:2017 equation F.2.

    level: 0, 1 or 2 of table F.1. Raises InputError for any other.
    """
    if level not in AIR_VOID_CORRECTION:
        raise InputError("air_void_level", f"is {level}.", "Give 0, 1 or 2 (ISO 6946 table F.1).")
    share = insulation_resistance_m2k_w / total_resistance_m2k_w
    return AIR_VOID_CORRECTION[level] * share**2


def fastener_correction(
    *,
    fasteners_per_m2: float,
    fastener_area_mm2: float,
    fastener_conductivity_w_mk: float,
    insulation_mm: float,
    penetration_mm: float,
    insulation_resistance_m2k_w: float,
    total_resistance_m2k_w: float,
) -> float:
    """Addition for metal fasteners through insulation [W/m2K], ISO 6946:2017 equation F.3.

    alpha = 0.8 where the insulation is pierced through, 0.8 x penetration / insulation where
    it is pierced in part. Fasteners under 1 W/mK need none. Wool laid loose at the joists has
    no fasteners: this is for boards fixed to a hatch or a deck.
    """
    require_between("insulation_mm", insulation_mm, 1, 2000, "mm")
    if fastener_conductivity_w_mk < 1.0:
        return 0.0
    alpha = 0.8 * min(penetration_mm / insulation_mm, 1.0)
    conductance = fastener_conductivity_w_mk * fastener_area_mm2 * 1e-6 * fasteners_per_m2
    share = insulation_resistance_m2k_w / total_resistance_m2k_w
    return alpha * conductance / (insulation_mm / 1000) * share**2


def with_correction(result: UValueResult, correction_w_m2k: float) -> UValueResult:
    """The U-value with a correction added, unless it is under 3 % (ISO 6946, 6.9.2)."""
    base = 1 / result.total_resistance
    total = result.correction_w_m2k + correction_w_m2k
    if total < NEGLIGIBLE_CORRECTION_SHARE * base:
        return result
    return replace(result, u_value_w_m2k=base + total, correction_w_m2k=total)


def compressed_resistance(
    nominal_mm: float, available_mm: float, conductivity_w_mk: float
) -> float:
    """Resistance of a quilt pressed into less than its thickness [m2K/W].

    The declared conductivity is kept and the thickness is what is left (ISO 6946 equation 3).
    Pressing a light quilt lowers its conductivity a little, so this is on the safe side.
    Raises InputError when a length is negative or the conductivity is not positive.
    """
    require_between("nominal_mm", nominal_mm, 0, 2000, "mm")
    require_between("available_mm", available_mm, 0, 2000, "mm")
    require_between("conductivity_w_mk", conductivity_w_mk, 0.01, 2.0, "W/mK")
    return min(nominal_mm, available_mm) / 1000 / conductivity_w_mk
