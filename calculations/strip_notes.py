"""What a crew has to mind with a single strip: ends beneath the eaves tray, notches round rafters.

A rafter's underside rises from the wall plate (height 0) by the pitch. Wool that lies across the
joists and reaches above it is notched round every rafter there (common practice, no published
source). Between the joists the rafters stand beside the joists, so that nothing is said of them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from calculations.cutting import Strip
from calculations.headroom import distance_for_mm
from calculations.layers import Layer
from calculations.loft import Loft, LoftArea, Roof

NOTCH = "notch round the rafters at the eaves"
TRAY = "end beneath the eaves tray, pressed no more than it must be"
NEAR_MM = 1.0
"""A strip that only touches the line where its layer clears the rafters is not notched."""


def with_notes(loft: Loft, layers: Sequence[Layer], strips: Sequence[Strip]) -> tuple[Strip, ...]:
    """The strips, each with what is to be minded at the eaves in its `note`."""
    by_name = {area.name: area for area in loft.areas}
    edges = {name: _eaves(area) for name, area in by_name.items()}
    laid = {(layer.area, layer.number, layer.roll): layer for layer in layers}
    return tuple(
        replace(
            strip,
            note=_note(loft.roof, laid[strip.area, strip.layer, strip.roll], edges, strip),
        )
        for strip in strips
    )


def rafters_reach_mm(roof: Roof, top_mm: float) -> float:
    """Distance from the wall plate [mm] within which rafters come down below `top_mm`."""
    return top_mm / math.tan(math.radians(roof.pitch_deg))


def note_lines(strips: Sequence[Strip]) -> list[str]:
    """Each note once, with the numbers of its strips: "Notch ...: strips 58 to 61, 70"."""
    numbers: dict[str, list[int]] = {}
    for strip in strips:
        if strip.note:
            numbers.setdefault(strip.note, []).append(strip.number)
    return [
        f"{note[0].upper()}{note[1:]}: strip{'s' if len(found) > 1 else ''} {_ranges(found)}"
        for note, found in numbers.items()
    ]


def _ranges(numbers: Sequence[int]) -> str:
    runs: list[list[int]] = []
    for number in sorted(numbers):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(f"{r[0]} to {r[-1]}" if len(r) > 1 else str(r[0]) for r in runs)


def _eaves(area: LoftArea) -> BaseGeometry:
    return unary_union([LineString(area.edge_mm(index)) for index in area.eaves_edges])


def _note(roof: Roof, layer: Layer, edges: dict[str, BaseGeometry], strip: Strip) -> str:
    if edges[strip.area].is_empty:
        return ""
    away_mm = Polygon(strip.outline_mm).distance(edges[strip.area]) + NEAR_MM
    if layer.kind == "across_joists":
        return NOTCH if away_mm < rafters_reach_mm(roof, layer.top_mm) else ""
    if layer.end_pressed and away_mm < distance_for_mm(roof, layer.top_mm):
        return TRAY
    return ""
