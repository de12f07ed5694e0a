"""Layers, wool and rolls by area over arrays, for a first look at thousands of jobs.

For each area the stack of layers is the one that calculations.layers.choose_layers gives a single
loft, and the open floor's U-value is the same number. Rolls are area divided by what a roll
covers: good for a budget, no load list. The proved count, with eaves, obstacles and offcuts, is
calculations.quantities'; there another of the best few stacks may win once whole rolls are
counted.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calculations.catalogue import INVENTED_CATALOGUE, RollType, check_catalogue
from calculations.checks import InputError
from calculations.depth_rule import Bools, Floats, Ints
from calculations.loft import Loft, LoftArea, Underlay, net_polygon
from calculations.outlines import MM2_PER_M2
from calculations.stacks import Objective, Stack, Target, cover_between_m2, rank_stacks

UNDERLAYS = tuple(Underlay)
"""Underlays by code, as the columns hold them."""

_KIND_COLUMNS = (
    "joist_spacing_mm",
    "joist_width_mm",
    "joist_depth_mm",
    "kept_depth_mm",
    "kept_conductivity_w_mk",
    "underlay",
)


@dataclass(frozen=True, slots=True, eq=False)
class AreaColumns:
    """Areas of many jobs, one row each; every column of shape (areas,).

    job: number of the job, 0 .. jobs - 1, never falling. net_m2: floor net of holes and
    obstacles. kept_depth_mm: insulation that stays. underlay: index into UNDERLAYS.
    """

    job: Ints
    net_m2: Floats
    joist_spacing_mm: Floats
    joist_width_mm: Floats
    joist_depth_mm: Floats
    kept_depth_mm: Floats
    kept_conductivity_w_mk: Floats
    underlay: Ints

    def __post_init__(self) -> None:
        for name in ("net_m2", *_KIND_COLUMNS):
            column = getattr(self, name)
            if len(column) != len(self.job):
                raise InputError(name, f"has {len(column)} rows.", f"Give {len(self.job)}.")
            if not np.isfinite(column).all() or (column < 0).any():
                raise InputError(name, "holds a negative number or none.", "Correct the row.")
        if (np.diff(self.job, prepend=0) < 0).any():
            raise InputError("job", "falls from one row to the next.", "Sort the rows by job.")
        if self.underlay.max(initial=0) >= len(UNDERLAYS):
            raise InputError("underlay", "is not a code.", f"Give 0 to {len(UNDERLAYS) - 1}.")

    @property
    def jobs(self) -> int:
        return int(self.job[-1]) + 1 if len(self.job) else 0


@dataclass(frozen=True, slots=True, eq=False)
class BatchQuantities:
    """What the areas and jobs take, by area alone.

    stacks: the different stacks in use; stack: index into it, shape (areas,).
    reached: whether the open floor reaches the target. depth_mm, u_value_w_m2k: of the open
    floor after laying. rolls_by_area: rolls of each type, fractions kept, shape (areas, types).
    rolls_by_job: whole rolls of each type, rounded up job by job, shape (jobs, types).
    cost_by_job, packed_m3_by_job: of those rolls, shape (jobs,).
    """

    stacks: tuple[Stack, ...]
    stack: Ints
    reached: Bools
    depth_mm: Floats
    u_value_w_m2k: Floats
    rolls_by_area: Floats
    rolls_by_job: Ints
    cost_by_job: Floats
    packed_m3_by_job: Floats


def columns_of(lofts: Iterable[Loft]) -> AreaColumns:
    """Columns of the areas of many lofts, one loft a job."""
    rows = [
        (
            job,
            net_polygon(loft, area).area / MM2_PER_M2,
            area.joist_spacing_mm,
            area.joist_width_mm,
            area.joist_depth_mm,
            area.kept_depth_mm,
            area.existing_conductivity_w_mk,
            UNDERLAYS.index(loft.roof.underlay),
        )
        for job, loft in enumerate(lofts)
        for area in loft.areas
    ]
    table = np.array(rows, dtype=np.float64).reshape(len(rows), 8)
    return AreaColumns(
        job=table[:, 0].astype(np.int64),
        net_m2=table[:, 1].copy(),
        joist_spacing_mm=table[:, 2].copy(),
        joist_width_mm=table[:, 3].copy(),
        joist_depth_mm=table[:, 4].copy(),
        kept_depth_mm=table[:, 5].copy(),
        kept_conductivity_w_mk=table[:, 6].copy(),
        underlay=table[:, 7].astype(np.int64),
    )


def quantities_by_area(
    columns: AreaColumns,
    target: Target,
    catalogue: Sequence[RollType] = INVENTED_CATALOGUE,
    *,
    objective: Objective = "cost",
) -> BatchQuantities:
    """Layers and rolls of every area and job, the stacks chosen as for a single loft.

    Stacks are ranked once for each different kind of area (joists, what stays, underlay).
    Raises LoftError for a kind of area that cannot be, or a catalogue that cannot be used.
    """
    check_catalogue(catalogue)
    rolls = tuple(catalogue)
    kinds, kind = _kinds(columns)
    ranked = [
        rank_stacks(_area_of_kind(row), UNDERLAYS[int(row[5])], target, rolls, objective)
        for row in kinds
    ]
    per_m2 = np.array(
        [
            _rolls_per_m2(_area_of_kind(row), ranks.stacks[0], rolls)
            for row, ranks in zip(kinds, ranked, strict=True)
        ],
        dtype=np.float64,
    ).reshape(len(kinds), len(rolls))
    best = [ranks.stacks[0] for ranks in ranked]
    rolls_by_area = columns.net_m2[:, None] * per_m2[kind]
    rolls_by_job = _whole_rolls(columns, rolls_by_area)
    return BatchQuantities(
        stacks=tuple(best),
        stack=kind.astype(np.int64),
        reached=np.array([ranks.reached for ranks in ranked], dtype=bool)[kind],
        depth_mm=np.array([stack.depth_mm for stack in best], dtype=np.float64)[kind],
        u_value_w_m2k=np.array([s.u_value_w_m2k for s in best], dtype=np.float64)[kind],
        rolls_by_area=rolls_by_area,
        rolls_by_job=rolls_by_job,
        cost_by_job=rolls_by_job @ np.array([roll.cost for roll in rolls]),
        packed_m3_by_job=rolls_by_job @ np.array([roll.packed_volume_m3 for roll in rolls]),
    )


def _kinds(columns: AreaColumns) -> tuple[Floats, Ints]:
    """The different kinds of area, one a row, and each area's kind.

    Column by column, with the numbers of the values combined: sorting numbers is ten times
    quicker than sorting rows.
    """
    mixed = np.zeros(len(columns.job), dtype=np.int64)
    for name in _KIND_COLUMNS:
        values, number = np.unique(getattr(columns, name), return_inverse=True)
        _, mixed = np.unique(mixed * len(values) + number, return_inverse=True)
    _, first = np.unique(mixed, return_index=True)
    rows = [getattr(columns, name)[first].astype(np.float64) for name in _KIND_COLUMNS]
    return np.column_stack(rows), mixed.astype(np.int64)


def _area_of_kind(row: NDArray[np.float64]) -> LoftArea:
    """An area of that kind; its outline plays no part in choosing a stack."""
    spacing, width, depth, kept, conductivity = (float(value) for value in row[:5])
    return LoftArea(
        name="kind",
        outline_mm=((0, 0), (10_000, 0), (10_000, 10_000), (0, 10_000)),
        joist_spacing_mm=spacing,
        joist_depth_mm=depth,
        joist_width_mm=width,
        joist_direction_deg=0,
        existing_depth_mm=kept,
        existing_conductivity_w_mk=conductivity,
    )


def _rolls_per_m2(area: LoftArea, stack: Stack, catalogue: Sequence[RollType]) -> list[float]:
    found = dict.fromkeys((roll.code for roll in catalogue), 0.0)
    for roll in stack.between:
        found[roll.code] += 1 / cover_between_m2(area, roll)
    for roll in stack.across:
        found[roll.code] += 1 / roll.area_m2
    return list(found.values())


def _whole_rolls(columns: AreaColumns, rolls_by_area: Floats) -> Ints:
    by_job = [
        np.bincount(columns.job, weights=column, minlength=columns.jobs)
        for column in rolls_by_area.T
    ]
    whole = np.ceil(np.column_stack(by_job) - 1e-9)
    return np.asarray(whole, dtype=np.int64)
