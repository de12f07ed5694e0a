"""What a job takes: layers, cut list, rolls with their proof, accessories, labour, heat."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from calculations import ENGINE_VERSION
from calculations.accessories import AccessoryLine, accessories_for
from calculations.catalogue import INVENTED_CATALOGUE, RollType, roll_by_code
from calculations.ceilings import HATCH_INSULATION_MM
from calculations.choosing import best_counted
from calculations.cutting import CuttingPlan, Part, Strip, strips_of
from calculations.heat import LaidWool, loft_u_values
from calculations.labour import Labour, labour_for
from calculations.layers import Layer, LayerChoice, Objective, Target
from calculations.laying import in_laying_order, roll_numbers
from calculations.loft import Loft, net_polygon
from calculations.outlines import MM2_PER_M2
from calculations.records import Plain, plain_dict
from calculations.strip_notes import with_notes

__all__ = ["AreaWaste", "Quantities", "RollCount", "Target", "quantify", "quantities_from_dict"]


@dataclass(frozen=True, slots=True)
class RollCount:
    """Rolls of one type for the van.

    lower_bound: no cutting plan of these pieces gets by with fewer; proved_optimal: count equals
    it. laid_area_m2: floor that ends up under wool; waste_m2: the rest of the rolls, of which
    offcut_m2 is left whole in rectangles 300 mm long or more, for the next job. joints: butt joints
    beyond those that the floor asks for.
    """

    roll: str
    name: str
    count: int
    lower_bound: int
    proved_optimal: bool
    laid_area_m2: float
    waste_m2: float
    joints: int = 0
    offcut_m2: float = 0.0


@dataclass(frozen=True, slots=True)
class AreaWaste:
    """What one area of the loft takes [m2 of wool, all layers together].

    laid_m2: wool as it lies; cut_m2: as cut from the rolls; waste_m2: the difference, which is
    trimmed off round obstacles, at slanting edges and for the snug fit. What is left on the rolls
    belongs to no area: see `RollCount.waste_m2`.
    """

    area: str
    laid_m2: float
    cut_m2: float
    waste_m2: float


@dataclass(frozen=True, slots=True)
class Quantities:
    """Everything a job takes. U-values in W/m2K, weighted by area; depths in mm by area name.

    strips are in laying order: they are the cut list. unreached and cautions are in `warnings`.
    area_waste: for each area in which anything is laid, in the loft's order.
    """

    engine_version: str
    target: Target
    net_area_m2: float
    layers: tuple[Layer, ...]
    strips: tuple[Strip, ...]
    rolls: tuple[RollCount, ...]
    accessories: tuple[AccessoryLine, ...]
    labour: Labour
    u_before: float
    u_after: float
    resulting_depth_mm: Mapping[str, float]
    packed_volume_m3: float
    explanation: tuple[str, ...]
    warnings: tuple[str, ...]
    area_waste: tuple[AreaWaste, ...] = ()

    def to_dict(self) -> dict[str, Plain]:
        """JSON-able; `quantities_from_dict` reads it back."""
        return plain_dict(self)


def quantify(
    loft: Loft,
    target: Target,
    catalogue: Sequence[RollType] = INVENTED_CATALOGUE,
    *,
    objective: Objective = "cost",
    seconds: float = 1.0,
) -> Quantities:
    """Quantities of a loft for a target.

    objective: "cost" or "rolls". seconds: time for proving the counts of all roll types together; 0
    keeps to the quick plan and its bound, and says so in `proved_optimal`.
    Raises LoftError for a target or catalogue that cannot be used.
    """
    counted = best_counted(loft, target, catalogue, objective, seconds)
    choice, plans = counted.choice, counted.plans
    parts = in_laying_order(loft, [part for plan in plans for part in plan.parts])
    strips = with_notes(loft, choice.layers, strips_of(parts, roll_numbers(parts)))
    rolls = tuple(_roll_count(plan, roll_by_code(catalogue, plan.roll)) for plan in plans)
    u_before, u_after = _u_values(loft, choice, catalogue)
    return Quantities(
        engine_version=ENGINE_VERSION,
        target=target,
        net_area_m2=round(sum(net_polygon(loft, a).area for a in loft.areas) / MM2_PER_M2, 4),
        layers=choice.layers,
        strips=strips,
        rolls=rolls,
        accessories=accessories_for(loft, choice.layers),
        labour=labour_for(loft, choice.layers, len(strips)),
        u_before=u_before,
        u_after=u_after,
        resulting_depth_mm=dict(choice.resulting_depth_mm),
        packed_volume_m3=round(
            sum(r.count * roll_by_code(catalogue, r.roll).packed_volume_m3 for r in rolls), 3
        ),
        explanation=choice.explanation,
        warnings=choice.unreached + _mean_short(target, u_after),
        area_waste=_area_waste(loft, parts),
    )


def _roll_count(plan: CuttingPlan, roll: RollType) -> RollCount:
    laid = sum(piece.shape.area for piece, _ in plan.parts) / MM2_PER_M2
    return RollCount(
        roll.code,
        roll.name,
        plan.rolls,
        plan.lower_bound,
        plan.proved_optimal,
        round(laid, 4),
        round(plan.rolls * roll.area_m2 - laid, 4),
        plan.joints,
        round(sum(o.width_mm * o.length_mm for o in plan.packing.offcuts) / MM2_PER_M2, 4),
    )


def _area_waste(loft: Loft, parts: Sequence[Part]) -> tuple[AreaWaste, ...]:
    found: list[AreaWaste] = []
    for area in loft.areas:
        mine = [piece for piece, _ in parts if piece.area == area.name]
        laid = sum(piece.shape.area for piece in mine) / MM2_PER_M2
        cut = sum(piece.length_mm * piece.width_mm for piece in mine) / MM2_PER_M2
        if mine:
            found.append(AreaWaste(area.name, round(laid, 4), round(cut, 4), round(cut - laid, 4)))
    return tuple(found)


def _u_values(
    loft: Loft, choice: LayerChoice, catalogue: Sequence[RollType]
) -> tuple[float, float]:
    """Mean U-value before and after [W/m2K]."""
    before: dict[str, tuple[LaidWool, ...]] = {}
    after: dict[str, tuple[LaidWool, ...]] = {}
    for area in loft.areas:
        was, stays = area.existing_depth_mm, area.kept_depth_mm
        lambda_w = area.existing_conductivity_w_mk
        before[area.name] = (
            (LaidWool(was, lambda_w, "between_joists", existing=True),) if was else ()
        )
        kept = (LaidWool(stays, lambda_w, "between_joists", existing=True),) if stays else ()
        after[area.name] = kept + tuple(
            LaidWool(
                layer.thickness_mm,
                roll_by_code(catalogue, layer.roll).conductivity_w_mk,
                layer.kind,
                layer.covers,
            )
            for layer in choice.layers
            if layer.area == area.name
        )
    hatch_mm = HATCH_INSULATION_MM if choice.layers else 0.0
    heat_after = loft_u_values(loft, after, hatch_insulation_mm=hatch_mm)
    return (
        round(loft_u_values(loft, before).mean_u_value_w_m2k, 4),
        round(heat_after.mean_u_value_w_m2k, 4),
    )


def _mean_short(target: Target, u_after: float) -> tuple[str, ...]:
    """Says when the mean, low eaves, tank, deck and hatch included, misses a U-value target."""
    if target.u_value_w_m2k is None or u_after <= target.u_value_w_m2k:
        return ()
    return (
        f"Eaves, tanks, decks and hatch included the mean is {u_after:.3f} W/m2K, "
        f"{u_after - target.u_value_w_m2k:.3f} above {target}, which the open floor is held to.",
    )


def quantities_from_dict(data: Mapping[str, object]) -> Quantities:
    """Quantities as `to_dict` wrote them."""
    from calculations.quantities_json import read_quantities

    return read_quantities(data)
