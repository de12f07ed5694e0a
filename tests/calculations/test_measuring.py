"""Where a reading is wanted is a place where one can measure: off joists, cables and fittings.

The clearances are common practice, no published source; distances are worked out here anew from
the survey's own figures, not from the engine's shapes.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from calculations.depths import DepthRequirement, MeasuringPoint, where_to_measure
from calculations.loft import Fixture, FixtureKind, Loft, ObstacleKind
from tests.calculations.sample_lofts import BY_SHAPE, RECTANGLE

ASKED = DepthRequirement(min_depth_mm=270)
CLOSE = replace(ASKED, m2_per_reading=1.5)


def from_run_mm(point: MeasuringPoint, fixture: Fixture) -> float:
    """Distance [mm] of a point from a fixture's run, or from its one place."""
    ax, ay = fixture.x_mm, fixture.y_mm
    bx = ax if fixture.to_x_mm is None else fixture.to_x_mm
    by = ay if fixture.to_y_mm is None else fixture.to_y_mm
    dx, dy = bx - ax, by - ay
    length = dx * dx + dy * dy
    along = ((point.x_mm - ax) * dx + (point.y_mm - ay) * dy) / length if length else 0.0
    along = min(1.0, max(0.0, along))
    return math.hypot(point.x_mm - ax - along * dx, point.y_mm - ay - along * dy)


def from_joist_mm(loft: Loft, point: MeasuringPoint) -> float:
    """Distance [mm] from the side of the nearest joist; the first stands at the low side."""
    area = loft.area_named(point.area)
    corners = area.outline_mm
    is_along_y = area.joist_direction_deg == 90
    low = min(corner[0] if is_along_y else corner[1] for corner in corners)
    first = low + area.joist_width_mm / 2
    across = (point.x_mm if is_along_y else point.y_mm) - first
    off = across % area.joist_spacing_mm
    return min(off, area.joist_spacing_mm - off) - area.joist_width_mm / 2


@pytest.mark.parametrize("rule", [ASKED, CLOSE], ids=["as asked", "many readings"])
@pytest.mark.parametrize("shape", sorted(BY_SHAPE))
def test_readings_are_wanted_clear_of_what_is_in_the_way(
    shape: str, rule: DepthRequirement
) -> None:
    loft = BY_SHAPE[shape]
    straight = {area.name for area in loft.areas if area.joist_direction_deg in (0, 90)}
    least = {True: 195.0, False: 295.0}  # a run, a place; a few millimetres for rounding

    points = where_to_measure(loft, (), rule)

    for point in points:
        for fixture in loft.fixtures:
            clear_mm = least[fixture.to_x_mm is not None]
            assert from_run_mm(point, fixture) >= clear_mm, f"{point} near {fixture.name}"
        if point.area in straight:
            assert from_joist_mm(loft, point) >= 25, f"{point} over a joist"
        for obstacle in loft.obstacles:
            if obstacle.kind is ObstacleKind.TANK:
                (x0, y0), (x1, y1) = obstacle.outline_mm[0], obstacle.outline_mm[2]
                away = math.hypot(
                    max(x0 - point.x_mm, 0, point.x_mm - x1),
                    max(y0 - point.y_mm, 0, point.y_mm - y1),
                )
                assert away >= 290, f"{point} beside {obstacle.name}"


def test_with_room_enough_a_cable_is_kept_well_away_from() -> None:
    """Far enough that the mark on a phone's drawing does not touch the cable's line."""
    cable = Fixture("Cooker", FixtureKind.CABLE, 2000, 700, to_x_mm=6000, to_y_mm=1500)
    light = Fixture("Landing", FixtureKind.DOWNLIGHT, 4000, 3900)
    loft = replace(RECTANGLE, obstacles=(), fixtures=(cable, light))

    points = where_to_measure(loft, (), ASKED)

    assert min(from_run_mm(point, cable) for point in points) >= 395
    assert min(from_run_mm(point, light) for point in points) >= 445


def test_where_cables_leave_no_room_a_reading_is_wanted_all_the_same() -> None:
    """A floor full of cables: every zone still gets its place, on open floor."""
    cables = tuple(
        Fixture(f"Cable {x}", FixtureKind.CABLE, x, 0, to_x_mm=x, to_y_mm=5000)
        for x in range(0, 8001, 250)
    )
    crowded = replace(RECTANGLE, fixtures=cables)

    assert len(where_to_measure(crowded, (), ASKED)) == len(where_to_measure(RECTANGLE, (), ASKED))
