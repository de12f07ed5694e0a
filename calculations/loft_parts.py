"""What stands and lies in a loft beside its floor: obstacles, fixtures, hazards; the roof over it.

Every object is immutable and validated when made; see `calculations.loft`.
"""

from __future__ import annotations

from dataclasses import dataclass

from shapely import Polygon

from calculations.loft_kinds import FixtureKind, HazardKind, ObstacleKind, RoofForm, Underlay
from calculations.outlines import (
    LoftError,
    Outline,
    checked_number,
    checked_outline,
    outline_polygon,
)


def keep(target: object, name: str, value: object) -> None:
    """Store a normalised value in a frozen dataclass while it is being made."""
    object.__setattr__(target, name, value)


def check_name(name: object, what: str) -> None:
    if not isinstance(name, str) or not name.strip():
        raise LoftError("name", "is empty.", f"Give the {what} a short name.")
    if len(name) > 80:
        raise LoftError("name", f"has {len(name)} characters.", "Use at most 80.")


@dataclass(frozen=True, slots=True)
class Obstacle:
    """Something that stands on the floor.

    Wool is cut round a chimney and a hatch, and nothing is laid beneath a tank. It runs on beneath
    a deck as far as there is room: underside_mm is the height of the deck's underside over the
    ceiling; None means that the boards lie on the joists.
    """

    name: str
    kind: ObstacleKind
    outline_mm: Outline
    underside_mm: float | None = None

    def __post_init__(self) -> None:
        check_name(self.name, "obstacle")
        keep(self, "kind", ObstacleKind(self.kind))
        keep(self, "outline_mm", checked_outline("outline_mm", self.outline_mm))
        if self.underside_mm is not None:
            if self.kind is not ObstacleKind.DECK:
                raise LoftError(
                    "underside_mm", "is asked of a deck only.", "Leave it empty for the others."
                )
            checked_number("underside_mm", self.underside_mm, 30, 2000, "mm")

    def polygon(self) -> Polygon:
        """Shapely polygon of the obstacle's outline [mm]."""
        return outline_polygon(self.outline_mm)


@dataclass(frozen=True, slots=True)
class Fixture:
    """Something small to mind: a point, or a run from (x, y) to (to_x, to_y).

    load_w: what the cable feeds [W]. conductor_mm2: cross-section of one conductor [mm2].
    """

    name: str
    kind: FixtureKind
    x_mm: float
    y_mm: float
    to_x_mm: float | None = None
    to_y_mm: float | None = None
    load_w: float | None = None
    conductor_mm2: float | None = None
    high_load: bool = False

    def __post_init__(self) -> None:
        check_name(self.name, "fixture")
        keep(self, "kind", FixtureKind(self.kind))
        for name in ("x_mm", "y_mm"):
            checked_number(name, getattr(self, name), -1e6, 1e6, "mm")
        if (self.to_x_mm is None) != (self.to_y_mm is None):
            raise LoftError(
                "to_x_mm" if self.to_x_mm is None else "to_y_mm",
                "is missing while its fellow is given.",
                "Give both ends of the run, or neither.",
            )
        for name in ("to_x_mm", "to_y_mm"):
            if getattr(self, name) is not None:
                checked_number(name, getattr(self, name), -1e6, 1e6, "mm")
        if self.load_w is not None:
            checked_number("load_w", self.load_w, 0, 50_000, "W")
        if self.conductor_mm2 is not None:
            checked_number("conductor_mm2", self.conductor_mm2, 0.2, 50, "mm2")


@dataclass(frozen=True, slots=True)
class Hazard:
    kind: HazardKind
    note: str = ""

    def __post_init__(self) -> None:
        keep(self, "kind", HazardKind(self.kind))


@dataclass(frozen=True, slots=True)
class Roof:
    """The roof over the whole loft. pitch_deg: slope of the rafters; span_m: between wall plates.

    eaves_opening_mm, ridge_opening_mm: ventilation as a continuous slot of that height.
    """

    form: RoofForm = RoofForm.DUO_PITCH
    pitch_deg: float = 35.0
    rafter_depth_mm: float = 100.0
    span_m: float | None = None
    underlay: Underlay = Underlay.FELT
    eaves_opening_mm: float = 10.0
    ridge_opening_mm: float = 0.0

    def __post_init__(self) -> None:
        keep(self, "form", RoofForm(self.form))
        keep(self, "underlay", Underlay(self.underlay))
        checked_number("pitch_deg", self.pitch_deg, 5, 75, "degrees")
        checked_number("rafter_depth_mm", self.rafter_depth_mm, 40, 450, "mm")
        if self.span_m is not None:
            checked_number("span_m", self.span_m, 1, 60, "m")
        checked_number("eaves_opening_mm", self.eaves_opening_mm, 0, 200, "mm")
        checked_number("ridge_opening_mm", self.ridge_opening_mm, 0, 200, "mm")
