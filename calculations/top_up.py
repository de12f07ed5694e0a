"""Wool to lay on top where a loft was found short, and the hours that takes.

No published method was found: whole layers over the floor that lacks depth, with an allowance for
cutting, are common practice.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations_with_replacement

from calculations.catalogue import RollType, check_catalogue
from calculations.labour import LabourRates
from calculations.outlines import checked_number

CUTTING_SHARE = 0.10
"""Wool beyond the floor to be covered, for cutting and overlaps: common practice, no source."""
MOST_LAYERS = 4
CREW_SIZE = 2


@dataclass(frozen=True, slots=True)
class TopUp:
    """rolls: roll code -> rolls. depth_mm: what its layers add. volume_m3: packed. crew_hours [h]:
    of a visit by CREW_SIZE operatives, without travel and breaks."""

    rolls: Mapping[str, int]
    depth_mm: float
    volume_m3: float
    crew_hours: float


def top_up(
    lacking_mm: float,
    floor_m2: float,
    catalogue: Sequence[RollType],
    *,
    rates: LabourRates | None = None,
) -> TopUp:
    """Layers that add `lacking_mm` [0 to 1000 mm] over `floor_m2` [0 to 2000 m2], in whole rolls.

    As few layers as reach the depth, then the least packed volume; at least one roll of each.
    Where no MOST_LAYERS layers reach it, the thickest rolls there are. Nothing lacks: no rolls,
    and the hours of a visit that only looks.
    Raises LoftError for a number out of range or an empty catalogue.
    """
    checked_number("lacking_mm", lacking_mm, 0, 1000, "mm")
    checked_number("floor_m2", floor_m2, 0, 2000, "m2")
    check_catalogue(catalogue)
    layers = _layers(lacking_mm, floor_m2, catalogue) if lacking_mm > 1e-6 else ()
    counts: dict[str, int] = {}
    for roll in layers:
        together = sum(other is roll for other in layers)
        counts[roll.code] = _rolls(roll, floor_m2 * together)
    volume = sum(
        count * next(roll.packed_volume_m3 for roll in layers if roll.code == code)
        for code, count in counts.items()
    )
    depth = sum(roll.thickness_mm for roll in layers)
    hours = _hours(rates or LabourRates(), floor_m2, len(layers), depth)
    return TopUp(counts, depth, volume, hours)


def _layers(
    lacking_mm: float, floor_m2: float, catalogue: Sequence[RollType]
) -> tuple[RollType, ...]:
    for number in range(1, MOST_LAYERS + 1):
        enough = [
            layers
            for layers in combinations_with_replacement(catalogue, number)
            if sum(roll.thickness_mm for roll in layers) >= lacking_mm - 1e-6
        ]
        if enough:
            return min(enough, key=lambda layers: _bulk(layers, floor_m2))
    return (max(catalogue, key=lambda roll: roll.thickness_mm),) * MOST_LAYERS


def _bulk(layers: Sequence[RollType], floor_m2: float) -> tuple[float, float]:
    """Packed volume [m3], then depth [mm]."""
    packed = sum(_rolls(roll, floor_m2) * roll.packed_volume_m3 for roll in layers)
    return round(packed, 6), sum(roll.thickness_mm for roll in layers)


def _rolls(roll: RollType, floor_m2: float) -> int:
    return max(1, math.ceil(floor_m2 * (1 + CUTTING_SHARE) / roll.area_m2 - 1e-9))


def _hours(rates: LabourRates, floor_m2: float, layers: int, depth_mm: float) -> float:
    operative_hours = (
        rates.set_up_per_visit
        + rates.carrying_per_m3 * floor_m2 * depth_mm / 1000
        + rates.laying_per_m2 * floor_m2 * layers
        + rates.evidence_per_m2 * floor_m2
        + rates.handover_per_visit
    )
    return round(operative_hours / CREW_SIZE, 2)
