"""What a loft is: areas with joists, obstacles, fixtures, hazards and the roof over them.

All positions are millimetres in one flat coordinate system per loft, x to the right and
y up on the drawing, seen from above. Every object is immutable and validated when made:
a loft that cannot be raises LoftError, which names the place and the remedy.

Heights are measured from the upper face of the ceiling board, where the joists stand.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from shapely import Point as ShapelyPoint
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from calculations.loft_kinds import (
    Condition,
    FixtureKind,
    HazardKind,
    ObstacleKind,
    RoofForm,
    Underlay,
)
from calculations.loft_parts import Fixture, Hazard, Obstacle, Roof, check_name, keep
from calculations.outlines import (
    MM2_PER_M2,
    LoftError,
    Outline,
    Point,
    checked_number,
    checked_outline,
    outline_polygon,
)

__all__ = [
    "Condition",
    "Fixture",
    "FixtureKind",
    "Hazard",
    "HazardKind",
    "Loft",
    "LoftArea",
    "LoftError",
    "Obstacle",
    "ObstacleKind",
    "Outline",
    "Point",
    "Roof",
    "RoofForm",
    "Underlay",
    "loft_area_m2",
    "loft_from_dict",
    "net_polygon",
]

MIN_AREA_M2 = 0.25
MAX_AREA_M2 = 2000.0
OVERLAP_TOLERANCE_MM2 = 10_000.0
"""Two areas measured by hand may overlap by a sliver (100 cm2) before it is an error."""
FIXTURE_REACH_MM = 500.0
"""A fixture may be noted this far outside the floor, e.g. a cable going down a wall head."""


@dataclass(frozen=True, slots=True)
class LoftArea:
    """A polygon of floor with joists of one spacing, size and direction.

    joist_spacing_mm: centre to centre. joist_direction_deg: 0 = joists run along x, 90 = along y;
    from 0 up to, not including, 180. The first joist stands against the low side of the area
    (see `calculations.joists`).
    eaves_edges: indices of the outline's edges that lie on a wall plate (edge i runs from
    point i to point i + 1); the edge marks the inner edge of the plate.
    holes_mm: places without floor inside the outline, such as a stairwell.
    Raises LoftError when the geometry or a dimension cannot be.
    """

    name: str
    outline_mm: Outline
    joist_spacing_mm: float
    joist_depth_mm: float
    joist_width_mm: float
    joist_direction_deg: float
    existing_depth_mm: float = 0.0
    existing_condition: Condition = Condition.KEEP
    existing_conductivity_w_mk: float = 0.044
    holes_mm: tuple[Outline, ...] = ()
    eaves_edges: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        check_name(self.name, "area")
        keep(self, "outline_mm", checked_outline("outline_mm", self.outline_mm))
        self._check_joists()
        checked_number("existing_depth_mm", self.existing_depth_mm, 0, 1000, "mm")
        checked_number(
            "existing_conductivity_w_mk", self.existing_conductivity_w_mk, 0.02, 0.2, "W/mK"
        )
        keep(self, "existing_condition", Condition(self.existing_condition))
        self._check_holes()
        self._check_eaves()

    def _check_joists(self) -> None:
        spacing = checked_number("joist_spacing_mm", self.joist_spacing_mm, 150, 1500, "mm")
        checked_number("joist_depth_mm", self.joist_depth_mm, 30, 450, "mm")
        width = checked_number("joist_width_mm", self.joist_width_mm, 15, 300, "mm")
        checked_number(
            "joist_direction_deg",
            self.joist_direction_deg,
            0,
            179.999,
            "degrees",
            "Give 0 for joists along x, 90 along y; 180 is the same as 0.",
        )
        if width > spacing - 50:
            raise LoftError(
                "joist_width_mm",
                f"joists {width:g} mm wide at {spacing:g} mm centres leave no bay between them.",
                "Measure the spacing from the middle of one joist to the middle of the next.",
            )

    def _check_holes(self) -> None:
        shell = outline_polygon(self.outline_mm)
        holes: list[Outline] = []
        for i, points in enumerate(self.holes_mm):
            path = f"holes_mm[{i}]"
            hole = checked_outline(path, points)
            polygon = outline_polygon(hole)
            if not shell.covers(polygon):
                raise LoftError(
                    path,
                    f"reaches outside the area{_near(polygon.difference(shell))}.",
                    "Keep the hole inside the outline, or move the outline round it.",
                )
            for j, other in enumerate(holes):
                if outline_polygon(other).intersection(polygon).area > OVERLAP_TOLERANCE_MM2:
                    raise LoftError(path, f"overlaps holes_mm[{j}].", "Join the two into one hole.")
            holes.append(hole)
        keep(self, "holes_mm", tuple(holes))
        area_m2 = self._floor().area / MM2_PER_M2
        if not MIN_AREA_M2 <= area_m2 <= MAX_AREA_M2:
            raise LoftError(
                "outline_mm",
                f"encloses {area_m2:.2f} m2, outside {MIN_AREA_M2:g} to {MAX_AREA_M2:g} m2.",
                "Check the unit: positions are millimetres, so 6 m is 6000.",
            )

    def _floor(self) -> BaseGeometry:
        """The floor even where a hole touches the outline, which no valid Polygon may say."""
        floor: BaseGeometry = outline_polygon(self.outline_mm)
        for hole in self.holes_mm:
            floor = floor.difference(outline_polygon(hole))
        return floor

    def _check_eaves(self) -> None:
        edges = tuple(self.eaves_edges)
        for i, edge in enumerate(edges):
            if isinstance(edge, bool) or not isinstance(edge, int):
                raise LoftError(f"eaves_edges[{i}]", f"{edge!r} is no edge.", "Give whole numbers.")
            if not 0 <= edge < len(self.outline_mm):
                raise LoftError(
                    f"eaves_edges[{i}]",
                    f"there is no edge {edge}.",
                    f"The outline's edges are numbered 0 to {len(self.outline_mm) - 1}.",
                )
        if len(set(edges)) != len(edges):
            raise LoftError("eaves_edges", "names an edge twice.", "Name each edge once.")
        keep(self, "eaves_edges", edges)

    def polygon(self) -> Polygon:
        """Shapely polygon of the floor [mm], holes taken out."""
        return outline_polygon(self.outline_mm, self.holes_mm)

    def floor(self) -> BaseGeometry:
        """The floor [mm] as shapely sees it after the holes are cut out (may be in pieces)."""
        polygon = self.polygon()
        return polygon if polygon.is_valid else self._floor()

    def edge_mm(self, index: int) -> tuple[Point, Point]:
        """Both ends of edge `index` of the outline [mm]."""
        return self.outline_mm[index], self.outline_mm[(index + 1) % len(self.outline_mm)]

    @property
    def clear_bay_mm(self) -> float:
        """Clear width between two joists [mm]."""
        return self.joist_spacing_mm - self.joist_width_mm

    @property
    def kept_depth_mm(self) -> float:
        """Depth of existing insulation that stays [mm]."""
        return 0.0 if self.existing_condition is Condition.REMOVE else self.existing_depth_mm


@dataclass(frozen=True, slots=True)
class Loft:
    """One property's loft. Areas may not overlap; obstacles and fixtures lie on the floor."""

    areas: tuple[LoftArea, ...]
    obstacles: tuple[Obstacle, ...] = ()
    fixtures: tuple[Fixture, ...] = ()
    hazards: tuple[Hazard, ...] = ()
    roof: Roof = field(default_factory=Roof)

    def __post_init__(self) -> None:
        for name in ("areas", "obstacles", "fixtures", "hazards"):
            keep(self, name, tuple(getattr(self, name)))
        if not self.areas:
            raise LoftError("areas", "is empty.", "Measure at least one area of floor.")
        _check_unique_names("areas", [area.name for area in self.areas])
        _check_unique_names("obstacles", [obstacle.name for obstacle in self.obstacles])
        self._check_overlaps()
        self._check_places()

    def _check_overlaps(self) -> None:
        for i, area in enumerate(self.areas):
            for j in range(i):
                common = area.floor().intersection(self.areas[j].floor())
                if common.area > OVERLAP_TOLERANCE_MM2:
                    raise LoftError(
                        f"areas[{i}].outline_mm",
                        f"overlaps areas[{j}] ({self.areas[j].name}) by "
                        f"{common.area / MM2_PER_M2:.2f} m2{_near(common)}.",
                        "Move the shared edge so that each bit of floor is in one area.",
                    )

    def _check_places(self) -> None:
        shells = [outline_polygon(area.outline_mm) for area in self.areas]
        for i, obstacle in enumerate(self.obstacles):
            if not any(shell.intersects(obstacle.polygon()) for shell in shells):
                raise LoftError(
                    f"obstacles[{i}].outline_mm",
                    f"{obstacle.name} lies outside every area{_near(obstacle.polygon())}.",
                    "Correct its position, or add the area that it stands on.",
                )
        for i, fixture in enumerate(self.fixtures):
            place = ShapelyPoint(fixture.x_mm, fixture.y_mm)
            if all(shell.distance(place) > FIXTURE_REACH_MM for shell in shells):
                raise LoftError(
                    f"fixtures[{i}].x_mm",
                    f"{fixture.name} at ({fixture.x_mm:.0f}, {fixture.y_mm:.0f}) lies outside "
                    "every area.",
                    "Correct its position, or add the area that it lies on.",
                )

    def area_named(self, name: str) -> LoftArea:
        """The area of that name. Raises KeyError saying which names exist."""
        for area in self.areas:
            if area.name == name:
                return area
        raise KeyError(f"no area {name!r}; there are {', '.join(a.name for a in self.areas)}")

    def to_dict(self) -> dict[str, object]:
        """JSON-able; `loft_from_dict` reads it back to an equal Loft."""
        from calculations.loft_json import loft_to_dict

        return loft_to_dict(self)


