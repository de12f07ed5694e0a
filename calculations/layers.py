"""Existing depth and a target to layers: what is laid where, why, and what cannot be reached.

The first layer fills the joist depth between the joists; the next lie at 90 degrees to the one
below. Where the roof is low a thinner roll starts at the eaves, the thicker one beside it as the
height grows, and the 50 mm air path stays free (see `calculations.headroom`). The lowest layer runs
on to the head of the wall insulation where it can: its end is pressed beneath the eaves tray, which
holds the air path, by no more than the roof asks for and to half at most.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from calculations.catalogue import RollType, check_catalogue
from calculations.headroom import distance_for_mm, pressed_from_mm, room_mm
from calculations.loft import Condition, Loft, LoftArea
from calculations.outlines import MM2_PER_M2
from calculations.shortfalls import LEAST_M2, places_short, where_laid
from calculations.stacks import Objective, RankedStacks, Stack, Target, rank_stacks

__all__ = [
    "Layer",
    "LayerChoice",
    "Objective",
    "Target",
    "choose_layers",
    "picked_layers",
    "rank_areas",
]

STARTER_MM = 150.0
"""A thinner roll starts at the eaves where it would cover at least this width (common practice)."""


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer of one area. Number 1 is the lowest new one; a starter shares its number.

    direction_deg: along which the strips run. base_mm: height of its lower face over the ceiling.
    """

    number: int
    area: str
    roll: str
    thickness_mm: float
    direction_deg: float
    kind: Literal["between_joists", "across_joists"]
    covers: Literal["full", "eaves", "middle"]
    base_mm: float = 0.0

    @property
    def top_mm(self) -> float:
        """Height of its upper face over the ceiling [mm]."""
        return self.base_mm + self.thickness_mm

    @property
    def end_pressed(self) -> bool:
        """Whether its end runs on to the wall plate beneath the eaves tray: the lowest new layer
        between the joists, or the starter in its place."""
        return self.number == 1 and self.kind == "between_joists" and self.covers != "middle"


@dataclass(frozen=True, slots=True)
class LayerChoice:
    """The layers, why these, and where the target is out of reach and by how much.

    resulting_depth_mm: wool on the open floor by area name, what stays included [mm].
    """

    layers: tuple[Layer, ...]
    explanation: tuple[str, ...]
    unreached: tuple[str, ...]
    resulting_depth_mm: Mapping[str, float]


def choose_layers(
    loft: Loft,
    target: Target,
    catalogue: Sequence[RollType],
    objective: Objective = "cost",
) -> LayerChoice:
    """Layers that reach the target on the open floor at the least cost or number of rolls.

    The price compared is that of a square metre of open floor; `calculations.quantities` counts the
    best few in whole rolls before it settles. Raises LoftError for an empty catalogue or a code
    used twice.
    """
    ranked = rank_areas(loft, target, catalogue, objective)
    picks = {area.name: 0 for area in loft.areas}
    return picked_layers(loft, target, catalogue, objective, ranked, picks)


def rank_areas(
    loft: Loft, target: Target, catalogue: Sequence[RollType], objective: Objective
) -> dict[str, RankedStacks]:
    """The stacks for each area by name, best first. Raises LoftError for a bad catalogue."""
    check_catalogue(catalogue)
    return {
        area.name: rank_stacks(area, loft.roof.underlay, target, tuple(catalogue), objective)
        for area in loft.areas
    }


def picked_layers(
    loft: Loft,
    target: Target,
    catalogue: Sequence[RollType],
    objective: Objective,
    ranked: Mapping[str, RankedStacks],
    picks: Mapping[str, int],
) -> LayerChoice:
    """The layers of one stack for each area, by its place in the ranking, and why."""
    layers: list[Layer] = []
    explanation = [
        _why(area, target, ranked[area.name], picks[area.name], objective) for area in loft.areas
    ]
    unreached: list[str] = []
    depths: dict[str, float] = {}
    for area in loft.areas:
        stack = ranked[area.name].stacks[picks[area.name]]
        laid = _with_room(loft, area, _layers_of(loft, area, stack, catalogue))
        layers += laid
        explanation += _why_starters(area, laid) + _why_pressed(loft, area, laid)
        depths[area.name] = area.kept_depth_mm + sum(
            layer.thickness_mm for layer in laid if layer.covers != "eaves"
        )
        unreached += places_short(loft, area, target, stack, laid, depths[area.name])
    return LayerChoice(tuple(layers), tuple(explanation), tuple(unreached), depths)


def _layers_of(
    loft: Loft, area: LoftArea, stack: Stack, catalogue: Sequence[RollType]
) -> list[Layer]:
    layers: list[Layer] = []
    base_mm = area.kept_depth_mm
    direction = area.joist_direction_deg
    kinds: list[tuple[RollType, Literal["between_joists", "across_joists"]]] = [
        *((roll, "between_joists") for roll in stack.between),
        *((roll, "across_joists") for roll in stack.across),
    ]
    for number, (roll, kind) in enumerate(kinds, start=1):
        if kind == "across_joists":
            base_mm = max(base_mm, area.joist_depth_mm)
            direction = (direction + 90) % 180
        starter = _starter(loft, area, base_mm, roll, stack, catalogue)
        if starter is not None:
            layers.append(_layer(number, area, starter, direction, kind, "eaves", base_mm))
        covers: Literal["full", "middle"] = "full" if starter is None else "middle"
        layers.append(_layer(number, area, roll, direction, kind, covers, base_mm))
        base_mm += roll.thickness_mm
    return layers


