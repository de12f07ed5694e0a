"""An invented loft, to show what a loft file looks like. No real property."""

from __future__ import annotations

from calculations.loft import (
    Fixture,
    FixtureKind,
    Loft,
    LoftArea,
    Obstacle,
    ObstacleKind,
    Roof,
)

EXAMPLE = Loft(
    areas=(
        LoftArea(
            "Main",
            ((0, 0), (6400, 0), (6400, 7200), (0, 7200)),
            joist_spacing_mm=400,
            joist_depth_mm=100,
            joist_width_mm=47,
            joist_direction_deg=90,
            existing_depth_mm=50,
            eaves_edges=(0, 2),
        ),
    ),
    obstacles=(
        Obstacle(
            "Hatch", ObstacleKind.HATCH, ((5000, 3000), (5600, 3000), (5600, 3750), (5000, 3750))
        ),
        Obstacle(
            "Tank", ObstacleKind.TANK, ((1200, 2400), (2300, 2400), (2300, 3100), (1200, 3100))
        ),
    ),
    fixtures=(
        Fixture("Landing light", FixtureKind.DOWNLIGHT, 4400, 2600),
        Fixture(
            "Shower cable",
            FixtureKind.CABLE,
            600,
            5200,
            to_x_mm=5200,
            to_y_mm=5200,
            load_w=8500,
            conductor_mm2=10,
            high_load=True,
        ),
        Fixture("Cold feed", FixtureKind.PIPE, 1700, 2400, to_x_mm=1700, to_y_mm=400),
    ),
    roof=Roof(pitch_deg=30, rafter_depth_mm=100, span_m=7.2),
)
