"""What one step of the laying needs: its drawings, its strips in the order of laying, its parts."""

from __future__ import annotations

from dataclasses import dataclass

from calculations.accessories import AccessoryLine
from calculations.cutting import Strip
from calculations.drawing import draw_layer
from calculations.quantities import Quantities, quantities_from_dict
from jobs.lofts import loft_of
from jobs.models import LayerPlan, WorkStep

PARTS: dict[str, tuple[str, ...]] = {
    WorkStep.Kind.EAVES: ("eaves_tray",),
    WorkStep.Kind.FIRST_LAYER: (
        "sealant", "sealing_tape", "downlight_cover", "flue_guard", "fan_duct",
    ),
    WorkStep.Kind.CROSS_LAYERS: ("cable_clip", "cable_on_top", "deck_support"),
    WorkStep.Kind.HATCH_AND_TANK: (
        "hatch_insulation", "draught_strip", "hatch_catch", "tank_jacket", "pipe_lagging",
    ),
}  # fmt: skip
"""Accessories (`calculations.accessories`) by the step at which they are in the hand."""


@dataclass(frozen=True, slots=True)
class StepLayer:
    """One layer as this step sees it. sentence: what is laid and how thick."""

    number: int
    sentence: str
    svg: str
    strips: tuple[Strip, ...]


@dataclass(frozen=True, slots=True)
class StepSheet:
    """layers: the drawings of this step; parts: what else is fitted at it."""

    layers: tuple[StepLayer, ...]
    parts: tuple[AccessoryLine, ...]

    @property
    def strip_count(self) -> int:
        return sum(len(layer.strips) for layer in self.layers)

    @property
    def wool_m(self) -> float:
        """Length of all strips [m]."""
        return sum(strip.length_mm for layer in self.layers for strip in layer.strips) / 1000


def step_sheet(plan: LayerPlan, step: str) -> StepSheet:
    """The drawings, strips and parts of a step, from the job's layer plan."""
    quantities = quantities_from_dict(plan.quantities)
    loft = loft_of(plan.survey)
    layers = [
        StepLayer(number, _sentence(quantities, number), draw_layer(loft, quantities, number), own)
        for number in sorted({layer.number for layer in quantities.layers})
        if (own := _strips(quantities, number, step))
    ]
    wanted = PARTS[step]
    parts = tuple(line for line in quantities.accessories if line.item in wanted)
    return StepSheet(tuple(layers), parts)


def _strips(quantities: Quantities, number: int, step: str) -> tuple[Strip, ...]:
    """The strips of a layer that are laid at this step, each strip at exactly one.

    The eaves lengths of the lowest layer come first, whichever way it lies; of everything else
    the layers between the joists, then those across them.
    """
    lowest = min(layer.number for layer in quantities.layers)
    across = {(la.area, la.number) for la in quantities.layers if la.kind == "across_joists"}

    def step_of(strip: Strip) -> str:
        if strip.zone == "eaves" and strip.layer == lowest:
            return WorkStep.Kind.EAVES
        crossing = (strip.area, strip.layer) in across
        return WorkStep.Kind.CROSS_LAYERS if crossing else WorkStep.Kind.FIRST_LAYER

    return tuple(s for s in quantities.strips if s.layer == number and step_of(s) == step)


def _sentence(quantities: Quantities, number: int) -> str:
    words = {
        f"{layer.thickness_mm:.0f} mm "
        f"{'across' if layer.kind == 'across_joists' else 'between'} the joists ({layer.area})"
        for layer in quantities.layers
        if layer.number == number
    }
    return "; ".join(sorted(words))
