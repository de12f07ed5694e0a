"""A day's rounds as a map without tiles: where each crew goes, in which order, to scale.

Rounds that lie far apart get maps of their own, each with its own scale. A map is laid out in
units of its picture (`WIDTH` across), so that a template can draw it without reckoning.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from jobs.planning.map_labels import CREW, DEPOT, DISTRICT, Box, Sheet, along, around

EARTH_RADIUS_KM = 6371.0088  # mean radius R1 of the GRS 80 ellipsoid (Moritz 2000)
WIDTH = 480.0
TALLEST, LOWEST = 460.0, 300.0
MARGIN = 44.0
SPOT = 12.0
NEAR_KM = 60.0
SMALLEST_SPAN_KM = 4.0
SCALE_STEPS_KM = (0.5, 1, 2, 5, 10, 20, 50, 100, 200)
DASHES = ("", "9 4", "2 4", "12 4 2 4", "5 3", "1 6", "14 6", "8 3 2 3 2 3")

Degrees = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Call:
    """One stop of a round to be drawn: `at` in degrees (latitude, longitude).

    `by_depot`: the van comes by way of its depot. `returns`: it goes there and back meanwhile.
    """

    key: int
    order: int
    at: Degrees
    district: str
    town: str
    by_depot: bool = False
    returns: bool = False


@dataclass(frozen=True, slots=True)
class DepotToDraw:
    name: str
    at: Degrees


@dataclass(frozen=True, slots=True)
class RoundToDraw:
    """A crew's day: where it sets off, its calls in order, and the depot its van loads at."""

    crew: str
    base: Degrees | None
    calls: tuple[Call, ...]
    depot: DepotToDraw | None = None

    @property
    def way(self) -> tuple[Degrees, ...]:
        """Every place of the round. A depot it does not call at is left out if it lies far off."""
        base = (self.base,) if self.base else ()
        places = (*base, *(call.at for call in self.calls), *base)
        return (*places, self.depot.at) if self.depot and self._shows_depot(places) else places

    @property
    def shown_depot(self) -> DepotToDraw | None:
        return self.depot if self.depot and self.depot.at in self.way else None

    def _shows_depot(self, places: Sequence[Degrees]) -> bool:
        assert self.depot is not None
        called_at = any(call.by_depot or call.returns for call in self.calls)
        near = (math.hypot(*transverse_mercator(self.depot.at, place)) for place in places)
        return called_at or any(km < NEAR_KM for km in near)


@dataclass(frozen=True, slots=True)
class Spot:
    """A numbered stop in picture units; (`true_x`, `true_y`) is where it really lies."""

    key: int
    order: int
    x: float
    y: float
    true_x: float
    true_y: float

    @property
    def is_moved(self) -> bool:
        """It stands beside its place, because others stand there too."""
        return math.hypot(self.x - self.true_x, self.y - self.true_y) > 4


@dataclass(frozen=True, slots=True)
class Label:
    text: str
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class DrawnRound:
    """A round as a line: `path` for an SVG through the points of `way`, its dashes, its name."""

    crew: str
    path: str
    dash: str
    spots: tuple[Spot, ...]
    base: Label | None
    way: tuple[tuple[float, float], ...]
    name: Label | None = None

    @property
    def legs(self) -> tuple[tuple[tuple[float, float], tuple[float, float]], ...]:
        """The straight pieces of the way."""
        return tuple(zip(self.way, self.way[1:], strict=False))


@dataclass(frozen=True, slots=True)
class RoundMap:
    """One map. `scale_km` is as long as the bar of `scale_length` units.

    `depots`: each once, where it lies; `depot_names`: their names where there is room.
    """

    title: str
    height: float
    rounds: tuple[DrawnRound, ...]
    depots: tuple[Label, ...]
    depot_names: tuple[Label, ...]
    labels: tuple[Label, ...]
    scale_km: float
    scale_length: float
    width: float = WIDTH

    @property
    def scale_words(self) -> str:
        return f"{self.scale_km:g} km"


def transverse_mercator(at: Degrees, centre: Degrees) -> tuple[float, float]:
    """East and north of `centre` [km] on a sphere; equal scale in every direction at a point.

    Snyder, Map Projections: A Working Manual, USGS Professional Paper 1395 (1987), equations
    8-1 to 8-3 with k0 = 1. Valid less than 90 degrees of longitude from the centre.
    """
    latitude, longitude = math.radians(at[0]), math.radians(at[1] - centre[1])
    b = math.cos(latitude) * math.sin(longitude)
    x = EARTH_RADIUS_KM / 2 * math.log((1 + b) / (1 - b))
    y = EARTH_RADIUS_KM * (
        math.atan2(math.tan(latitude), math.cos(longitude)) - math.radians(centre[0])
    )
    return x, y


