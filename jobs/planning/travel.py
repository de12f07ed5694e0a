"""How long a drive takes: the great-circle rule, or a road-routing server behind it.

The rule: the distance on a sphere, times a road factor, at a mean speed, plus some minutes for
leaving one door and finding the next. It needs no network and is worked out for a thousand places
(a million pairs) in well under a second, so its answers are never stored: reading a million rows
would take longer. Only what a server answered is (`road_router.py`).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt
from django.conf import settings

from jobs.planning.problem import Travel

Position = tuple[float, float]  # latitude, longitude [deg], WGS 84
Rounded = tuple[int, int]  # 1/10,000 deg, about 11 m
Whole = npt.NDArray[np.int64]
Numbers = npt.NDArray[np.float64]

# Mean radius of the Earth, R1 = (2a + b) / 3 of the reference ellipsoid (IUGG; GRS 80), [m].
EARTH_RADIUS_M = 6_371_008.8


@dataclass(frozen=True, slots=True)
class TravelRule:
    """From a distance on the sphere to a drive.

    Attributes:
        road_factor: road length over great-circle length [-]. 1.3: common practice for planning
            without a road network; published factors of countries lie about 1.2 to 1.5 (value
            from memory).
        speed_km_h: mean speed between doors [km/h]. 40, town and country mixed: common practice,
            no published source.
        at_the_ends_s: leaving one door and parking at the next [s]; not between places that are
            the same. Common practice, no published source.
    """

    road_factor: float = 1.3
    speed_km_h: float = 40.0
    at_the_ends_s: int = 120

    def __post_init__(self) -> None:
        for name, low, high in (
            ("road_factor", 1.0, 3.0),
            ("speed_km_h", 5.0, 130.0),
            ("at_the_ends_s", 0, 3600),
        ):
            value = getattr(self, name)
            if not low <= value <= high:
                raise ValueError(f"{name} is {value}; give {low} to {high}.")


def travel_rule() -> TravelRule:
    """The rule by the settings `TRAVEL_ROAD_FACTOR` and `TRAVEL_SPEED_KM_H`."""
    return TravelRule(settings.TRAVEL_ROAD_FACTOR, settings.TRAVEL_SPEED_KM_H)


@dataclass(frozen=True, slots=True)
class Drive:
    """One drive: minutes at the wheel and kilometres of road.

    straight: reckoned from the straight distance although a road-routing server is set, since it
    did not tell this one.
    """

    minutes: float
    km: float
    straight: bool = False


@dataclass(frozen=True, slots=True)
class Matrices:
    """Seconds and metres from each position (row) to each (column), and what is to be told."""

    seconds: Whole
    metres: Whole
    notes: tuple[str, ...] = ()

    def as_travel(self) -> Travel:
        return Travel(self.seconds, self.metres)


class TravelProvider(Protocol):
    """Somebody who knows how long drives take. The way back may take another time."""

    name: str

    def matrices(self, positions: Sequence[Position]) -> Matrices:
        """Drives between all positions, and where they are from in the notes."""


def great_circle_m(first: Position, second: Position) -> float:
    """Distance on the sphere [m] by the haversine formula.

    Reference: R. W. Sinnott, Virtues of the Haversine, Sky and Telescope 68 (1984) 159. On a
    sphere of the mean radius it is within 0.6 % of the distance on the ellipsoid (from memory).
    """
    return float(_distances_m(np.array([first, second]))[0, 1])


def _distances_m(degrees: Numbers) -> Numbers:
    """Haversine distances between all rows of (latitude, longitude) [deg], square [m]."""
    radians = np.radians(degrees)
    latitude, longitude = radians[:, 0], radians[:, 1]
    across = np.sin((latitude[:, None] - latitude[None, :]) / 2) ** 2
    along = np.sin((longitude[:, None] - longitude[None, :]) / 2) ** 2
    half = across + np.cos(latitude)[:, None] * np.cos(latitude)[None, :] * along
    return np.asarray(2 * EARTH_RADIUS_M * np.arcsin(np.sqrt(np.clip(half, 0, 1))))


@dataclass(frozen=True, slots=True)
class GreatCircle:
    """The rule as a provider. Symmetric."""

    rule: TravelRule
    name: str = "great circle"

    def matrices(self, positions: Sequence[Position]) -> Matrices:
        if not positions:
            nothing = np.zeros((0, 0), dtype=np.int64)
            return Matrices(nothing, nothing)
        metres = _distances_m(np.asarray(positions, dtype=np.float64)) * self.rule.road_factor
        seconds = metres * 3.6 / self.rule.speed_km_h
        apart = metres >= 1.0
        seconds = np.where(apart, seconds + self.rule.at_the_ends_s, 0.0)
        metres = np.where(apart, metres, 0.0)
        rounded = np.rint(seconds).astype(np.int64), np.rint(metres).astype(np.int64)
        return Matrices(*rounded, (self.note,))

    @property
    def note(self) -> str:
        times, speed = f"{self.rule.road_factor:g}", f"{self.rule.speed_km_h:g}"
        return f"Drives are from straight distances, {times} times as far, at {speed} km/h."


_ROADS: ContextVar[Mapping[tuple[Rounded, Rounded], Drive]] = ContextVar("roads")


def rounded(position: Position) -> Rounded:
    return round(position[0] * 10_000), round(position[1] * 10_000)


@contextmanager
def known_roads(groups: Iterable[Iterable[Position | None]]) -> Iterator[None]:
    """Within it `drive_between` tells what a road-routing server answered, where it did.

    `groups`: positions between which drives will be wanted, such as those of a crew's day. If a
    server is set, one query for what it answered before, and a moment's asking for the rest
    (`page_drives.py`); else none.
    """
    from jobs.planning.page_drives import drives_between

    if not settings.TRAVEL_ROUTER_URL:
        yield
        return
    places = [{rounded(position) for position in group if position} for group in groups]
    token = _ROADS.set({**_ROADS.get({}), **drives_between(places)})
    try:
        yield
    finally:
        _ROADS.reset(token)


def drive_between(first: Position, second: Position, rule: TravelRule | None = None) -> Drive:
    """A drive as a server told it (`known_roads`), else by the rule: good enough to draw."""
    straight = rule is None and bool(settings.TRAVEL_ROUTER_URL)
    if rule is None:
        known = _ROADS.get({}).get((rounded(first), rounded(second)))
        if known is not None:
            return known
    rule = rule or travel_rule()
    metres = great_circle_m(first, second) * rule.road_factor
    if metres < 1.0:
        return Drive(0.0, 0.0)
    minutes = metres * 0.06 / rule.speed_km_h + rule.at_the_ends_s / 60
    return Drive(minutes, metres / 1000, straight)


def travel_matrix(positions: Sequence[Position]) -> Matrices:
    """Drives between all positions by the provider of the settings; the notes say which it was.

    Where a road-routing server does not answer, the great-circle rule stands in: a plan with rough
    drives is better than none.
    """
    from jobs.planning.road_router import road_router

    rule = GreatCircle(travel_rule())
    provider: TravelProvider = road_router(rule) or rule
    return provider.matrices(positions)
