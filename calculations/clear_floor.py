"""Where on a floor a depth gauge is best put down: off joists, cables, fittings and tanks.

A gauge that lands on a joist shows the depth over the joist, not over the ceiling; nothing is
pushed towards a cable or what gives off heat. The clearances are common practice with the
tolerance of a position typed or touched on a drawing added; no published source.
"""

from __future__ import annotations

from shapely import LineString, MultiPolygon, Point
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from calculations.floors import POSITION_TOLERANCE_MM, AreaFloor
from calculations.joists import joist_lines_mm
from calculations.loft import Fixture, LoftArea

WALL_CLEARANCE_MM = 100.0
RUN_CLEARANCE_MM = (POSITION_TOLERANCE_MM + 250.0, POSITION_TOLERANCE_MM + 50.0)
"""Off the line of a cable or pipe: where there is room, and at least."""
FITTING_CLEARANCE_MM = (POSITION_TOLERANCE_MM + 300.0, POSITION_TOLERANCE_MM + 150.0)
"""Off the middle of a downlight or fan, which is some 300 mm wide with its cover; likewise."""
GAUGE_HALF_MM = 30.0
"""Half the foot of a depth gauge, off each side of a joist."""
EMPTY: BaseGeometry = MultiPolygon()


def clear_floors(floor: AreaFloor) -> tuple[BaseGeometry, ...]:
    """Parts of the open floor [mm] to measure at, the best first; a later one holds the earlier.

    First what is well clear of walls, fixtures, tanks and joists; then just clear of them; then
    joists are let go, then the distance from walls, then everything. Any but the last may be empty.
    """
    wide, least = (
        unary_union([*_fixtures(floor, RUN_CLEARANCE_MM[i], FITTING_CLEARANCE_MM[i]), floor.tanks])
        for i in (0, 1)
    )
    from_walls = floor.open.buffer(-WALL_CLEARANCE_MM)
    off_joists = from_walls.difference(_joists(floor.area))
    return (
        off_joists.difference(wide),
        off_joists.difference(least),
        from_walls.difference(least),
        floor.open.difference(least),
        floor.open,
    )


def _fixtures(floor: AreaFloor, run_mm: float, fitting_mm: float) -> list[BaseGeometry]:
    return [_round(each, run_mm, fitting_mm) for each in floor.fixtures]


def _round(fixture: Fixture, run_mm: float, fitting_mm: float) -> BaseGeometry:
    """What lies too near to a fixture. A run whose other end is not known is a place."""
    if fixture.to_x_mm is None or fixture.to_y_mm is None:
        return Point(fixture.x_mm, fixture.y_mm).buffer(fitting_mm)
    run = LineString([(fixture.x_mm, fixture.y_mm), (fixture.to_x_mm, fixture.to_y_mm)])
    return run.buffer(run_mm)


def _joists(area: LoftArea) -> BaseGeometry:
    half = area.joist_width_mm / 2 + GAUGE_HALF_MM
    lines = [LineString(line).buffer(half, cap_style="square") for line in joist_lines_mm(area)]
    return unary_union(lines) if lines else EMPTY