def maps_of(rounds: Iterable[RoundToDraw]) -> tuple[RoundMap, ...]:
    """The maps of a day; a round without a single known place is on none."""
    known = [round_ for round_ in rounds if round_.way]
    return tuple(_map_of(group) for group in _groups(known))


def _groups(rounds: list[RoundToDraw]) -> list[list[RoundToDraw]]:
    """Rounds with a place within NEAR_KM of one of another's are drawn together."""
    groups: list[list[RoundToDraw]] = []
    for round_ in rounds:
        near = [group for group in groups if any(_are_near(round_, other) for other in group)]
        together = [member for group in near for member in group] + [round_]
        groups = [group for group in groups if group not in near] + [together]
    return groups


def _are_near(one: RoundToDraw, other: RoundToDraw) -> bool:
    return any(
        math.hypot(*transverse_mercator(there, here)) < NEAR_KM
        for here in one.way
        for there in other.way
    )


def _map_of(rounds: Sequence[RoundToDraw]) -> RoundMap:
    places = [place for round_ in rounds for place in round_.way]
    centre = (_middle(lat for lat, _ in places), _middle(lon for _, lon in places))
    flat = [transverse_mercator(place, centre) for place in places]
    west, east = min(x for x, _ in flat), max(x for x, _ in flat)
    south, north = min(y for _, y in flat), max(y for _, y in flat)
    across = max(east - west, SMALLEST_SPAN_KM)
    up = max(north - south, SMALLEST_SPAN_KM)
    unit = min((WIDTH - 2 * MARGIN) / across, (TALLEST - 2 * MARGIN) / up)
    height = min(max(up * unit + 2 * MARGIN, LOWEST), TALLEST)
    mid_x, mid_y = (west + east) / 2, (south + north) / 2

    def on_picture(at: Degrees) -> tuple[float, float]:
        x, y = transverse_mercator(at, centre)
        return WIDTH / 2 + (x - mid_x) * unit, height / 2 - (y - mid_y) * unit

    drawn = _drawn(rounds, on_picture, height)
    found = dict.fromkeys(round_.shown_depot for round_ in rounds)
    depots = tuple(
        Label(depot.name, *_rounded(on_picture(depot.at))) for depot in found if depot is not None
    )
    sheet = _sheet(drawn, depots, height)
    named = tuple(replace(each, name=_crew_name(sheet, each)) for each in drawn)
    depot_names = tuple(name for depot in depots if (name := _depot_name(sheet, depot)))
    calls = [call for round_ in rounds for call in round_.calls]
    scale = max(step for step in SCALE_STEPS_KM if step * unit < WIDTH / 4 or step == 0.5)
    return RoundMap(
        title=_title(calls, rounds),
        height=round(height, 1),
        rounds=named,
        depots=depots,
        depot_names=depot_names,
        labels=_district_labels(calls, on_picture, sheet),
        scale_km=scale,
        scale_length=round(scale * unit, 1),
    )


def _middle(values: Iterable[float]) -> float:
    found = list(values)
    return (min(found) + max(found)) / 2


def _title(calls: Sequence[Call], rounds: Sequence[RoundToDraw]) -> str:
    towns = list(dict.fromkeys(call.town for call in calls if call.town))
    named = ", ".join(towns[:3]) + (" and more" if len(towns) > 3 else "")
    return named or ", ".join(round_.crew for round_ in rounds)


