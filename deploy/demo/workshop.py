"""The slow, pure part of making the demo, run in several processes: no database here."""

from __future__ import annotations

import random
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from calculations.depths import DepthRequirement, where_to_measure
from calculations.drawing import photo_points
from calculations.layers import Target
from calculations.loft import loft_from_dict
from calculations.quantities import quantify

PHOTO_WIDTH_PX = 800


@dataclass(frozen=True, slots=True)
class Worked:
    """What the engine makes of one loft. Depths and positions in mm."""

    quantities: dict[str, Any]
    crew_hours: float
    net_area_m2: float
    roll_count: int
    packed_volume_m3: float
    u_before_w_m2k: float
    u_after_w_m2k: float
    engine_version: str
    points: tuple[tuple[str, float, float, str], ...]
    photo_labels: tuple[str, ...]


def work_out(loft_dict: dict[str, Any], target_mm: float) -> Worked:
    """Quantities, where to measure and where to photograph, by the same engine as any job."""
    loft = loft_from_dict(loft_dict)
    found = quantify(loft, Target(depth_mm=target_mm), seconds=0)
    wanted = where_to_measure(loft, (), DepthRequirement(min_depth_mm=target_mm))
    return Worked(
        quantities=found.to_dict(),
        crew_hours=found.labour.crew_hours,
        net_area_m2=found.net_area_m2,
        roll_count=sum(line.count for line in found.rolls),
        packed_volume_m3=found.packed_volume_m3,
        u_before_w_m2k=found.u_before,
        u_after_w_m2k=found.u_after,
        engine_version=found.engine_version,
        points=tuple((p.area, p.x_mm, p.y_mm, "") for p in wanted),
        photo_labels=tuple(
            point.label for point in photo_points(loft) if point.moment in ("both", "after")
        ),
    )


def invent_depths(
    points: tuple[tuple[str, float, float, str], ...],
    target_mm: float,
    *,
    short: bool,
    chance: random.Random,
) -> list[float]:
    """A depth for each point [mm]: laid well, or with a patch where a layer is missing."""
    laid = [round(target_mm + abs(chance.gauss(9, 7))) for _ in points]
    if short:
        patch = max(2, len(points) // 3)
        lacking = chance.choice((60, 90, 110))
        laid[:patch] = [round(target_mm - lacking + chance.gauss(0, 8)) for _ in range(patch)]
    return [float(depth) for depth in laid]


@dataclass(frozen=True, slots=True)
class PhotoOrder:
    """One photo to be drawn: what it shows and what its EXIF says."""

    seed: int
    moment: str
    point_label: str
    depth_mm: float
    joist_spacing_mm: float
    taken_at: datetime
    latitude_deg: float | None
    longitude_deg: float | None


def draw_photo(order: PhotoOrder) -> bytes:
    """The JPEG of a photo order. Same order, same bytes."""
    from deploy.demo.pictures import Snapshot, draw_loft_photo

    return draw_loft_photo(
        Snapshot(
            seed=order.seed,
            depth_mm=order.depth_mm,
            moment=order.moment,
            point_label=order.point_label,
            joist_spacing_mm=order.joist_spacing_mm,
            taken_at=order.taken_at,
            latitude_deg=order.latitude_deg,
            longitude_deg=order.longitude_deg,
        ),
        width_px=PHOTO_WIDTH_PX,
    )
