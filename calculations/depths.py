"""Depth readings and a rule give a verdict, with the arithmetic that led to it.

`assess_depths` answers for one loft; `where_to_measure` says where readings are still
wanted. The numbers of the rule are in `calculations.depth_rule`, so that the same verdict
can be had over arrays.

Measuring depth means standing in a loft: boards over at least three joists, never a foot
between joists, and local rules for work at height come first.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np

from calculations.depth_rule import (
    GREATEST_DEPTH_MM,
    TENTHS,
    VERDICTS,
    AreaJudgement,
    DepthError,
    DepthRequirement,
    judge,
    tally_readings,
    to_tenths,
)
from calculations.depth_steps import AllowanceShown, ArithmeticStep, area_steps
from calculations.depth_suspicions import Suspicion, find_suspicions
from calculations.floors import AreaFloor, area_floor
from calculations.loft import Loft
from calculations.measuring import MeasuringPoint, points_wanted
from calculations.placing import place
from calculations.records import Plain, plain_dict

__all__ = [
    "AreaVerdict",
    "ArithmeticStep",
    "DepthError",
    "DepthRequirement",
    "DepthVerdict",
    "MeasuringPoint",
    "Reading",
    "assess_depths",
    "where_to_measure",
]

Allowance = Literal["", "eaves", "tank", "deck"]
ALLOWANCES: tuple[Allowance, ...] = ("", "eaves", "tank", "deck")


@dataclass(frozen=True, slots=True)
class Reading:
    """One depth measured [mm], in the loft's coordinates [mm].

    allowance: claimed where full depth can't be had: "eaves" near an eaves edge, "tank"
    beside a tank, "deck" under a boarded deck. It counts only where the loft has one.
    """

    area: str
    x_mm: float
    y_mm: float
    depth_mm: float
    allowance: Allowance = ""


@dataclass(frozen=True, slots=True)
class AreaVerdict:
    """One area's verdict. Depths in mm; floors in m2; nan where there is nothing to take.

    open_area_m2: floor that readings must show at full depth: net of holes, obstacles and
    the strip at the eaves. counted: readings judged against the full depth.
    """

    area: str
    verdict: str
    net_area_m2: float
    open_area_m2: float
    counted: int
    needed: int
    zones_read: int
    zones_needed: int
    mean_mm: float
    least_mm: float
    lower_limit_mm: float
    share_below: float
    allowances: tuple[AllowanceShown, ...]


@dataclass(frozen=True, slots=True)
class DepthVerdict:
    """The verdict for the job (its worst area's) and everything that led to it.

    deficit_mm: what the thinnest reading of a short area lacks. deficit_area_m2: floor of
    short areas estimated as below, from each one's share of readings below.
    missing: what would have to be measured, in words.
    """

    verdict: Literal["meets", "short", "unproven"]
    areas: tuple[AreaVerdict, ...]
    steps: tuple[ArithmeticStep, ...]
    suspicions: tuple[str, ...]
    suspicion_kinds: tuple[str, ...]
    deficit_mm: float
    deficit_area_m2: float
    missing: tuple[str, ...]
    requirement: DepthRequirement

    def to_dict(self) -> dict[str, Plain]:
        return plain_dict(self)


@dataclass(frozen=True, slots=True)
class _Placed:
    """A reading with what its place makes of it."""

    reading: Reading
    area_index: int
    zone: int
    counts: bool
    allowed: Allowance
    eaves_least_tenths: int

    @property
    def lacking_mm(self) -> float:
        lacking = self.eaves_least_tenths - int(to_tenths(self.reading.depth_mm))
        return max(0, lacking) / TENTHS


def assess_depths(
    loft: Loft, readings: Sequence[Reading], requirement: DepthRequirement
) -> DepthVerdict:
    """Verdict on `readings` [mm] against `requirement`, area by area and for the job.

    The rule is `calculations.depth_rule.judge`'s: `short` when what was measured is under
    what is asked, else `unproven` when it is not enough or not spread, else `meets`.
    Readings that lie outside the area they name are told and not counted. An allowance is
    granted by place: a reading with one is left out of the area's mean and shown apart, an
    eaves reading against `least_eaves_depth_mm`; where the loft has no such place the
    reading counts in full. Suspicions never change a verdict: they are for a person.

    Raises DepthError for a reading whose area is not in the loft, or whose depth, position
    or allowance cannot be.
    """
    floors = floors_of(loft, requirement)
    check_readings(loft, readings)
    placed = _place_all(floors, readings, requirement)
    needed = np.array([readings_needed(f, requirement) for f in floors], dtype=np.int64)
    zones = np.array([len(f.grid.numbers) for f in floors], dtype=np.int64)
    tally = tally_readings(
        requirement,
        area=np.array([p.area_index for p in placed], dtype=np.int64),
        depth_tenths=to_tenths([p.reading.depth_mm for p in placed]),
        zone=np.array([p.zone for p in placed], dtype=np.int64),
        counts=np.array([p.counts for p in placed], dtype=bool),
        eaves=np.array([p.allowed == "eaves" for p in placed], dtype=bool),
        eaves_least_tenths=np.array([p.eaves_least_tenths for p in placed], dtype=np.int64),
        readings_needed=needed,
        zones_needed=zones,
    )
    judged = judge(tally, requirement)
    areas: list[AreaVerdict] = []
    steps: list[ArithmeticStep] = []
    for index, floor in enumerate(floors):
        mine = [p for p in placed if p.area_index == index]
        area = _area_verdict(
            floor, mine, judged, index, int(needed[index]), int(tally.zones_read[index])
        )
        areas.append(area)
        depths = tuple(_tidy(p.reading.depth_mm) for p in mine if p.counts)
        steps.extend(area_steps(area, depths, int(tally.below[index]), judged, index, requirement))
    suspicions = _suspicions(floors, placed, requirement)
    deficit_mm, deficit_m2 = _deficit(areas, requirement)
    return DepthVerdict(
        verdict=_verdict(int(judged.code.min())),
        areas=tuple(areas),
        steps=tuple(steps),
        suspicions=tuple(s.text for s in suspicions),
        suspicion_kinds=tuple(dict.fromkeys(s.kind for s in suspicions)),
        deficit_mm=deficit_mm,
        deficit_area_m2=deficit_m2,
        missing=_missing(floors, placed, areas, requirement),
        requirement=requirement,
    )


def where_to_measure(
    loft: Loft, readings: Sequence[Reading], requirement: DepthRequirement
) -> tuple[MeasuringPoint, ...]:
    """Positions that still want a reading, so that every area has enough and spread.

    First one in each zone without a counted reading, then the places farthest from all
    others until the number is reached. Empty once count and spread are satisfied.
    """
    floors = floors_of(loft, requirement)
    check_readings(loft, readings)
    placed = _place_all(floors, readings, requirement)
    wanted: list[MeasuringPoint] = []
    for index, floor in enumerate(floors):
        taken = [p for p in placed if p.area_index == index and p.counts]
        wanted.extend(
            points_wanted(
                floor,
                [(p.reading.x_mm, p.reading.y_mm) for p in taken],
                {p.zone for p in taken},
                readings_needed(floor, requirement),
            )
        )
    return tuple(wanted)


def readings_needed(floor: AreaFloor, requirement: DepthRequirement) -> int:
    """Readings an area needs: by its open floor, its zones, and never fewer than the least.

    At least two, because one reading says nothing about spread.
    """
    by_size = math.ceil(floor.open_m2 / requirement.m2_per_reading - 1e-9)
    return max(2, requirement.least_readings_per_area, by_size, len(floor.grid.numbers))


def check_readings(loft: Loft, readings: Sequence[Reading]) -> None:
    """Raise DepthError at the first reading that cannot be, naming its field."""
    names = [area.name for area in loft.areas]
    for i, reading in enumerate(readings):
        path = f"readings[{i}]"
        if reading.area not in names:
            raise DepthError(
                f"{path}.area",
                f"is {reading.area!r}, which this loft does not have.",
                f"Name one of: {', '.join(names)}.",
            )
        for field in ("x_mm", "y_mm", "depth_mm"):
            if not math.isfinite(getattr(reading, field)):
                raise DepthError(f"{path}.{field}", "is not a number.", "Give it in millimetres.")
        if not 0 <= reading.depth_mm <= GREATEST_DEPTH_MM:
            raise DepthError(
                f"{path}.depth_mm",
                f"is {reading.depth_mm:g} mm.",
                f"Give the depth in millimetres, 0 to {GREATEST_DEPTH_MM:g}.",
            )
        if reading.allowance not in ALLOWANCES:
            raise DepthError(
                f"{path}.allowance",
                f"is {reading.allowance!r}.",
                'Leave it empty or give "eaves", "tank" or "deck".',
            )


def floors_of(loft: Loft, requirement: DepthRequirement) -> tuple[AreaFloor, ...]:
    """The floors of a loft's areas, ready for readings against `requirement`.

    Kept for the lofts asked about last: a form that redraws on each reading asks often.
    """
    return _floors(loft, requirement.min_depth_mm, requirement.zone_m2)


@lru_cache(maxsize=512)
def _floors(loft: Loft, min_depth_mm: float, zone_m2: float) -> tuple[AreaFloor, ...]:
    return tuple(area_floor(loft, area, min_depth_mm, zone_m2) for area in loft.areas)


def _place_all(
    floors: Sequence[AreaFloor], readings: Sequence[Reading], requirement: DepthRequirement
) -> list[_Placed]:
    index = {floor.area.name: i for i, floor in enumerate(floors)}
    area = np.array([index[r.area] for r in readings], dtype=np.int64)
    spots = place(
        floors,
        area,
        [r.x_mm for r in readings],
        [r.y_mm for r in readings],
        [ALLOWANCES.index(r.allowance) for r in readings],
        requirement,
    )
    return [
        _Placed(
            reading,
            int(area[i]),
            int(spots.zone[i]),
            bool(spots.counts[i]),
            ALLOWANCES[int(spots.allowed[i])],
            int(spots.eaves_least_tenths[i]),
        )
        for i, reading in enumerate(readings)
    ]


def _area_verdict(
    floor: AreaFloor,
    mine: list[_Placed],
    judged: AreaJudgement,
    index: int,
    needed: int,
    zones_read: int,
) -> AreaVerdict:
    depths = [_tidy(p.reading.depth_mm) for p in mine if p.counts]
    shown = []
    for kind in ALLOWANCES[1:]:
        apart = [p for p in mine if p.allowed == kind]
        if apart:
            shown.append(_allowance_shown(kind, apart))
    return AreaVerdict(
        area=floor.area.name,
        verdict=VERDICTS[int(judged.code[index])],
        net_area_m2=floor.net_m2,
        open_area_m2=floor.open_m2,
        counted=len(depths),
        needed=needed,
        zones_read=zones_read,
        zones_needed=len(floor.grid.numbers),
        mean_mm=float(judged.mean_mm[index]),
        least_mm=min(depths, default=math.nan),
        lower_limit_mm=float(judged.lower_limit_mm[index]),
        share_below=float(judged.share_below[index]),
        allowances=tuple(shown),
    )


def _allowance_shown(kind: Allowance, apart: list[_Placed]) -> AllowanceShown:
    depths = [_tidy(p.reading.depth_mm) for p in apart]
    return AllowanceShown(
        kind=kind,
        readings=len(depths),
        mean_mm=math.fsum(depths) / len(depths),
        least_mm=min(depths),
        lacking_mm=max(p.lacking_mm for p in apart),
    )


def _tidy(depth_mm: float) -> float:
    return float(to_tenths(depth_mm)) / TENTHS


def _verdict(code: int) -> Literal["meets", "short", "unproven"]:
    if code == 2:
        return "meets"
    return "unproven" if code == 1 else "short"


def _deficit(areas: list[AreaVerdict], requirement: DepthRequirement) -> tuple[float, float]:
    least, floor_m2 = 0.0, 0.0
    for area in areas:
        if area.verdict != "short":
            continue
        if area.counted:
            least = max(least, requirement.min_depth_mm - area.least_mm)
            floor_m2 += area.share_below * area.open_area_m2
        for shown in area.allowances:
            least = max(least, shown.lacking_mm)
    return least, floor_m2


def _suspicions(
    floors: Sequence[AreaFloor], placed: list[_Placed], requirement: DepthRequirement
) -> tuple[Suspicion, ...]:
    return find_suspicions(
        [p.reading for p in placed],
        outside=[i for i, p in enumerate(placed) if not p.counts and not p.allowed],
        refused=[i for i, p in enumerate(placed) if p.reading.allowance and not p.allowed],
        judged=[i for i, p in enumerate(placed) if p.counts],
        requirement=requirement,
    )


def _missing(
    floors: Sequence[AreaFloor],
    placed: list[_Placed],
    areas: list[AreaVerdict],
    requirement: DepthRequirement,
) -> tuple[str, ...]:
    said = []
    for index, (floor, area) in enumerate(zip(floors, areas, strict=True)):
        read = {p.zone for p in placed if p.area_index == index and p.counts}
        if area.counted < area.needed:
            more = area.needed - area.counted
            said.append(
                f"{area.area}: {more} more reading{'s' if more > 1 else ''} at full depth"
                f" ({area.counted} of {area.needed})."
            )
        empty = [z for z in floor.grid.numbers if z not in read]
        if empty and area.counted:
            places = "; ".join(_place_words(floor, zone) for zone in empty)
            said.append(f"{area.area}: no reading in the zone round {places}.")
        if area.verdict == "unproven" and area.counted >= area.needed and not empty:
            least = requirement.least_limit_share * requirement.min_depth_mm
            said.append(
                f"{area.area}: readings scatter too much to be sure of {least:.0f} mm;"
                " take more, or add wool at the thin places."
            )
    return tuple(said)


def _place_words(floor: AreaFloor, zone: int) -> str:
    held = floor.grid.cell(zone).intersection(floor.open)
    point = held.centroid
    return f"x {point.x / 1000:.1f} m, y {point.y / 1000:.1f} m"