def _drawn(rounds: Sequence[RoundToDraw], on_picture, height: float) -> tuple[DrawnRound, ...]:  # type: ignore[no-untyped-def]
    true = [[on_picture(call.at) for call in round_.calls] for round_ in rounds]
    bases = [on_picture(round_.base) if round_.base else None for round_ in rounds]
    apart = iter(_pushed_apart([spot for spots in true for spot in spots], height))
    found = []
    for nth, (round_, spots, base) in enumerate(zip(rounds, true, bases, strict=True)):
        marked = tuple(
            Spot(call.key, call.order, *_rounded(next(apart)), *_rounded(spot))
            for call, spot in zip(round_.calls, spots, strict=True)
        )
        depot = on_picture(round_.shown_depot.at) if round_.shown_depot else None
        way = [base] if base else []
        for call, spot in zip(round_.calls, marked, strict=True):
            way += [depot] if depot and call.by_depot else []
            way += [(spot.x, spot.y)]
            way += [depot, (spot.x, spot.y)] if depot and call.returns else []
        way += [base] if base and marked else []
        path = "M" + " L".join(f"{x:.1f} {y:.1f}" for x, y in way)
        found.append(
            DrawnRound(
                round_.crew,
                path,
                DASHES[nth % len(DASHES)],
                marked,
                Label("", *_rounded(base)) if base else None,
                tuple(way),
            )
        )
    return tuple(found)


def _rounded(at: tuple[float, float]) -> tuple[float, float]:
    return round(at[0], 1), round(at[1], 1)


def _sheet(drawn: Sequence[DrawnRound], depots: Sequence[Label], height: float) -> Sheet:
    """The picture with what no name may cover: stops, bases, depots, the scale and the north."""
    taken = [Box(0, height - 34, 150, height), Box(444, height - 54, WIDTH, height)]
    taken += [Box.about(s.x, s.y, SPOT, SPOT) for each in drawn for s in each.spots]
    taken += [Box.about(each.base.x, each.base.y, 8, 8) for each in drawn if each.base]
    taken += [Box.about(depot.x, depot.y - 1.5, 13, 12) for depot in depots]
    return Sheet(WIDTH, height, taken, [leg for each in drawn for leg in each.legs])


def _crew_name(sheet: Sheet, drawn: DrawnRound) -> Label | None:
    """The crew's name beside its way, or at its base; left out where it would cover something."""
    places = list(along(drawn.legs))
    if drawn.way:
        places += around(*drawn.way[0], 12, 12, CREW.half(drawn.crew))
    at = sheet.place(drawn.crew, places, CREW, own=drawn.legs)
    return Label(drawn.crew, *at) if at else None


def _depot_name(sheet: Sheet, depot: Label) -> Label | None:
    places = around(depot.x, depot.y, 13, 11, DEPOT.half(depot.text))
    at = sheet.place(depot.text, places, DEPOT)
    return Label(depot.text, *at) if at else None


def _pushed_apart(spots: list[tuple[float, float]], height: float) -> list[tuple[float, float]]:
    """Spots moved just so far that none covers another; the same input gives the same picture."""
    placed = [list(spot) for spot in spots]
    for _ in range(60):
        moved = False
        for nth, one in enumerate(placed):
            for later, other in enumerate(placed[nth + 1 :], start=nth + 1):
                dx, dy = other[0] - one[0], other[1] - one[1]
                gap = math.hypot(dx, dy)
                if gap >= 2 * SPOT + 1:
                    continue
                moved = True
                angle = math.atan2(dy, dx) if gap > 0.01 else 2.4 * (nth + later)
                push = (2 * SPOT + 2 - gap) / 2
                one[0] -= push * math.cos(angle)
                one[1] -= push * math.sin(angle)
                other[0] += push * math.cos(angle)
                other[1] += push * math.sin(angle)
        for spot in placed:
            spot[0] = min(max(spot[0], SPOT + 2), WIDTH - SPOT - 2)
            spot[1] = min(max(spot[1], SPOT + 2), height - SPOT - 2)
        if not moved:
            break
    return [(x, y) for x, y in placed]


def _district_labels(  # type: ignore[no-untyped-def]
    calls: Sequence[Call], on_picture, sheet: Sheet
) -> tuple[Label, ...]:
    """The name of each postcode district by its calls, left out where it would cover something."""
    by_district: dict[str, list[Call]] = {}
    for call in calls:
        by_district.setdefault(call.district, []).append(call)
    found = []
    for district, here in sorted(by_district.items(), key=lambda item: (-len(item[1]), item[0])):
        points = [on_picture(call.at) for call in here]
        text = f"{here[0].town} {district}".strip()
        x, y = (_middle(point[axis] for point in points) for axis in (0, 1))
        across, up = (max(abs(p[axis] - (x, y)[axis]) for p in points) + SPOT for axis in (0, 1))
        at = sheet.place(text, around(x, y, across, up, DISTRICT.half(text)), DISTRICT)
        if at:
            found.append(Label(text, *at))
    return tuple(found)
