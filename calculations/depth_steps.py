"""The arithmetic of a depth verdict, as data that a page can show line by line."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

from calculations.depth_rule import TENTHS, AreaJudgement, DepthRequirement


@dataclass(frozen=True, slots=True)
class ArithmeticStep:
    """One line: what is worked out, how, what came out, and whether it passes.

    passed is None where the line informs and decides nothing. kind is a stable word for
    programs: "count", "spread", "mean", "thinnest", "share", "limit", "eaves", "apart".
    """

    label: str
    expression: str
    value: float | None
    unit: str
    passed: bool | None
    area: str
    kind: str


@dataclass(frozen=True, slots=True)
class AllowanceShown:
    """Readings of an area under one allowance, apart from the rest. Depths in mm.

    lacking_mm: the most that any of them lacks of what it must have there (eaves only).
    """

    kind: str
    readings: int
    mean_mm: float
    least_mm: float
    lacking_mm: float


class _AreaNumbers(Protocol):
    """What the lines need of an area's verdict."""

    @property
    def area(self) -> str: ...
    @property
    def open_area_m2(self) -> float: ...
    @property
    def counted(self) -> int: ...
    @property
    def needed(self) -> int: ...
    @property
    def zones_read(self) -> int: ...
    @property
    def zones_needed(self) -> int: ...
    @property
    def mean_mm(self) -> float: ...
    @property
    def least_mm(self) -> float: ...
    @property
    def lower_limit_mm(self) -> float: ...
    @property
    def share_below(self) -> float: ...
    @property
    def allowances(self) -> tuple[AllowanceShown, ...]: ...


def area_steps(
    area: _AreaNumbers,
    depths_mm: tuple[float, ...],
    below: int,
    judged: AreaJudgement,
    index: int,
    requirement: DepthRequirement,
) -> list[ArithmeticStep]:
    """The lines for one area, in the order in which a person would check them."""
    name = area.area
    steps = [
        _count_step(area, judged, index, requirement),
        ArithmeticStep(
            "Zones with a reading",
            f"at least one in each of {area.zones_needed} zones",
            area.zones_read,
            "zones",
            bool(judged.spread_passes[index]),
            name,
            "spread",
        ),
    ]
    if depths_mm:
        steps += _depth_steps(area, depths_mm, below, judged, index, requirement)
    for shown in area.allowances:
        steps.append(_allowance_step(name, shown, requirement, bool(judged.eaves_pass[index])))
    return steps


def _count_step(
    area: _AreaNumbers, judged: AreaJudgement, index: int, requirement: DepthRequirement
) -> ArithmeticStep:
    by_size = math.ceil(area.open_area_m2 / requirement.m2_per_reading - 1e-9)
    return ArithmeticStep(
        "Readings",
        f"at least the most of: {requirement.least_readings_per_area} an area; "
        f"{area.open_area_m2:.1f} m² / {requirement.m2_per_reading:g} m² → {by_size}; "
        f"one a zone → {area.zones_needed}. So {area.needed}",
        area.counted,
        "readings",
        bool(judged.count_passes[index]),
        area.area,
        "count",
    )


def _depth_steps(
    area: _AreaNumbers,
    depths_mm: tuple[float, ...],
    below: int,
    judged: AreaJudgement,
    index: int,
    requirement: DepthRequirement,
) -> list[ArithmeticStep]:
    name, required = area.area, requirement.min_depth_mm
    thin = requirement.thin_tenths / TENTHS
    limit = requirement.below_tenths / TENTHS
    least_limit = requirement.least_limit_share * required
    return [
        ArithmeticStep(
            "Mean depth",
            f"{_sum_words(depths_mm)} / {len(depths_mm)}, at least {required:g} mm",
            area.mean_mm,
            "mm",
            bool(judged.mean_passes[index]),
            name,
            "mean",
        ),
        ArithmeticStep(
            "Thinnest reading",
            f"at least {requirement.least_depth_share:.0%} of {required:g} mm = {thin:g} mm",
            area.least_mm,
            "mm",
            bool(judged.thinnest_passes[index]),
            name,
            "thinnest",
        ),
        ArithmeticStep(
            "Share below",
            f"{below} of {area.counted} readings under {limit:g} mm, "
            f"at most {requirement.greatest_share_below:.0%}",
            area.share_below * 100,
            "%",
            bool(judged.share_passes[index]),
            name,
            "share",
        ),
        ArithmeticStep(
            f"Lower limit of the mean ({requirement.confidence:.0%} sure, one side)",
            f"no reading credited over {required:g} mm; at least "
            f"{requirement.least_limit_share:.0%} of it = {least_limit:g} mm",
            area.lower_limit_mm,
            "mm",
            bool(judged.limit_passes[index]),
            name,
            "limit",
        ),
    ]


def _allowance_step(
    name: str, shown: AllowanceShown, requirement: DepthRequirement, passed: bool
) -> ArithmeticStep:
    count = f"{shown.readings} reading{'s' if shown.readings > 1 else ''}"
    if shown.kind == "eaves":
        least = min(requirement.least_eaves_depth_mm, requirement.min_depth_mm)
        return ArithmeticStep(
            "Thinnest at the eaves",
            f"{count} apart, mean {shown.mean_mm:.0f} mm; at least {least:g} mm, or what fits "
            f"under the roof with its air gap, less {requirement.reading_tolerance_mm:g} mm",
            shown.least_mm,
            "mm",
            passed,
            name,
            "eaves",
        )
    where = {"tank": "Thinnest beside the tank", "deck": "Thinnest under the deck"}
    return ArithmeticStep(
        where[shown.kind],
        f"{count} apart, mean {shown.mean_mm:.0f} mm, not judged",
        shown.least_mm,
        "mm",
        None,
        name,
        "apart",
    )


def _sum_words(depths_mm: tuple[float, ...]) -> str:
    if len(depths_mm) <= 8:
        return "(" + " + ".join(f"{d:g}" for d in depths_mm) + ")"
    first = " + ".join(f"{d:g}" for d in depths_mm[:3])
    return f"({first} + … + {depths_mm[-1]:g})"
