"""Where in a loft area the insulation differs: open floor, eaves, hatch, tank, deck.

The rules are those of the layer plan: a layer lies where its upper face leaves the air path free
(calculations.headroom), the lowest one on towards the wall plate with its end pressed, a thin
starter where its thicker neighbour does not fit, nothing beneath a tank, and beneath a deck what
fits or can be squeezed to three quarters. A pressed end counts with its mean depth.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from shapely import union_all
from shapely.geometry.base import BaseGeometry

from calculations.ceilings import LaidWool
from calculations.headroom import (
    SQUEEZE_SHARE,
    distance_for_mm,
    eaves_band,
    pressed_from_mm,
    room_beneath_mm,
    room_mm,
)
from calculations.loft import Loft, LoftArea, ObstacleKind, Roof
from calculations.outlines import MM2_PER_M2


class ZoneKind(StrEnum):
    OPEN = "open"
    EAVES = "eaves"
    HATCH = "hatch"
    TANK = "tank"
    DECK = "deck"


@dataclass(frozen=True, slots=True)
class Zone:
    """A part of an area's floor with one build-up; the wool lowest first."""

    kind: ZoneKind
    area_m2: float
    wool: tuple[LaidWool, ...]


@dataclass(frozen=True, slots=True)
class PlacedWool:
    """A layer with the height of its lower face over the ceiling, and its reach [mm].

    It lies from starts_mm to ends_mm from the wall plate, and is pressed as far as full_mm.
    """

    layer: LaidWool
    base_mm: float
    starts_mm: float
    full_mm: float
    ends_mm: float
    roof: Roof

    def at(self, distance_mm: float) -> LaidWool | None:
        """It as it lies at that distance from the wall plate [mm], or None where it does not."""
        if not self.starts_mm <= distance_mm or distance_mm >= self.ends_mm < math.inf:
            return None
        if distance_mm >= self.full_mm:
            return self.layer
        return replace(self.layer, thickness_mm=room_mm(self.roof, distance_mm) - self.base_mm)

    def beneath(self, room_mm: float) -> LaidWool | None:
        """What is left of it where there is room_mm of height; None where it is not laid."""
        room = room_mm - self.base_mm
        if self.layer.existing:
            return replace(self.layer, thickness_mm=max(0.0, min(self.layer.thickness_mm, room)))
        if self.layer.covers == "eaves" or room < SQUEEZE_SHARE * self.layer.thickness_mm - 1e-6:
            return None
        return replace(self.layer, thickness_mm=min(self.layer.thickness_mm, room))


def zones_of(loft: Loft, area: LoftArea, wool: Sequence[LaidWool]) -> tuple[Zone, ...]:
    """Split an area's floor, chimneys left out, into zones that do not overlap.

    wool: lowest first; a starter right before the thicker layer that it makes way for.
    """
    placed = place_wool(area, loft.roof, wool)
    zones: list[Zone] = []
    left: BaseGeometry = area.floor().difference(_shapes(loft, ObstacleKind.CHIMNEY))
    left = _take(left, _shapes(loft, ObstacleKind.HATCH), ZoneKind.HATCH, (), zones)
    left = _take(left, _shapes(loft, ObstacleKind.TANK), ZoneKind.TANK, (), zones)
    for deck in loft.obstacles:
        if deck.kind is ObstacleKind.DECK:
            beneath = [p.beneath(room_beneath_mm(deck, area)) for p in placed]
            kept = tuple(layer for layer in beneath if layer is not None)
            left = _take(left, deck.polygon(), ZoneKind.DECK, kept, zones)
    low_mm = 0.0
    for high_mm in _steps_mm(placed) if area.eaves_edges else ():
        there = wool_at(placed, (low_mm + high_mm) / 2)
        left = _take(left, eaves_band(area, high_mm), ZoneKind.EAVES, there, zones)
        low_mm = high_mm
    _take(left, left, ZoneKind.OPEN, wool_at(placed, math.inf), zones)
    return tuple(reversed(zones))


def place_wool(area: LoftArea, roof: Roof, wool: Sequence[LaidWool]) -> list[PlacedWool]:
    """Where each layer lies: its height, and how near to the wall plate it may come."""
    placed: list[PlacedWool] = []
    base_mm = 0.0
    lowest = next((i for i, layer in enumerate(wool) if not layer.existing), None)
    for number, layer in enumerate(wool):
        if layer.kind == "across_joists":
            base_mm = max(base_mm, area.joist_depth_mm)
        full_mm, ends_mm = distance_for_mm(roof, base_mm + layer.thickness_mm), math.inf
        starts_mm = full_mm
        if layer.existing:
            starts_mm = full_mm = 0.0
        elif number == lowest and layer.kind == "between_joists":
            starts_mm = pressed_from_mm(roof, base_mm, layer.thickness_mm)
        if layer.covers == "eaves":
            thicker = wool[number + 1] if number + 1 < len(wool) else layer
            ends_mm = distance_for_mm(roof, base_mm + thicker.thickness_mm)
        placed.append(PlacedWool(layer, base_mm, starts_mm, full_mm, ends_mm, roof))
        if layer.covers != "eaves":
            base_mm += layer.thickness_mm
    return placed


def _steps_mm(placed: Sequence[PlacedWool]) -> list[float]:
    """Distances from the plate at which the build-up changes [mm], nearest first."""
    ends = {end for p in placed for end in (p.starts_mm, p.full_mm, p.ends_mm)}
    return sorted(end for end in ends if 0 < end < math.inf)


def wool_at(placed: Sequence[PlacedWool], distance_mm: float) -> tuple[LaidWool, ...]:
    """The layers as they lie at that distance from the wall plate [mm], lowest first."""
    return tuple(layer for p in placed if (layer := p.at(distance_mm)) is not None)


def _shapes(loft: Loft, kind: ObstacleKind) -> BaseGeometry:
    return union_all([o.polygon() for o in loft.obstacles if o.kind is kind])


def _take(
    left: BaseGeometry,
    shape: BaseGeometry,
    kind: ZoneKind,
    wool: tuple[LaidWool, ...],
    zones: list[Zone],
) -> BaseGeometry:
    """Move what `shape` covers from `left` to `zones`; returns what is left."""
    part = left.intersection(shape)
    if part.area > 0:
        zones.append(Zone(kind, part.area / MM2_PER_M2, wool))
    return left.difference(shape)
