"""The depth verdict over arrays, for hundreds of thousands of jobs at once.

Readings are placed once, by the function that places them for a single job, and kept as two
small columns; then every job of a company or scheme is judged in one go, by the function that
judges a single job. So the verdicts are the same bit for bit. What is not here: the words (steps,
suspicions, what is missing); ask calculations.depths for the jobs one looks at.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, fields
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from calculations.checks import InputError
from calculations.depth_rule import (
    GREATEST_DEPTH_MM,
    TENTHS,
    VERDICTS,
    AreaTally,
    DepthRequirement,
    Floats,
    Ints,
    judge,
    to_tenths,
)
from calculations.depths import Reading, check_readings, floors_of, readings_needed
from calculations.loft import Loft
from calculations.placing import ALLOWANCES, EAVES_CODE, place

GREATEST_TENTHS = round(GREATEST_DEPTH_MM * TENTHS)
APART = GREATEST_TENTHS + 1
"""Slot of a reading that is not judged: outside its area, or under an allowance it satisfies."""
EAVES_TOO_THIN = GREATEST_TENTHS + 2
"""Slot of a reading under the eaves allowance that shows less than the eaves must have."""

CHUNK_READINGS = 1 << 15
"""Readings worked on at a time, so that the intermediate arrays stay in the cache."""
_WORD = 16
_ZONES_PER_WORD = 64
_JUDGING_ONLY = frozenset(
    {"least_depth_share", "greatest_share_below", "least_limit_share", "confidence"}
)

Columns = NDArray[np.uint16]


@dataclass(frozen=True, slots=True, eq=False)
class DepthBatch:
    """Placed readings of many jobs: 4 bytes a reading, 12 an area, 8 a job.

    requirement: what the readings were placed for; eaves and zones depend on it.
    job_start: first area of each job and the number of areas, shape (jobs + 1,).
    area_start: first reading of each area and the number of readings, shape (areas + 1,).
    slot: depth in 0.1 mm of a reading that counts, else APART or EAVES_TOO_THIN.
    zone: zone number + 1 of a reading that counts, 0 for none.
    needed, zones: readings and zones that each area needs, shape (areas,).
    """

    requirement: DepthRequirement
    job_start: Ints
    area_start: Ints
    slot: Columns
    zone: Columns
    needed: Columns
    zones: Columns

    def __post_init__(self) -> None:
        _check_starts("job_start", self.job_start, len(self.needed), least=1)
        _check_starts("area_start", self.area_start, len(self.slot), least=0)
        for name, column, length in (
            ("zone", self.zone, len(self.slot)),
            ("zones", self.zones, len(self.needed)),
            ("area_start", self.area_start, len(self.needed) + 1),
        ):
            if len(column) != length:
                raise InputError(name, f"has {len(column)} entries.", f"Give {length}.")
        if self.slot.max(initial=0) > EAVES_TOO_THIN:
            raise InputError("slot", "is over the greatest depth.", "Give 0.1 mm, as placed.")

    @property
    def jobs(self) -> int:
        return len(self.job_start) - 1

    @property
    def nbytes(self) -> int:
        """Memory held by the columns [bytes]."""
        columns = (self.job_start, self.area_start, self.slot, self.zone, self.needed, self.zones)
        return sum(column.nbytes for column in columns)

    def judged_by(self, requirement: DepthRequirement) -> DepthBatch:
        """The same readings under a requirement that differs only in how they are judged.

        Raises InputError for a field on which the placing depends: place them anew then.
        """
        for field in fields(DepthRequirement):
            old, new = getattr(self.requirement, field.name), getattr(requirement, field.name)
            if old != new and field.name not in _JUDGING_ONLY:
                raise InputError(
                    field.name,
                    f"was {old:g} when the readings were placed and is {new:g} now.",
                    "Place the readings again with calculations.batch.batch_of.",
                )
        return DepthBatch(
            requirement,
            self.job_start,
            self.area_start,
            self.slot,
            self.zone,
            self.needed,
            self.zones,
        )


@dataclass(frozen=True, slots=True, eq=False)
class BatchVerdicts:
    """Verdicts by code (index into depth_rule.VERDICTS) and the figures of each area.

    job_code: shape (jobs,). The rest: shape (areas,), as AreaVerdict has them; nan where there
    is nothing to take.
    """

    job_code: NDArray[np.int8]
    area_code: NDArray[np.int8]
    mean_mm: Floats
    lower_limit_mm: Floats
    share_below: Floats

    def tally(self) -> dict[str, int]:
        """Number of jobs by verdict."""
        found = np.bincount(self.job_code, minlength=len(VERDICTS))
        return dict(zip(VERDICTS, found.tolist(), strict=True))


def batch_of(
    jobs: Iterable[tuple[Loft, Sequence[Reading]]], requirement: DepthRequirement
) -> DepthBatch:
    """Place the readings of each job. Raises DepthError for a reading that cannot be.

    About a millisecond a job the first time a loft is seen, for its geometry: place a job when
    its readings come in, keep the columns, and `join` them.
    """
    return join((_placed_job(loft, readings, requirement) for loft, readings in jobs), requirement)


def join(parts: Iterable[DepthBatch], requirement: DepthRequirement) -> DepthBatch:
    """One batch of several placed for the same requirement, jobs in the order given."""
    held = list(parts)
    for i, part in enumerate(held):
        if part.requirement != requirement:
            raise InputError(f"parts[{i}]", "was placed for another rule.", "Place it anew.")
    empty = np.zeros(0, dtype=np.uint16)

    def joined(name: str) -> Columns:
        return np.concatenate([empty, *(getattr(part, name) for part in held)])

    return DepthBatch(
        requirement,
        _joined_starts([part.job_start for part in held]),
        _joined_starts([part.area_start for part in held]),
        joined("slot"),
        joined("zone"),
        joined("needed"),
        joined("zones"),
    )


def assess_batch(batch: DepthBatch) -> BatchVerdicts:
    """Verdicts of all jobs, the same as calculations.depths.assess_depths gives one by one."""
    areas = len(batch.needed)
    code = np.empty(areas, dtype=np.int8)
    mean, limit, share = np.empty(areas), np.empty(areas), np.empty(areas)
    for first, last in _chunks(batch.area_start):
        judged = judge(_tally(batch, first, last), batch.requirement)
        code[first:last] = judged.code
        mean[first:last] = judged.mean_mm
        limit[first:last] = judged.lower_limit_mm
        share[first:last] = judged.share_below
    job_code = code
    if batch.jobs:
        job_code = np.minimum.reduceat(code, batch.job_start[:-1])
    return BatchVerdicts(job_code, code, mean, limit, share)


def _placed_job(
    loft: Loft, readings: Sequence[Reading], requirement: DepthRequirement
) -> DepthBatch:
    check_readings(loft, readings)
    floors = floors_of(loft, requirement)
    number = {floor.area.name: i for i, floor in enumerate(floors)}
    area = np.array([number[r.area] for r in readings], dtype=np.int64)
    spots = place(
        floors,
        area,
        [r.x_mm for r in readings],
        [r.y_mm for r in readings],
        [ALLOWANCES.index(r.allowance) for r in readings],
        requirement,
    )
    depth = to_tenths([r.depth_mm for r in readings])
    thin = (spots.allowed == EAVES_CODE) & (depth < spots.eaves_least_tenths)
    slot = np.where(spots.counts, depth, np.where(thin, EAVES_TOO_THIN, APART))
    order = np.argsort(area, kind="stable")
    starts = np.searchsorted(area[order], np.arange(len(floors) + 1))
    needed = [readings_needed(floor, requirement) for floor in floors]
    return DepthBatch(
        requirement,
        np.array([0, len(floors)], dtype=np.int64),
        starts.astype(np.int64),
        slot[order].astype(np.uint16),
        (spots.zone[order] + 1).astype(np.uint16),
        np.array(needed, dtype=np.uint16),
        np.array([len(floor.grid.numbers) for floor in floors], dtype=np.uint16),
    )


def _check_starts(name: str, starts: Ints, total: int, least: int) -> None:
    steps = np.diff(starts)
    ends = len(starts) > 0 and starts[0] == 0 and starts[-1] == total
    if not ends or (steps < least).any():
        raise InputError(
            name, "does not divide its rows in order.", f"Give rising numbers from 0 to {total}."
        )


def _joined_starts(parts: Sequence[Ints]) -> Ints:
    sizes = [np.diff(part) for part in parts]
    lengths = np.concatenate([np.zeros(1, dtype=np.int64), *sizes])
    return np.cumsum(lengths, dtype=np.int64)


def _chunks(area_start: Ints) -> Iterator[tuple[int, int]]:
    """Runs of whole areas with about CHUNK_READINGS readings, and no more areas than that."""
    areas = len(area_start) - 1
    first = 0
    while first < areas:
        wanted = np.searchsorted(area_start, area_start[first] + CHUNK_READINGS, side="right") - 1
        last = min(areas, first + CHUNK_READINGS, max(first + 1, int(wanted)))
        yield first, last
        first = last


@lru_cache(maxsize=16)
def _tables(requirement: DepthRequirement) -> tuple[Ints, Ints, Ints]:
    """What one reading adds to its area's sums, by slot.

    First: 1 in each of four 16-bit fields for counted, below, too thin, eaves too thin.
    Second: depth and, 32 bits up, shortfall. Third: square of the shortfall.
    """
    depth = np.arange(GREATEST_TENTHS + 1, dtype=np.int64)
    shortfall = np.maximum(requirement.required_tenths - depth, 0)
    flags = 1 + ((depth < requirement.below_tenths).astype(np.int64) << _WORD)
    flags += (depth < requirement.thin_tenths).astype(np.int64) << (2 * _WORD)
    apart = np.zeros(2, dtype=np.int64)
    eaves = np.array([0, 1 << (3 * _WORD)], dtype=np.int64)
    return (
        np.concatenate([flags, eaves]),
        np.concatenate([depth + (shortfall << 2 * _WORD), apart]),
        np.concatenate([shortfall * shortfall, apart]),
    )


def _tally(batch: DepthBatch, first: int, last: int) -> AreaTally:
    """The sums of depth_rule.tally_readings for areas first to last, readings in area order.

    Sums are of whole numbers and so do not depend on how they are taken. Fields are packed, so
    that one pass sums several; none overflows below 32,768 readings in an area.
    """
    start, end = int(batch.area_start[first]), int(batch.area_start[last])
    starts = batch.area_start[first:last] - start
    sizes = batch.area_start[first + 1 : last + 1] - batch.area_start[first:last]
    if sizes.max(initial=0) >= 1 << (_WORD - 1):
        raise InputError("readings", "number over 32,767 in one area.", "Split the area.")
    slot = batch.slot[start:end].astype(np.intp)
    sums = _Sums(starts, sizes > 0)
    flags, depths, squares = (sums.of(np.take(table, slot)) for table in _tables(batch.requirement))
    field = (1 << _WORD) - 1
    return AreaTally(
        readings=flags & field,
        total_tenths=depths & 0xFFFFFFFF,
        below=(flags >> _WORD) & field,
        too_thin=(flags >> 2 * _WORD) & field,
        shortfall_tenths=depths >> 2 * _WORD,
        shortfall_squares=squares,
        zones_read=_zones_read(batch.zone[start:end], sums),
        eaves_too_thin=flags >> 3 * _WORD,
        readings_needed=batch.needed[first:last].astype(np.int64),
        zones_needed=batch.zones[first:last].astype(np.int64),
    )


class _Sums:
    """Reductions over the readings of each area, 0 for an area without any."""

    def __init__(self, starts: Ints, filled: NDArray[np.bool_]) -> None:
        self.areas = len(starts)
        self.filled = None if filled.all() else filled
        self.starts = starts if self.filled is None else starts[filled]

    def of(self, values: Ints, ufunc: np.ufunc = np.add) -> Ints:
        if len(self.starts) == 0:
            return np.zeros(self.areas, dtype=np.int64)
        found: Ints = ufunc.reduceat(values, self.starts)
        if self.filled is None:
            return found
        spread = np.zeros(self.areas, dtype=found.dtype)
        spread[self.filled] = found
        return spread


_ZONE_BIT = np.concatenate([np.zeros(1, np.uint64), np.uint64(1) << np.arange(64, dtype=np.uint64)])


def _zones_read(zone: Columns, sums: _Sums) -> Ints:
    """Number of different zones among the readings of each area."""
    count = np.zeros(sums.areas, dtype=np.int64)
    for low in range(0, int(zone.max(initial=0)), _ZONES_PER_WORD):
        bit_number = zone.astype(np.intp) - low
        if low or int(zone.max(initial=0)) > _ZONES_PER_WORD:
            outside = (bit_number < 1) | (bit_number > _ZONES_PER_WORD)
            bit_number[outside] = 0
        bits = sums.of(np.take(_ZONE_BIT, bit_number), np.bitwise_or)
        count += np.bitwise_count(bits)
    return count