def _with_room(loft: Loft, area: LoftArea, layers: Sequence[Layer]) -> list[Layer]:
    """The layers for which there is room somewhere under the roof, up to the first that has none.

    A starter whose thicker neighbour fits nowhere covers all that there is room for.
    """
    kept: list[Layer] = []
    for layer in layers:
        if where_laid(loft, area, layer, layers).area >= LEAST_M2 * MM2_PER_M2:
            kept.append(layer)
        elif layer.covers == "middle" and kept and kept[-1].number == layer.number:
            kept[-1] = replace(kept[-1], covers="full")
            break
        elif layer.covers != "eaves":
            break
    return kept


def _layer(
    number: int,
    area: LoftArea,
    roll: RollType,
    direction: float,
    kind: Literal["between_joists", "across_joists"],
    covers: Literal["full", "eaves", "middle"],
    base_mm: float,
) -> Layer:
    return Layer(number, area.name, roll.code, roll.thickness_mm, direction, kind, covers, base_mm)


def _starter(
    loft: Loft,
    area: LoftArea,
    base_mm: float,
    roll: RollType,
    stack: Stack,
    catalogue: Sequence[RollType],
) -> RollType | None:
    """The thinner roll to start with at the eaves, if one is worth its work.

    Among rolls already used here, else all: the one that puts most wool into the low strip.
    """
    if not area.eaves_edges:
        return None
    thick_from = distance_for_mm(loft.roof, base_mm + roll.thickness_mm)

    def wool_mm2(thin: RollType) -> float:
        width = thick_from - distance_for_mm(loft.roof, base_mm + thin.thickness_mm)
        return width * thin.thickness_mm if width >= STARTER_MM else 0.0

    for choices in ((*stack.between, *stack.across), tuple(catalogue)):
        thinner = [r for r in choices if r.thickness_mm < roll.thickness_mm and wool_mm2(r) > 0]
        if thinner:
            return max(thinner, key=lambda r: (wool_mm2(r), -r.conductivity_w_mk, r.width_mm))
    return None


def _why(
    area: LoftArea, target: Target, ranks: RankedStacks, pick: int, objective: Objective
) -> str:
    stack = ranks.stacks[pick]
    stays = _what_stays(area)
    depth = f"{stack.depth_mm:g} mm of wool, {stack.u_value_w_m2k:.3f} W/m2K on the open floor"
    if not stack.between and not stack.across:
        return f"{area.name}: {stays}; that is {depth}, which reaches {target}: nothing is added."
    if not ranks.reached:
        return f"{area.name}: {stays}; nothing in the catalogue reaches {target}. Nearest: {stack}."
    unit = "cost" if objective == "cost" else "rolls"
    line = (
        f"{area.name}: {stays}; {stack}: {depth}. {ranks.considered} ways reach {target}; this one "
        f"takes {stack.price:.3f} ({unit}) for each m2"
    )
    if pick > 0:
        return f"{line}, the least {ranks.stacks[0].price:.3f} ({ranks.stacks[0]})."
    if len(ranks.stacks) > 1:
        line += f", the least; the next {ranks.stacks[1].price:.3f} ({ranks.stacks[1]})"
    return line + "."


def _what_stays(area: LoftArea) -> str:
    if area.existing_depth_mm <= 0:
        return "bare"
    words = {
        Condition.KEEP: "stays",
        Condition.LEVEL: "stays, levelled before anything is laid on it",
        Condition.REMOVE: "is taken out and counts for nothing",
    }
    return f"{area.existing_depth_mm:g} mm of existing wool {words[area.existing_condition]}"


def _why_starters(area: LoftArea, layers: Sequence[Layer]) -> list[str]:
    return [
        f"{area.name}: layer {low.number} starts with {low.roll} at the eaves, {high.roll} beside "
        "it as the height grows, so that 50 mm of air stays free beneath the roof."
        for low, high in zip(layers, layers[1:], strict=False)
        if low.covers == "eaves"
    ]


def _why_pressed(loft: Loft, area: LoftArea, layers: Sequence[Layer]) -> list[str]:
    """Says of the lowest layer that its end is pressed at the eaves, and how far it reaches."""
    if not area.eaves_edges:
        return []
    lines: list[str] = []
    for layer in layers:
        full_from = distance_for_mm(loft.roof, layer.top_mm)
        if not layer.end_pressed or full_from <= 0:
            continue
        begins = pressed_from_mm(loft.roof, layer.base_mm, layer.thickness_mm)
        end_mm = room_mm(loft.roof, begins) - layer.base_mm
        place = f"{begins:.0f} mm from the wall plate" if begins >= 0.5 else "the wall plate"
        lines.append(
            f"{area.name}: layer {layer.number} runs on to {place}, its last "
            f"{full_from - begins:.0f} mm pressed from {layer.thickness_mm:g} to {end_mm:.0f} mm "
            "beneath the eaves tray, which keeps 50 mm of air free; resistance falls with depth."
        )
    return lines
