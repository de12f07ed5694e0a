"""Cables under insulation: how much current they may carry, and what must be done with them.

The outcome is never "safe": a survey shows neither the protective device nor the rest of the
run. Cables lie on top of the full depth where they reach; an electrician decides what does not.

Reference
---------
BS 7671 (IET Wiring Regulations), regulation 523.9 and table 52.2 (cable surrounded by thermal
    insulation), table 4D5 (flat twin cable with protective conductor, thermoplastic, 70 deg C).
    Table 52.2 and the sizes 1.0 and 1.5 mm2 of table 4D5 as several third parties transcribe
    them; the larger sizes from memory. Pin the edition in force where the work is done.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import Literal

from calculations.checks import require_between
from calculations.loft import Fixture, FixtureKind, HazardKind, Loft

SOURCE = "BS 7671, regulation 523.9, tables 52.2 and 4D5"
NOMINAL_VOLTAGE_V = 230.0
# Up to this depth over the ceiling reference method 100 applies, beyond it 101.
METHOD_100_DEPTH_MM = 100.0

# Table 52.2: longest length of the run inside insulation [mm] and factor on method C [-].
SURROUNDED_FACTORS = ((50.0, 0.88), (100.0, 0.78), (200.0, 0.63), (400.0, 0.51))
SURROUNDED_FACTOR_LONG = 0.50


@dataclass(frozen=True, slots=True)
class CableRating:
    """Current a flat cable may carry [A] by conductor size [mm2] and reference method.

    method_100, method_101: on a ceiling under at most, or more than, 100 mm of insulation;
    method_c: clipped direct.
    """

    conductor_mm2: float
    method_100_a: float
    method_101_a: float
    method_c_a: float


CABLE_RATINGS = (
    CableRating(1.0, 13.0, 10.5, 16.0),
    CableRating(1.5, 16.0, 13.0, 20.0),
    CableRating(2.5, 21.0, 17.0, 27.0),
    CableRating(4.0, 27.0, 22.0, 37.0),
    CableRating(6.0, 34.0, 27.0, 47.0),
    CableRating(10.0, 45.0, 36.0, 64.0),
)
_BY_SIZE = {rating.conductor_mm2: rating for rating in CABLE_RATINGS}

Verdict = Literal["lay_on_top", "refer_to_electrician", "above_full_depth"]


@dataclass(frozen=True, slots=True)
class CableVerdict:
    """What to do with one cable, and the figures behind it.

    derating: factor of table 52.2 for the length enclosed [-]; capacity_a: least current it may
    carry where it lies [A]; load_a: current of the load told by the survey [A]. None: not known.
    """

    name: str
    derating: float
    capacity_a: float | None
    load_a: float | None
    verdict: Verdict
    text: str
    source: str

    def to_dict(self) -> dict[str, object]:
        """JSON-able copy."""
        return asdict(self)


def surrounded_factor(length_mm: float) -> float:
    """Factor on the current-carrying capacity of a cable surrounded for length_mm (table 52.2).

    Between two lengths of the table the factor of the longer one is taken, without
    interpolation. 1 where nothing is enclosed. Raises InputError for a negative length.
    """
    require_between("length_mm", length_mm, 0, 1e6, "mm")
    if length_mm == 0:
        return 1.0
    for longest_mm, factor in SURROUNDED_FACTORS:
        if length_mm <= longest_mm:
            return factor
    return SURROUNDED_FACTOR_LONG


def capacity_in_insulation_a(
    conductor_mm2: float, enclosed_mm: float, depth_over_mm: float
) -> float | None:
    """Least current a flat cable may carry under insulation [A]; None for a size not in the table.

    A survey cannot tell a cable that touches the ceiling (methods 100 and 101) from one that
    is surrounded (method C by the factor of table 52.2): the lower of the two is given.
    """
    rating = _BY_SIZE.get(conductor_mm2)
    if rating is None:
        return None
    if depth_over_mm == 0:
        return rating.method_c_a
    shallow = depth_over_mm <= METHOD_100_DEPTH_MM
    on_ceiling = rating.method_100_a if shallow else rating.method_101_a
    return min(on_ceiling, rating.method_c_a * surrounded_factor(enclosed_mm))


def check_cables(loft: Loft, depth_over_mm: float) -> tuple[CableVerdict, ...]:
    """Verdict on every cable of a loft when depth_over_mm of insulation would lie over it.

    depth_over_mm 0: nothing is laid over the cables. Raises InputError outside 0 to 2000 mm.
    """
    require_between("depth_over_mm", depth_over_mm, 0, 2000, "mm")
    damaged = any(h.kind is HazardKind.DAMAGED_WIRING for h in loft.hazards)
    cables = [f for f in loft.fixtures if f.kind is FixtureKind.CABLE]
    return tuple(_verdict(cable, depth_over_mm, damaged) for cable in cables)


def enclosed_length_mm(cable: Fixture) -> float:
    """Length of the run that would lie in insulation [mm]; unknown counts as long."""
    if cable.to_x_mm is None or cable.to_y_mm is None:
        return math.inf
    return math.hypot(cable.to_x_mm - cable.x_mm, cable.to_y_mm - cable.y_mm)


def _verdict(cable: Fixture, depth_over_mm: float, damaged: bool) -> CableVerdict:
    length_mm = min(enclosed_length_mm(cable), 1e6) if depth_over_mm > 0 else 0.0
    factor = surrounded_factor(length_mm)
    load_a = None if cable.load_w is None else cable.load_w / NOMINAL_VOLTAGE_V
    size = cable.conductor_mm2
    capacity_a = None
    clipped_a = None
    if size is not None:
        capacity_a = capacity_in_insulation_a(size, length_mm, depth_over_mm)
        clipped_a = capacity_in_insulation_a(size, 0.0, 0.0)
    verdict, text = _decide(cable, depth_over_mm, damaged, capacity_a, clipped_a, load_a)
    return CableVerdict(cable.name, factor, capacity_a, load_a, verdict, text, SOURCE)


def _decide(
    cable: Fixture,
    depth_over_mm: float,
    damaged: bool,
    capacity_a: float | None,
    clipped_a: float | None,
    load_a: float | None,
) -> tuple[Verdict, str]:
    if damaged:
        return "refer_to_electrician", "Damaged wiring was found: touch nothing, call one in."
    if capacity_a is None or clipped_a is None or load_a is None:
        missing = "load" if capacity_a is not None else "conductor size"
        return (
            "refer_to_electrician",
            f"The {missing} is not known or not in the table: keep insulation off this cable "
            "until an electrician has looked.",
        )
    if load_a > clipped_a:
        return (
            "refer_to_electrician",
            f"The load of {load_a:.1f} A is over the {clipped_a:g} A the cable may carry even "
            "clipped in the open: do not cover it.",
        )
    if depth_over_mm == 0:
        return "above_full_depth", "Lies on top of the full depth: keep it there, uncovered."
    if load_a > capacity_a:
        return (
            "lay_on_top",
            f"The load of {load_a:.1f} A is over the {capacity_a:.1f} A allowed under "
            f"{depth_over_mm:g} mm: it must lie on top. Where it does not reach, refer to an "
            "electrician.",
        )
    reason = (
        "A cable under high load lies on top of the full depth."
        if cable.high_load
        else f"The load of {load_a:.1f} A is within {capacity_a:.1f} A, but the protective "
        "device decides, which a survey does not show."
    )
    return (
        "lay_on_top",
        f"{reason} Lay it on top; where it does not reach, refer to an electrician.",
    )