def _near(geometry: BaseGeometry) -> str:
    x, y = geometry.representative_point().coords[0] if not geometry.is_empty else (0.0, 0.0)
    return f" near ({x:.0f}, {y:.0f})"


def _check_unique_names(path: str, names: list[str]) -> None:
    for i, name in enumerate(names):
        if name in names[:i]:
            raise LoftError(
                f"{path}[{i}].name", f"{name!r} is used twice.", "Give each its own name."
            )


def loft_from_dict(data: Mapping[str, object]) -> Loft:
    """A loft from JSON-like data: keys are the field names, enums by value, outlines [[x, y], ...].

    Raises LoftError naming the path, e.g. `areas[1].outline_mm[2]`, also for unknown keys.
    """
    from calculations.loft_json import read_loft

    return read_loft(data)


def loft_area_m2(loft: Loft) -> float:
    """Floor of all areas [m2], holes taken out, obstacles not."""
    return sum(area.floor().area for area in loft.areas) / MM2_PER_M2


def net_polygon(loft: Loft, area: LoftArea) -> BaseGeometry:
    """Floor of `area` that gets wool [mm]: without tanks, chimneys and hatches.

    Decks stay in, as wool runs on beneath them. May be in several pieces, or empty.
    """
    floor = area.floor()
    for obstacle in loft.obstacles:
        if obstacle.kind is not ObstacleKind.DECK:
            floor = floor.difference(obstacle.polygon())
    return floor
