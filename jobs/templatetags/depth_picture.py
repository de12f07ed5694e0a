"""Where the bands, ticks and lines of the depth ruler lie, as plain numbers for the template."""

from __future__ import annotations

from dataclasses import dataclass

WIDTH = 360.0  # width of the drawn scale, in drawing units
LEFT = 12.0  # room left of the zero for its figure
TICK_MM = 50
FIGURE_WIDTH = 26
"""What three figures and the space beside them take [drawing units]."""


@dataclass(frozen=True)
class Band:
    """One thickness on the ruler, from `x` on, `width` wide, in drawing units."""

    x: float
    width: float
    thickness_mm: float
    kind: str


@dataclass(frozen=True)
class Tick:
    """A mark on the ruler; every second one carries its figure."""

    x: float
    depth_mm: int
    figured: bool


@dataclass(frozen=True)
class DepthPicture:
    """Everything the ruler shows. Depths in mm, positions in drawing units."""

    bands: tuple[Band, ...]
    ticks: tuple[Tick, ...]
    target_mm: float
    target_x: float
    total_mm: float
    measured_mm: float | None
    measured_x: float | None
    gap: Band | None
    summary: str

    def figured(self) -> tuple[Band, ...]:
        """The bands with room for their figure, where nothing missing lies over them."""
        ends = self.gap.x if self.gap else float("inf")
        return tuple(b for b in self.bands if min(b.x + b.width, ends) - b.x > FIGURE_WIDTH)


def picture_depth(
    target_mm: float,
    existing_mm: float,
    layers_mm: tuple[float, ...],
    measured_mm: float | None,
) -> DepthPicture:
    """Lay out the ruler: existing wool, each new layer, the lowest reading, the target.

    All depths in mm and not negative. The ruler reaches one tick past the greatest of them.
    """
    total = existing_mm + sum(layers_mm)
    reached = measured_mm if measured_mm is not None else total
    longest = max(target_mm, total, measured_mm or 0)
    end_mm = (int(longest // TICK_MM) + 1) * TICK_MM

    def at(depth_mm: float) -> float:
        return round(LEFT + WIDTH * depth_mm / end_mm, 1)

    bands = []
    bottom = 0.0
    for thickness, kind in [(existing_mm, "existing"), *((depth, "laid") for depth in layers_mm)]:
        if thickness > 0:
            width = round(at(bottom + thickness) - at(bottom), 1)
            bands.append(Band(at(bottom), width, thickness, kind))
            bottom += thickness
    missing = target_mm - reached
    gap = Band(at(reached), round(at(target_mm) - at(reached), 1), missing, "missing")
    return DepthPicture(
        bands=tuple(bands),
        ticks=tuple(
            Tick(at(depth), depth, depth % (2 * TICK_MM) == 0)
            for depth in range(0, end_mm + 1, TICK_MM)
        ),
        target_mm=target_mm,
        target_x=at(target_mm),
        total_mm=total,
        measured_mm=measured_mm,
        measured_x=at(measured_mm) if measured_mm is not None else None,
        gap=gap if missing > 0 else None,
        summary=_summary(target_mm, total, measured_mm),
    )


def _summary(target_mm: float, total_mm: float, measured_mm: float | None) -> str:
    """The picture in a sentence, for whoever can't see it."""
    sentence = f"Depth required {target_mm:g} mm; layers add up to {total_mm:g} mm"
    if measured_mm is None:
        return f"{sentence}."
    return f"{sentence}; lowest reading {measured_mm:g} mm."
