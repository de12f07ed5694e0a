"""Room for insulation beneath the roof: how deep it may lie at every distance from the eaves.

The outline's eaves edge is the inner edge of the wall plate, where the underside of the rafters
meets the top of the plate and the joists stand (height 0). At distance x from it the underlay,
which lies on top of the rafters, is at the height

    h(x) = x tan(pitch) + rafter_depth / cos(pitch)

(plane geometry). The air path between wool and underlay, 50 mm measured square to the slope, takes
50 / cos(pitch) of it (common practice, also in secondary pages on cold roofs; BS 5250 asks for the
opening, not for this gap).
"""

from __future__ import annotations

import math

from shapely import LineString
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from calculations.loft import LoftArea, Obstacle, Roof
from calculations.outlines import Outline

AIR_GAP_MM = 50.0
"""Air path kept free beneath the underlay, square to the slope [mm]."""
SQUEEZE_SHARE = 0.75
"""Beneath a deck a layer may be squeezed to this share of its thickness, where unavoidable
(common practice, no published source)."""
END_SHARE = 0.5
"""The end of the lowest new layer may be pressed to this share of its thickness beneath the eaves
tray, to reach the head of the wall insulation (common practice, no published source)."""


def height_mm(roof: Roof, distance_mm: float) -> float:
    """Height of the underlay over the ceiling [mm] at `distance_mm` from the eaves edge."""
    pitch = math.radians(roof.pitch_deg)
    return distance_mm * math.tan(pitch) + roof.rafter_depth_mm / math.cos(pitch)


def room_mm(roof: Roof, distance_mm: float, air_gap_mm: float = AIR_GAP_MM) -> float:
    """Greatest depth of insulation [mm] at that distance, the air gap kept; never below 0."""
    gap_mm = air_gap_mm / math.cos(math.radians(roof.pitch_deg))
    return max(0.0, height_mm(roof, distance_mm) - gap_mm)


def distance_for_mm(roof: Roof, top_mm: float, air_gap_mm: float = AIR_GAP_MM) -> float:
    """Distance from the eaves edge [mm] beyond which wool may reach up to `top_mm`."""
    pitch = math.radians(roof.pitch_deg)
    at_plate = (roof.rafter_depth_mm - air_gap_mm) / math.cos(pitch)
    return max(0.0, (top_mm - at_plate) / math.tan(pitch))


def pressed_from_mm(
    roof: Roof, base_mm: float, thickness_mm: float, air_gap_mm: float = AIR_GAP_MM
) -> float:
    """How near to the eaves edge [mm] wool on `base_mm` may come, its end pressed by the tray.

    The tray keeps the air path and presses no more than it must: at distance x the wool is as deep
    as there is room, down to END_SHARE of its thickness, where it ends.
    """
    return distance_for_mm(roof, base_mm + END_SHARE * thickness_mm, air_gap_mm)


def room_beneath_mm(deck: Obstacle, area: LoftArea) -> float:
    """Height free for wool beneath a deck [mm]: its underside, or the joists it lies on."""
    return area.joist_depth_mm if deck.underside_mm is None else deck.underside_mm


def eaves_runs(area: LoftArea) -> tuple[Outline, ...]:
    """Eaves edges of an area joined into runs, so that a corner between two is one corner."""
    marked = set(area.eaves_edges)
    count = len(area.outline_mm)
    if len(marked) == count:
        return ((*area.outline_mm, area.outline_mm[0]),)
    runs: list[Outline] = []
    for start in sorted(edge for edge in marked if (edge - 1) % count not in marked):
        corners = [area.outline_mm[start]]
        edge = start
        while edge in marked:
            corners.append(area.outline_mm[(edge + 1) % count])
            edge = (edge + 1) % count
        runs.append(tuple(corners))
    return tuple(runs)


def eaves_band(area: LoftArea, width_mm: float) -> BaseGeometry:
    """The floor within `width_mm` of the eaves edges, square to them (empty for no eaves).

    In the valley of an L-shaped roof the corner counts as near both edges, which is the safe side.
    """
    bands = [
        LineString(run).buffer(width_mm, cap_style="flat", join_style="mitre", mitre_limit=5)
        for run in eaves_runs(area)
        if width_mm > 0
    ]
    return unary_union(bands).intersection(area.floor())


def where_fits(area: LoftArea, roof: Roof, top_mm: float) -> BaseGeometry:
    """The floor of the area over which wool may reach up to `top_mm` with the air gap kept."""
    distance_mm = distance_for_mm(roof, top_mm)
    if distance_mm <= 0 or not area.eaves_edges:
        return area.floor()
    return area.floor().difference(eaves_band(area, distance_mm))
