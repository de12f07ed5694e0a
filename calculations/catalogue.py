"""Roll types as data: what a company can lay.

The types below are INVENTED for demonstration: sizes, conductivities and costs are of a usual
order of magnitude, and stand for no maker's product. A company enters its own, which the service
keeps (`jobs.catalogues`); it plans with these while it has entered none.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields

from calculations.outlines import LoftError, checked_number


@dataclass(frozen=True, slots=True)
class RollType:
    """One type of roll.

    splits: numbers of equal widths it is perforated for, e.g. (2, 3) = halves and thirds.
    cost: of one roll, in the company's currency. packed_volume_m3: of one roll as delivered.
    Raises LoftError naming the field.
    """

    code: str
    name: str
    thickness_mm: float
    width_mm: float
    length_mm: float
    conductivity_w_mk: float
    splits: tuple[int, ...] = ()
    cost: float = 0.0
    packed_volume_m3: float = 0.0

    def __post_init__(self) -> None:
        if not isinstance(self.code, str) or not self.code.strip():
            raise LoftError("code", "is empty.", "Give the roll type a short code.")
        checked_number("thickness_mm", self.thickness_mm, 20, 400, "mm")
        checked_number("width_mm", self.width_mm, 200, 3000, "mm")
        checked_number("length_mm", self.length_mm, 1000, 30_000, "mm")
        checked_number("conductivity_w_mk", self.conductivity_w_mk, 0.02, 0.08, "W/mK")
        checked_number("cost", self.cost, 0, 100_000, "of currency")
        checked_number("packed_volume_m3", self.packed_volume_m3, 0, 10, "m3")
        object.__setattr__(self, "splits", tuple(self.splits))
        for i, parts in enumerate(self.splits):
            if isinstance(parts, bool) or not isinstance(parts, int) or not 2 <= parts <= 6:
                raise LoftError(f"splits[{i}]", f"{parts!r} is no split.", "Give 2 to 6 parts.")

    @property
    def area_m2(self) -> float:
        """Area of one roll [m2]."""
        return self.width_mm * self.length_mm / 1e6

    @property
    def split_widths_mm(self) -> tuple[float, ...]:
        """Widths that come off without a saw: the whole roll, then each perforated width [mm]."""
        return (self.width_mm, *(self.width_mm / parts for parts in self.splits))

    @property
    def resistance_m2k_w(self) -> float:
        """Thermal resistance of one layer [m2K/W]: thickness over conductivity.

        ISO 6946:2017, 6.7.1.1, equation 3. A label rounds it down to 0.05 [EN 13162, from memory].
        """
        return self.thickness_mm / 1000 / self.conductivity_w_mk

    @property
    def laid_volume_m3(self) -> float:
        """Of one roll as it lies [m3]."""
        return self.area_m2 * self.thickness_mm / 1000

    @property
    def cost_per_m2(self) -> float:
        """Of the wool alone, nothing cut off [of currency a m2]."""
        return self.cost / self.area_m2

    def to_dict(self) -> dict[str, object]:
        """JSON-able; `roll_type_from_dict` reads it back."""
        values = {field.name: getattr(self, field.name) for field in fields(self)}
        return values | {"splits": list(self.splits)}


def roll_type_from_dict(data: Mapping[str, object]) -> RollType:
    """A roll type from JSON-like data. Raises LoftError naming the field."""
    known = {field.name for field in fields(RollType)}
    for key in data:
        if key not in known:
            raise LoftError(key, "is not a field here.", f"Known fields: {sorted(known)}.")
    for key in sorted(known - {"splits", "cost", "packed_volume_m3"} - set(data)):
        raise LoftError(key, "is missing.", "Fill it in.")
    return RollType(**data)  # type: ignore[arg-type]


def check_catalogue(catalogue: Sequence[RollType]) -> None:
    """Raises LoftError when the catalogue is empty or uses a code twice."""
    if not catalogue:
        raise LoftError("catalogue", "is empty.", "Give at least one roll type.")
    codes = [roll.code for roll in catalogue]
    for i, code in enumerate(codes):
        if code in codes[:i]:
            raise LoftError(f"catalogue[{i}].code", f"{code!r} is used twice.", "Rename one.")


def roll_by_code(catalogue: Sequence[RollType], code: str) -> RollType:
    """The roll type of that code. Raises KeyError saying which codes exist."""
    for roll in catalogue:
        if roll.code == code:
            return roll
    raise KeyError(f"no roll type {code!r}; there are {', '.join(r.code for r in catalogue)}")


INVENTED_CATALOGUE: tuple[RollType, ...] = (
    RollType("W100", "Wool 100 (invented)", 100, 1140, 8050, 0.044, (2, 3), 26.0, 0.19),
    RollType("W150", "Wool 150 (invented)", 150, 1140, 5600, 0.044, (2, 3), 27.5, 0.19),
    RollType("W170", "Wool 170 (invented)", 170, 1140, 5000, 0.044, (2, 3), 27.0, 0.19),
    RollType("W200", "Wool 200 (invented)", 200, 1140, 4300, 0.044, (2, 3), 28.0, 0.19),
    RollType("F100", "Fine wool 100 (invented)", 100, 1200, 6600, 0.040, (2, 3), 29.0, 0.18),
    RollType("F150", "Fine wool 150 (invented)", 150, 1200, 4600, 0.040, (2, 3), 31.0, 0.18),
    RollType("F200", "Fine wool 200 (invented)", 200, 1200, 3500, 0.040, (2, 3), 32.0, 0.18),
    RollType("N100", "Narrow wool 100 (invented)", 100, 370, 8050, 0.044, (), 9.5, 0.065),
)
