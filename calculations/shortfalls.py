"""Where the target cannot be reached, and by how much: eaves, decks, tanks, low roofs.

Everything is said in words with a place, a size and a remedy where there is one.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from shapely.geometry.base import BaseGeometry

from calculations.headroom import (
    END_SHARE,
    SQUEEZE_SHARE,
    distance_for_mm,
    room_beneath_mm,
    room_mm,
    where_fits,
)
from calculations.loft import Loft, LoftArea, Obstacle, ObstacleKind, net_polygon
from calculations.outlines import MM2_PER_M2, polygonal
from calculations.stacks import Stack, Target

if TYPE_CHECKING:
    from calculations.layers import Layer

LEAST_M2 = 0.02


def where_laid(loft: Loft, area: LoftArea, layer: Layer, layers: Sequence[Layer]) -> BaseGeometry:
    """The floor [mm] that a layer covers: net of obstacles, within the height there is.

    A layer runs beneath a deck when it fits there, squeezed to SQUEEZE_SHARE at most. A starter
    covers what lies between where it fits and where its thicker neighbour in `layers` does. The
    lowest layer runs on towards the wall plate, its end pressed (see `pressed_from_mm`).
    """
    top_mm = layer.top_mm
    if layer.end_pressed:
        top_mm = layer.base_mm + END_SHARE * layer.thickness_mm
    place = where_fits(area, loft.roof, top_mm).intersection(net_polygon(loft, area))
    if layer.covers == "eaves":
        for other in layers:
            if (other.area, other.number, other.covers) == (area.name, layer.number, "middle"):
                place = place.difference(where_fits(area, loft.roof, other.top_mm))
    for deck in decks(loft):
        least_top = layer.base_mm + SQUEEZE_SHARE * layer.thickness_mm
        if room_beneath_mm(deck, area) < least_top - 1e-6:
            place = place.difference(deck.polygon())
    return polygonal(place)


def decks(loft: Loft) -> tuple[Obstacle, ...]:
    """The raised or boarded decks of a loft."""
    return tuple(o for o in loft.obstacles if o.kind is ObstacleKind.DECK)


def places_short(
    loft: Loft,
    area: LoftArea,
    target: Target,
    stack: Stack,
    layers: Sequence[Layer],
    reached_mm: float,
) -> list[str]:
    """Sentences on every place of an area that stays short of the target.

    reached_mm: depth of wool where the roof is highest, less than the stack's under a low roof.
    """
    if reached_mm < stack.depth_mm - 1e-6:
        lines = [
            f"{area.name}: nowhere is the roof high enough for {stack.depth_mm:g} mm with the "
            f"50 mm air path: {reached_mm:g} mm at most, {stack.depth_mm - reached_mm:g} mm "
            "short. Choose wool of lower conductivity, or insulate along the rafters."
        ]
    else:
        lines = _open_floor_short(area, target, stack) + _eaves_short(loft, area, stack)
    lines += _decks_short(loft, area, stack, layers)
    lines += _tanks_short(loft, area)
    return lines


def _open_floor_short(area: LoftArea, target: Target, stack: Stack) -> list[str]:
    missed = target.shortfall(stack.depth_mm, stack.u_value_w_m2k)
    if missed <= 1e-9:
        return []
    has = (
        f"{stack.depth_mm:g} mm"
        if target.depth_mm is not None
        else f"{stack.u_value_w_m2k:.3f} W/m2K"
    )
    by = f"{missed:g} mm" if target.depth_mm is not None else f"{missed:.3f} W/m2K"
    return [
        f"{area.name}: the open floor reaches {has}, {by} short of {target}; the catalogue has no "
        "thicker or better roll."
    ]


def _eaves_short(loft: Loft, area: LoftArea, stack: Stack) -> list[str]:
    distance_mm = distance_for_mm(loft.roof, stack.top_mm)
    if distance_mm <= 0 or not area.eaves_edges:
        return []
    open_floor = where_fits(area, loft.roof, stack.top_mm)
    low_m2 = (area.floor().area - open_floor.area) / MM2_PER_M2
    if low_m2 < LEAST_M2:
        return []
    at_plate = min(room_mm(loft.roof, 0), stack.depth_mm)
    return [
        f"{area.name}: within {distance_mm:.0f} mm of the wall plate ({low_m2:.1f} m2) the roof "
        f"leaves room for {at_plate:.0f} mm at the plate, rising to {stack.depth_mm:g} mm: up to "
        f"{stack.depth_mm - at_plate:.0f} mm short, so that the 50 mm air path stays free."
    ]


def _decks_short(loft: Loft, area: LoftArea, stack: Stack, layers: Sequence[Layer]) -> list[str]:
    lines: list[str] = []
    for deck in decks(loft):
        size_m2 = deck.polygon().intersection(area.floor()).area / MM2_PER_M2
        room = room_beneath_mm(deck, area)
        if size_m2 < LEAST_M2 or room >= stack.top_mm - 1e-6:
            continue
        depth, squeezed = depth_beneath_mm(deck, area, layers)
        line = (
            f"{area.name}: beneath {deck.name} ({size_m2:.1f} m2) there is room for {room:g} mm: "
            f"{depth:g} mm of wool, {stack.depth_mm - depth:g} mm short. Raise the deck to "
            f"{stack.top_mm:g} mm or more so that nothing is squeezed."
        )
        if squeezed:
            line += f" {squeezed.roll} is squeezed there and loses resistance in proportion."
        lines.append(line)
    return lines


def depth_beneath_mm(
    deck: Obstacle, area: LoftArea, layers: Sequence[Layer]
) -> tuple[float, Layer | None]:
    """Depth of wool beneath a deck [mm], and the layer that is squeezed there, if any.

    A squeezed layer keeps its declared conductivity over its lesser depth, so that R = d / lambda
    (ISO 6946:2017, equation 3) falls in proportion to depth. That is on the safe side: light
    mineral wool conducts a little less for each millimetre when it is denser.
    """
    room = room_beneath_mm(deck, area)
    depth, squeezed = area.kept_depth_mm, None
    for layer in layers:
        if layer.covers == "eaves" or room < layer.base_mm + SQUEEZE_SHARE * layer.thickness_mm:
            continue
        depth += min(layer.thickness_mm, room - layer.base_mm)
        if room < layer.top_mm - 1e-6:
            squeezed = layer
    return depth, squeezed


def _tanks_short(loft: Loft, area: LoftArea) -> list[str]:
    lines: list[str] = []
    for tank in loft.obstacles:
        size_m2 = tank.polygon().intersection(area.floor()).area / MM2_PER_M2
        if tank.kind is ObstacleKind.TANK and size_m2 >= LEAST_M2:
            lines.append(
                f"{area.name}: nothing is laid beneath {tank.name} ({size_m2:.1f} m2), so that "
                "warmth from below keeps it from freezing; its sides and lid get a jacket."
            )
    return lines
