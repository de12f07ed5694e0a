"""A layer plan made ready to read: one drawing a layer, the cut list by layer, figures."""

from __future__ import annotations

from dataclasses import dataclass

from calculations.drawing import draw_layer
from calculations.heat import ceiling_area_m2
from calculations.layers import Layer
from calculations.loft import Loft
from calculations.moisture import MoistureNote, check_moisture
from calculations.quantities import Quantities, quantities_from_dict
from calculations.savings import Saving, yearly_saving
from jobs.lofts import loft_of
from jobs.models import LayerPlan

MEAN_CLIMATE = "uk_average"
KINDS = {"between_joists": "between the joists", "across_joists": "across the joists"}


@dataclass(frozen=True, slots=True)
class LayerDrawing:
    """One layer over the whole loft: its number, a sentence, its SVG and its strips."""

    number: int
    sentence: str
    svg: str
    strips: tuple[object, ...]


@dataclass(frozen=True, slots=True)
class LayerSheet:
    loft: Loft
    quantities: Quantities
    layers: tuple[LayerDrawing, ...]
    moisture: tuple[MoistureNote, ...]
    layer_depths_mm: tuple[float, ...]
    existing_mm: float

    @property
    def saving(self) -> Saving:
        """What the layers save in a year of the UK's mean climate, worked out when asked for."""
        return yearly_saving(
            self.quantities.u_before,
            self.quantities.u_after,
            ceiling_area_m2(self.loft),
            MEAN_CLIMATE,
        )


def layer_sheet(plan: LayerPlan) -> LayerSheet:
    """Everything the layer plan's page and the installer's drawing show."""
    loft = loft_of(plan.survey)
    quantities = quantities_from_dict(plan.quantities)
    numbers = sorted({layer.number for layer in quantities.layers})
    first = loft.areas[0]
    return LayerSheet(
        loft=loft,
        quantities=quantities,
        layers=tuple(_drawing(loft, quantities, number) for number in numbers),
        moisture=check_moisture(loft, quantities.layers),
        layer_depths_mm=tuple(
            layer.thickness_mm
            for layer in quantities.layers
            if layer.area == first.name and layer.covers != "eaves"
        ),
        existing_mm=0.0 if first.existing_condition == "remove" else first.existing_depth_mm,
    )


def _drawing(loft: Loft, quantities: Quantities, number: int) -> LayerDrawing:
    layers = [layer for layer in quantities.layers if layer.number == number]
    return LayerDrawing(
        number=number,
        sentence="; ".join(dict.fromkeys(_sentence(layer) for layer in layers)),
        svg=draw_layer(loft, quantities, number),
        strips=tuple(strip for strip in quantities.strips if strip.layer == number),
    )


def _sentence(layer: Layer) -> str:
    where = "" if layer.covers == "full" else f", {layer.covers}"
    return f"{layer.thickness_mm:.0f} mm {KINDS[layer.kind]}{where} ({layer.area})"
