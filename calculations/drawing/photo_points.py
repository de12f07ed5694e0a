"""Where photos are taken, so that before and after show the same places.

Which views a scheme wants differs; these are common practice: the whole of each area, depth
against a gauge, and every place where work can go wrong unseen.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from shapely import LineString, Point
from shapely.geometry.base import BaseGeometry
from shapely.ops import polylabel

from calculations.headroom import eaves_runs
from calculations.loft import (
    Fixture,
    FixtureKind,
    Loft,
    LoftArea,
    Obstacle,
    ObstacleKind,
    net_polygon,
)

Moment = Literal["before", "after", "both"]

STAND_OFF_MM = 450.0
CLEARANCE_MM = 250.0


@dataclass(frozen=True, slots=True)
class PhotoPoint:
    """A place [mm] to photograph, when, and why. Labels are P1, P2, ... in a fixed order."""

    label: str
    x_mm: float
    y_mm: float
    moment: Moment
    why: str


View = tuple[tuple[float, float], Moment, str]


def photo_points(loft: Loft) -> tuple[PhotoPoint, ...]:
    """The photos that show this loft's work, the same for the same loft every time.

    For each area a view over the whole from its corner nearest the hatch, and one of depth
    against a gauge in its middle; each run of eaves; each obstacle; each cable under high
    load, light, fan and pipe. Positions are on the floor, whole millimetres.
    """
    views: list[View] = []
    for area in loft.areas:
        views += _of_area(loft, area)
    for item in loft.obstacles:
        views.append(_of_obstacle(loft, item))
    for fixture in loft.fixtures:
        if fixture.kind is not FixtureKind.CABLE or fixture.high_load:
            views.append(_of_fixture(fixture))
    return tuple(
        PhotoPoint(f"P{i}", float(round(x)), float(round(y)), moment, why)
        for i, ((x, y), moment, why) in enumerate(views, start=1)
    )


def _of_area(loft: Loft, area: LoftArea) -> list[View]:
    floor = net_polygon(loft, area)
    if floor.is_empty:
        floor = area.floor()
    hatches = [o.polygon().centroid for o in loft.obstacles if o.kind is ObstacleKind.HATCH]
    start = hatches[0] if hatches else Point(0, 0)
    shrunk: BaseGeometry = floor.buffer(-CLEARANCE_MM)
    inner = floor if shrunk.is_empty else shrunk
    corners = [_on_floor(inner, Point(corner)) for corner in area.outline_mm]
    corner = min(corners, key=lambda p: (math.dist(p, (start.x, start.y)), p))
    views: list[View] = [
        (corner, "both", f"{area.name}: the whole floor from this corner"),
        (_middle(inner), "both", f"{area.name}: depth against a gauge"),
    ]
    for run in eaves_runs(area):
        for side in zip(run, run[1:], strict=False):
            centre = LineString(side).interpolate(0.5, normalized=True)
            why = f"{area.name}: eaves, the air path open above the wool"
            views.append((_on_floor(inner, centre), "after", why))
    return views


def _of_obstacle(loft: Loft, item: Obstacle) -> View:
    moment: Moment
    if item.kind is ObstacleKind.HATCH:
        moment, why = "both", "insulated and draught-sealed"
    elif item.kind is ObstacleKind.TANK:
        moment, why = "both", "jacket on, nothing laid beneath"
    elif item.kind is ObstacleKind.DECK:
        moment, why = "both", "wool runs on beneath, not pressed"
    else:
        moment, why = "after", "cut round, no gap"
    words = f"{item.name}: {why}"
    outline = item.polygon()
    if item.kind is ObstacleKind.HATCH:
        return (outline.centroid.x, outline.centroid.y), moment, words
    return _beside(loft, outline), moment, words


def _beside(loft: Loft, shape: BaseGeometry) -> tuple[float, float]:
    """A place on open floor a little off `shape`, on the side with most room."""
    low_x, low_y, high_x, high_y = shape.bounds
    middle_x, middle_y = (low_x + high_x) / 2, (low_y + high_y) / 2
    around = [
        (middle_x, low_y - STAND_OFF_MM),
        (high_x + STAND_OFF_MM, middle_y),
        (middle_x, high_y + STAND_OFF_MM),
        (low_x - STAND_OFF_MM, middle_y),
    ]
    floors = [net_polygon(loft, area).buffer(-CLEARANCE_MM / 2) for area in loft.areas]
    free = [p for p in around if any(f.covers(Point(p)) for f in floors)]
    return free[0] if free else (shape.centroid.x, shape.centroid.y)


def _of_fixture(item: Fixture) -> View:
    x, y = item.x_mm, item.y_mm
    if item.to_x_mm is not None and item.to_y_mm is not None:
        x, y = (x + 2 * item.to_x_mm) / 3, (y + 2 * item.to_y_mm) / 3
    words = {
        FixtureKind.CABLE: "on top of the full depth, or as the electrician says",
        FixtureKind.DOWNLIGHT: "covered as the cover's maker says",
        FixtureKind.FAN: "ducted to the outside, duct insulated",
        FixtureKind.PIPE: "lagged along its run",
    }[item.kind]
    return (x, y), "after", f"{item.name}: {words}"


def _middle(floor: BaseGeometry) -> tuple[float, float]:
    """The centroid where that lies on the floor, else the middle of its widest part."""
    centre = floor.centroid
    if not floor.covers(centre):
        widest = max(getattr(floor, "geoms", [floor]), key=lambda part: float(part.area))
        centre = polylabel(widest, tolerance=50)
    return centre.x, centre.y


def _on_floor(floor: BaseGeometry, point: Point) -> tuple[float, float]:
    """`point`, or the place on `floor` nearest to it."""
    if floor.covers(point):
        return point.x, point.y
    boundary = floor.boundary
    near = boundary.interpolate(boundary.project(point))
    return near.x, near.y
