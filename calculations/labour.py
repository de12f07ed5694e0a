"""Hours of a visit, step by step, with the basis of every rate.

No published table of rates for this work was found. The rates here are common practice and
data: a company that measures its own visits gives its own.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields

from calculations.accessories import penetrations, rafter_bays, run_m
from calculations.layers import Layer
from calculations.loft import Condition, FixtureKind, Loft, LoftArea, LoftError, ObstacleKind
from calculations.loft import net_polygon as wool_floor
from calculations.outlines import MM2_PER_M2
from calculations.records import Plain, plain_dict

COMMON_PRACTICE = "common practice, no published source"


@dataclass(frozen=True, slots=True)
class LabourRates:
    """Operative-hours for one unit of each step [h]. Defaults are common practice.

    low_roof_factor: multiplies laying where the roof is so low that all work is done lying
    down (pitch under `low_roof_deg`).
    """

    set_up_per_visit: float = 0.75
    removal_per_m3: float = 0.8
    levelling_per_m2: float = 0.02
    sealing_per_penetration: float = 0.1
    light_cover_each: float = 0.15
    cable_per_m: float = 0.04
    carrying_per_m3: float = 0.12
    laying_per_m2: float = 0.035
    cutting_per_strip: float = 0.02
    eaves_tray_each: float = 0.04
    tank_each: float = 0.75
    pipe_per_m: float = 0.1
    hatch_each: float = 0.5
    deck_per_m2: float = 0.4
    evidence_per_m2: float = 0.006
    handover_per_visit: float = 0.5
    low_roof_deg: float = 25.0
    low_roof_factor: float = 1.25
    basis: str = COMMON_PRACTICE

    def __post_init__(self) -> None:
        for item in fields(self):
            value = getattr(self, item.name)
            if item.name != "basis" and not 0 <= value <= 90:
                raise LoftError(item.name, f"is {value!r}.", "Give hours from 0 to 90.")


@dataclass(frozen=True, slots=True)
class LabourStep:
    """One step: operative_hours in all, and how they were come by."""

    name: str
    operative_hours: float
    basis: str


@dataclass(frozen=True, slots=True)
class Labour:
    """crew_hours: how long the crew is in the home; the steps' hours shared by its members."""

    crew_hours: float
    steps: tuple[LabourStep, ...]
    crew_size: int

    def to_dict(self) -> dict[str, Plain]:
        return plain_dict(self)


def labour_for(
    loft: Loft,
    layers: Sequence[Layer],
    strips_count: int,
    *,
    crew_size: int = 2,
    rates: LabourRates | None = None,
) -> Labour:
    """Hours for laying `layers`, cut into `strips_count` strips, with all that goes with it.

    crew_hours = sum of operative-hours / crew_size, to a hundredth of an hour. Travel and
    breaks are the planner's. Raises LoftError for a crew or a count that cannot be.
    """
    if not 1 <= crew_size <= 12:
        raise LoftError("crew_size", f"is {crew_size}.", "Give the operatives, 1 to 12.")
    if strips_count < 0:
        raise LoftError("strips_count", f"is {strips_count}.", "Count the strips, 0 or more.")
    given = rates or LabourRates()
    steps = tuple(
        LabourStep(
            name, round(units * rate, 3), f"{units:.4g} × {rate:g} h a {unit}; {given.basis}"
        )
        for name, units, unit, rate in _parts(loft, layers, strips_count, given)
        if units > 0
    )
    total = sum(step.operative_hours for step in steps)
    return Labour(crew_hours=round(total / crew_size, 2), steps=steps, crew_size=crew_size)


Part = tuple[str, float, str, float]


def _parts(
    loft: Loft, layers: Sequence[Layer], strips_count: int, rates: LabourRates
) -> Iterator[Part]:
    """(step, units, unit, hours a unit), in the order of the work."""
    floors = {area.name: _m2(loft, area) for area in loft.areas}
    laid_m2 = sum(_share(layers, layer) * floors[layer.area] for layer in layers)
    wool_m3 = sum(
        _share(layers, layer) * floors[layer.area] * layer.thickness_mm / 1000 for layer in layers
    )
    low = loft.roof.pitch_deg < rates.low_roof_deg
    laying = rates.laying_per_m2 * (rates.low_roof_factor if low else 1.0)
    yield "Set up, protect and check before start", 1, "visit", rates.set_up_per_visit
    yield from _existing(loft, floors, rates)
    places = penetrations(loft)
    yield "Seal gaps in the ceiling", places, "place", rates.sealing_per_penetration
    lights = sum(f.kind is FixtureKind.DOWNLIGHT for f in loft.fixtures)
    yield "Cover downlights", lights, "light", rates.light_cover_each
    cables = sum(run_m(f) for f in loft.fixtures if f.kind is FixtureKind.CABLE)
    yield "Lift cables", cables, "m", rates.cable_per_m
    trays = sum(rafter_bays(a) for a in loft.areas if a.name in {la.area for la in layers})
    yield "Fit eaves trays", trays, "rafter bay", rates.eaves_tray_each
    yield "Carry wool up", wool_m3, "m³ of wool", rates.carrying_per_m3
    name = "Lay wool under a low roof" if low else "Lay wool"
    yield name, laid_m2, "m² of layer", laying
    yield "Cut strips", strips_count, "strip", rates.cutting_per_strip
    yield from _things(loft, rates)
    yield "Readings and photos", sum(floors.values()), "m²", rates.evidence_per_m2
    yield "Clear up and hand over", 1, "visit", rates.handover_per_visit


def _existing(loft: Loft, floors: dict[str, float], rates: LabourRates) -> Iterator[Part]:
    removed = sum(
        floors[a.name] * a.existing_depth_mm / 1000
        for a in loft.areas
        if a.existing_condition is Condition.REMOVE
    )
    yield "Take old insulation out", removed, "m³", rates.removal_per_m3
    levelled = sum(
        floors[a.name]
        for a in loft.areas
        if a.existing_condition is Condition.LEVEL and a.existing_depth_mm > 0
    )
    yield "Level old insulation", levelled, "m²", rates.levelling_per_m2


def _things(loft: Loft, rates: LabourRates) -> Iterator[Part]:
    kinds = [o.kind for o in loft.obstacles]
    yield "Jacket tanks", kinds.count(ObstacleKind.TANK), "tank", rates.tank_each
    pipes = [f for f in loft.fixtures if f.kind is FixtureKind.PIPE]
    yield "Lag pipes", sum(run_m(p) or 1.0 for p in pipes), "m", rates.pipe_per_m
    hatches = kinds.count(ObstacleKind.HATCH)
    yield "Insulate and seal the hatch", hatches, "hatch", rates.hatch_each
    decks = sum(
        o.polygon().area / MM2_PER_M2 for o in loft.obstacles if o.kind is ObstacleKind.DECK
    )
    yield "Raise decks", decks, "m² of deck", rates.deck_per_m2


def _m2(loft: Loft, area: LoftArea) -> float:
    return float(wool_floor(loft, area).area) / MM2_PER_M2


def _share(layers: Sequence[Layer], layer: Layer) -> float:
    """Share of its area that a layer covers: a starter at the eaves is taken as a tenth, the
    roll beside it as the rest."""
    if layer.covers == "full":
        return 1.0
    return 0.1 if layer.covers == "eaves" else 0.9
