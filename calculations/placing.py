"""What a reading's place makes of it, for many readings at once.

Where it lies decides whether a depth reading counts in full, whether an allowance is granted,
and which zone of the floor it speaks for. One loft and a million jobs go through this module.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from shapely.geometry.base import BaseGeometry

from calculations.depth_rule import Bools, DepthRequirement, Floats, Ints
from calculations.floors import AreaFloor

ALLOWANCES = ("", "eaves", "tank", "deck")
"""Allowances by code, as the columns hold them."""

EAVES_CODE = 1


@dataclass(frozen=True, slots=True, eq=False)
class Placement:
    """One entry per reading. Columns of one length.

    zone: zone number in its area, -1 for none. counts: judged against the full depth.
    allowed: code of the allowance granted, 0 for none. eaves_least_tenths: what it must show
    where the eaves allowance is granted, else 0 [0.1 mm].
    """

    zone: Ints
    counts: Bools
    allowed: NDArray[np.int8]
    eaves_least_tenths: Ints


def place(
    floors: Sequence[AreaFloor],
    area: Ints,
    x_mm: ArrayLike,
    y_mm: ArrayLike,
    allowance: ArrayLike,
    requirement: DepthRequirement,
) -> Placement:
    """Place readings on the floors of one loft.

    area: index of each reading's floor. x_mm, y_mm: its position [mm]. allowance: code of the
    allowance it claims. All of one length.
    """
    x = np.asarray(x_mm, dtype=np.float64)
    y = np.asarray(y_mm, dtype=np.float64)
    claimed = np.asarray(allowance, dtype=np.int8)
    zone = np.full(x.shape, -1, dtype=np.int64)
    counts = np.zeros(x.shape, dtype=bool)
    allowed = np.zeros(x.shape, dtype=np.int8)
    eaves_least = np.zeros(x.shape, dtype=np.int64)
    for index, floor in enumerate(floors):
        mine = np.flatnonzero(area == index)
        if mine.size == 0:
            continue
        there = _place_on(floor, x[mine], y[mine], claimed[mine], requirement)
        zone[mine], counts[mine] = there.zone, there.counts
        allowed[mine], eaves_least[mine] = there.allowed, there.eaves_least_tenths
    return Placement(zone, counts, allowed, eaves_least)


def _place_on(
    floor: AreaFloor,
    x_mm: Floats,
    y_mm: Floats,
    claimed: NDArray[np.int8],
    requirement: DepthRequirement,
) -> Placement:
    granted = np.zeros(x_mm.shape, dtype=bool)
    for code, shape in enumerate((floor.eaves, floor.tanks, floor.decks), start=EAVES_CODE):
        if (claimed == code).any():
            granted |= (claimed == code) & _covered(shape, x_mm, y_mm)
    inside = _covered(floor.reach, x_mm, y_mm)
    counts = inside & ~granted & ~_covered(floor.solids, x_mm, y_mm)
    zone = np.where(counts, floor.grid.zone_of(x_mm, y_mm), -1)
    allowed = np.where(granted & inside, claimed, 0).astype(np.int8)
    eaves_least = np.zeros(x_mm.shape, dtype=np.int64)
    for i in np.flatnonzero(granted & (claimed == EAVES_CODE)):
        room_mm = floor.room_at_eaves_mm(float(x_mm[i]), float(y_mm[i]))
        eaves_least[i] = requirement.eaves_tenths(room_mm)
    return Placement(zone, counts, allowed, eaves_least)


def _covered(shape: BaseGeometry, x_mm: Floats, y_mm: Floats) -> Bools:
    """Whether each position lies in the shape or on its edge."""
    shapely.prepare(shape)
    return np.asarray(shapely.intersects_xy(shape, x_mm, y_mm), dtype=bool)
