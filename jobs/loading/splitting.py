"""A day's rolls split into loads of the van, in the order of the visits."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

TOLERANCE_M3 = 1e-6


@dataclass(frozen=True, slots=True)
class ToCarry:
    """Rolls of one visit: counts by roll code, and the packed volume of one roll of each [m3]."""

    key: int
    rolls: Mapping[str, int]
    roll_m3: Mapping[str, float]

    @property
    def volume_m3(self) -> float:
        return sum(count * self.roll_m3[code] for code, count in self.rolls.items())


@dataclass(frozen=True, slots=True)
class Trip:
    """One load: for each visit, in order, its rolls on this load. volume_m3: of them all."""

    parts: tuple[tuple[int, Mapping[str, int]], ...]
    volume_m3: float


def split_into_trips(visits: Iterable[ToCarry], van_m3: float | None) -> tuple[Trip, ...]:
    """Loads that each fit the van, visits in their order.

    A visit that fits the van is never torn apart: where it does not fit beside the visits before
    it, the van comes back for it. A visit larger than the van fills up what room is left, and
    then as many loads as it takes. Without a van (None) everything is one load. A roll larger
    than the van goes alone.
    """
    packer = _Packer(van_m3)
    for visit in visits:
        packer.add(visit)
    return packer.trips()


class _Packer:
    def __init__(self, van_m3: float | None) -> None:
        self.van_m3 = van_m3
        self._loads: list[list[tuple[int, dict[str, int]]]] = [[]]
        self._used = [0.0]

    def add(self, visit: ToCarry) -> None:
        if self.van_m3 is None or self._fits(visit.volume_m3):
            self._put(visit, dict(visit.rolls))
        elif visit.volume_m3 <= self.van_m3 + TOLERANCE_M3:
            self._come_back()
            self._put(visit, dict(visit.rolls))
        else:
            self._put_roll_by_roll(visit)

    def _fits(self, volume_m3: float) -> bool:
        return self._used[-1] + volume_m3 <= (self.van_m3 or 0.0) + TOLERANCE_M3

    def _come_back(self) -> None:
        self._loads.append([])
        self._used.append(0.0)

    def _put(self, visit: ToCarry, rolls: dict[str, int]) -> None:
        self._loads[-1].append((visit.key, rolls))
        self._used[-1] += sum(count * visit.roll_m3[code] for code, count in rolls.items())

    def _put_roll_by_roll(self, visit: ToCarry) -> None:
        rolls: dict[str, int] = {}
        volume = 0.0
        for code, count in visit.rolls.items():
            for _ in range(count):
                each = visit.roll_m3[code]
                if not self._fits(volume + each) and (rolls or self._loads[-1]):
                    if rolls:
                        self._put(visit, rolls)
                    self._come_back()
                    rolls, volume = {}, 0.0
                rolls[code] = rolls.get(code, 0) + 1
                volume += each
        self._put(visit, rolls)

    def trips(self) -> tuple[Trip, ...]:
        return tuple(
            Trip(tuple(parts), used)
            for parts, used in zip(self._loads, self._used, strict=True)
            if parts
        )
