"""Sets of readings that a person should look at. None of these changes a verdict.

Real wool laid by hand varies; sets that do not, or that sit just at the limit, are what an
invented set looks like. The thresholds are ours [common practice, no published source].
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from calculations.depth_rule import DepthRequirement

FEWEST_TO_JUDGE = 4
JUST_AT_LIMIT_SHARE = 0.02
IMPROBABLE_TIMES = 3.0
SAME_PLACE_MM = 50.0
ROUND_MM = 50.0
FEWEST_ROUND = 6


@dataclass(frozen=True, slots=True)
class Suspicion:
    """kind is a stable word for programs; text is for people."""

    kind: str
    text: str


class _Reading(Protocol):
    @property
    def area(self) -> str: ...
    @property
    def x_mm(self) -> float: ...
    @property
    def y_mm(self) -> float: ...
    @property
    def depth_mm(self) -> float: ...
    @property
    def allowance(self) -> str: ...


def find_suspicions(
    readings: Sequence[_Reading],
    *,
    outside: Sequence[int],
    refused: Sequence[int],
    judged: Sequence[int],
    requirement: DepthRequirement,
) -> tuple[Suspicion, ...]:
    """Everything odd about `readings`, most telling first.

    outside, refused, judged: indices of readings that lie outside their area or inside
    something solid, whose allowance was not granted, and that count in full.
    """
    by_area: dict[str, list[float]] = defaultdict(list)
    for i in judged:
        by_area[readings[i].area].append(readings[i].depth_mm)
    found: list[Suspicion] = []
    for area, depths in by_area.items():
        found += _of_area(area, depths, requirement)
    found += _copied(by_area)
    found += _misplaced(readings, outside, refused)
    found += _same_place(readings)
    found += _improbable(readings, requirement)
    return tuple(found)


def _of_area(area: str, depths: list[float], requirement: DepthRequirement) -> list[Suspicion]:
    if len(depths) < FEWEST_TO_JUDGE:
        return []
    if min(depths) == max(depths):
        return [
            Suspicion(
                "all_equal",
                f"{area}: all {len(depths)} readings are {depths[0]:g} mm; "
                "laid wool hardly ever measures the same everywhere.",
            )
        ]
    if len(depths) >= FEWEST_ROUND and all(depth % ROUND_MM == 0 for depth in depths):
        return [
            Suspicion(
                "round_numbers",
                f"{area}: all {len(depths)} readings are multiples of {ROUND_MM:g} mm; were they "
                "read off a gauge or guessed?",
            )
        ]
    high = requirement.min_depth_mm * (1 + JUST_AT_LIMIT_SHARE)
    if min(depths) >= requirement.min_depth_mm and max(depths) <= high:
        return [
            Suspicion(
                "at_the_limit",
                f"{area}: all {len(depths)} readings lie between "
                f"{requirement.min_depth_mm:g} and {high:g} mm, just at the limit.",
            )
        ]
    return []


def _copied(by_area: dict[str, list[float]]) -> list[Suspicion]:
    found = []
    names = [n for n, d in by_area.items() if len(d) >= FEWEST_TO_JUDGE and min(d) < max(d)]
    for i, first in enumerate(names):
        for second in names[i + 1 :]:
            if sorted(by_area[first]) == sorted(by_area[second]):
                found.append(
                    Suspicion(
                        "copied",
                        f"{first} and {second} have the very same depths, as if copied.",
                    )
                )
    return found


def _misplaced(
    readings: Sequence[_Reading], outside: Sequence[int], refused: Sequence[int]
) -> list[Suspicion]:
    found = []
    for i in outside:
        r = readings[i]
        found.append(
            Suspicion(
                "outside",
                f"Reading {i + 1} at x {r.x_mm / 1000:.1f} m, y {r.y_mm / 1000:.1f} m does not "
                f"lie on the floor of {r.area} and is not counted.",
            )
        )
    for i in refused:
        if i in outside:
            continue
        r = readings[i]
        found.append(
            Suspicion(
                "allowance_refused",
                f"Reading {i + 1} claims the {r.allowance} allowance, but there is no "
                f"{r.allowance} there; it is judged in full.",
            )
        )
    return found


def _same_place(readings: Sequence[_Reading]) -> list[Suspicion]:
    cells: dict[tuple[str, int, int], list[int]] = defaultdict(list)
    for i, r in enumerate(readings):
        key = (r.area, round(r.x_mm / SAME_PLACE_MM), round(r.y_mm / SAME_PLACE_MM))
        cells[key].append(i + 1)
    repeats = sorted(numbers for numbers in cells.values() if len(numbers) > 1)
    return [
        Suspicion(
            "same_place",
            f"Readings {', '.join(map(str, numbers))} were all taken at one place.",
        )
        for numbers in repeats
    ]


def _improbable(readings: Sequence[_Reading], requirement: DepthRequirement) -> list[Suspicion]:
    high = requirement.min_depth_mm * IMPROBABLE_TIMES
    return [
        Suspicion(
            "improbable",
            f"Reading {i + 1} is {r.depth_mm:g} mm, over {IMPROBABLE_TIMES:g} times what is "
            "asked; was it typed in the right unit?",
        )
        for i, r in enumerate(readings)
        if r.depth_mm > high
    ]
