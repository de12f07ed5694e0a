"""Invented lofts of several shapes for tests. No real property."""

from __future__ import annotations

from calculations.loft import (
    Fixture,
    FixtureKind,
    Hazard,
    HazardKind,
    Loft,
    LoftArea,
    Obstacle,
    ObstacleKind,
    Outline,
    Roof,
    RoofForm,
)


def box_outline(x: float, y: float, width: float, depth: float) -> Outline:
    return ((x, y), (x + width, y), (x + width, y + depth), (x, y + depth))


def obstacle(
    name: str, kind: ObstacleKind, x: float, y: float, width: float, depth: float
) -> Obstacle:
    return Obstacle(name, kind, box_outline(x, y, width, depth))


RECTANGLE = Loft(
    areas=(
        LoftArea(
            "Main",
            box_outline(0, 0, 8000, 5000),
            joist_spacing_mm=400,
            joist_depth_mm=100,
            joist_width_mm=50,
            joist_direction_deg=90,
            existing_depth_mm=50,
            eaves_edges=(0, 2),
        ),
    ),
    obstacles=(
        obstacle("Tank", ObstacleKind.TANK, 3000, 3300, 1000, 600),
        obstacle("Hatch", ObstacleKind.HATCH, 6800, 2200, 600, 600),
        obstacle("Chimney", ObstacleKind.CHIMNEY, 200, 1900, 600, 800),
        obstacle("Deck", ObstacleKind.DECK, 4500, 1600, 1800, 1300),
    ),
    fixtures=(
        Fixture(
            "Shower cable",
            FixtureKind.CABLE,
            500,
            3000,
            to_x_mm=6500,
            to_y_mm=3600,
            load_w=8500,
            conductor_mm2=10,
            high_load=True,
        ),
        Fixture("Landing light", FixtureKind.DOWNLIGHT, 6600, 3500),
        Fixture("Bath fan", FixtureKind.FAN, 2400, 4200),
        Fixture("Cold feed", FixtureKind.PIPE, 3500, 3300, to_x_mm=3500, to_y_mm=500),
    ),
    hazards=(Hazard(HazardKind.DAMAGED_WIRING, "bare ends by the chimney"),),
)

ELL = Loft(
    areas=(
        LoftArea(
            "Front wing",
            box_outline(0, 0, 9000, 4500),
            joist_spacing_mm=400,
            joist_depth_mm=100,
            joist_width_mm=47,
            joist_direction_deg=90,
            eaves_edges=(0,),
        ),
        LoftArea(
            "Rear wing",
            box_outline(0, 4500, 4200, 6000),
            joist_spacing_mm=600,
            joist_depth_mm=100,
            joist_width_mm=47,
            joist_direction_deg=0,
            existing_depth_mm=100,
            eaves_edges=(1, 3),
        ),
    ),
    obstacles=(
        obstacle("Hatch", ObstacleKind.HATCH, 1800, 3000, 700, 700),
        obstacle("Cold tank", ObstacleKind.TANK, 7000, 1800, 1200, 800),
    ),
    fixtures=(
        Fixture("Kitchen light 1", FixtureKind.DOWNLIGHT, 1200, 7000),
        Fixture("Kitchen light 2", FixtureKind.DOWNLIGHT, 3000, 7000),
        Fixture(
            "Cooker cable",
            FixtureKind.CABLE,
            600,
            9800,
            to_x_mm=600,
            to_y_mm=1000,
            load_w=9000,
            conductor_mm2=6,
            high_load=True,
        ),
    ),
)

TEE = Loft(
    areas=(
        LoftArea(
            "T loft",
            (
                (0, 0),
                (10000, 0),
                (10000, 4000),
                (6800, 4000),
                (6800, 8500),
                (3200, 8500),
                (3200, 4000),
                (0, 4000),
            ),
            joist_spacing_mm=450,
            joist_depth_mm=97,
            joist_width_mm=44,
            joist_direction_deg=90,
            eaves_edges=(0, 2, 4, 6),
        ),
    ),
    obstacles=(
        obstacle("Hatch", ObstacleKind.HATCH, 4700, 4300, 700, 700),
        obstacle("Flue", ObstacleKind.CHIMNEY, 8600, 1500, 600, 600),
    ),
)

HIPPED = Loft(
    areas=(
        LoftArea(
            "Hipped loft",
            box_outline(0, 0, 9600, 7200),
            joist_spacing_mm=600,
            joist_depth_mm=100,
            joist_width_mm=50,
            joist_direction_deg=0,
            eaves_edges=(0, 1, 2, 3),
            holes_mm=(box_outline(3600, 2600, 2000, 2000),),
        ),
    ),
    obstacles=(
        obstacle("Hatch", ObstacleKind.HATCH, 6600, 3200, 700, 700),
        obstacle("Tank", ObstacleKind.TANK, 1800, 3000, 1000, 600),
    ),
    roof=Roof(form=RoofForm.HIPPED, pitch_deg=30),
)

BY_SHAPE = {"rectangle": RECTANGLE, "ell": ELL, "tee": TEE, "hipped": HIPPED}
