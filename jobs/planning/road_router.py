"""Drives from a general-purpose road-routing server, asked once and kept.

The server speaks the open `table` service of HTTP road routing: `GET {address}/table/v1/driving/
{longitude},{latitude};...?sources=..&destinations=..&annotations=duration,distance` answers
`{"code": "Ok", "durations": [[s]], "distances": [[m]]}` with null where there is no road.
Such servers limit how many places one request may hold, commonly 100.

A server that is gone, slow or talks nonsense stops no plan: what it answered is kept, the great
circle stands in for the rest, and the plan says which drives come from where, and why.
"""

from __future__ import annotations

import hashlib
import http.client
import json
import logging
import time
import urllib.error
import urllib.request
from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

import numpy as np
from django.conf import settings
from django.core.cache import cache
from django.db import connection

from jobs.models import TravelLeg
from jobs.planning.travel import (
    Drive,
    GreatCircle,
    Matrices,
    Position,
    Rounded,
    Whole,
    rounded,
)

log = logging.getLogger(__name__)

PLACES_A_REQUEST = 100
BLOCK = PLACES_A_REQUEST // 2
LONGEST_ANSWER_BYTES = 4_000_000
PIECE_BYTES = 65_536
UNKNOWN = -1
# A week of seconds, and metres far beyond any island: more than that is no drive.
LARGEST = 10_000_000
# What a page may wait for the server [s], and how long no page waits once it failed one [s].
PAGE_BUDGET_S, LEFT_ALONE_S = 0.6, 60

Legs = dict[tuple[Rounded, Rounded], tuple[int, int] | None]


class NoRoute(Exception):
    """The server did not answer, or not what was asked: says why in words for the planner."""


def road_router(rule: GreatCircle) -> RoadRouter | None:
    """The server of the setting `TRAVEL_ROUTER_URL`, if one is set."""
    if not settings.TRAVEL_ROUTER_URL:
        return None
    if not _HURRY.get():
        return RoadRouter(settings.TRAVEL_ROUTER_URL, rule)
    waits_s = 0.0 if is_left_alone() else PAGE_BUDGET_S
    return RoadRouter(settings.TRAVEL_ROUTER_URL, rule, timeout_s=waits_s, budget_s=waits_s)


_HURRY: ContextVar[bool] = ContextVar("hurry", default=False)


@contextmanager
def in_a_hurry() -> Iterator[None]:
    """Within it somebody waits for a page: a slow server is not waited for."""
    token = _HURRY.set(True)
    try:
        yield
    finally:
        _HURRY.reset(token)


def is_left_alone() -> bool:
    """Whether the server of the settings failed a page a moment ago."""
    return bool(cache.get(_left_alone_key()))


def leave_alone() -> None:
    """Let no page wait for the server for a minute."""
    cache.set(_left_alone_key(), True, LEFT_ALONE_S)


def _left_alone_key() -> str:
    digest = hashlib.sha256(settings.TRAVEL_ROUTER_URL.encode()).hexdigest()
    return f"road-router-left-alone-{digest[:16]}"


def provider_name(address: str) -> str:
    """What its answers are kept under."""
    return address[:120]


def kept_drives(
    pairs: Collection[tuple[Rounded, Rounded]],
) -> dict[tuple[Rounded, Rounded], Drive]:
    """What the server of the settings answered before, of these drives. One query."""
    if not pairs:
        return {}
    columns = [[pair[n][m] for pair in pairs] for n in (0, 1) for m in (0, 1)]
    with connection.cursor() as cursor:
        cursor.execute(KEPT_PAIRS, [*columns, provider_name(settings.TRAVEL_ROUTER_URL)])
        return {
            ((from_lat, from_lon), (to_lat, to_lon)): Drive(leg_s / 60, leg_m / 1000)
            for from_lat, from_lon, to_lat, to_lon, leg_s, leg_m in cursor.fetchall()
        }


@dataclass(frozen=True, slots=True)
class RoadRouter:
    """Answers from the database where they are known, else asks the server for them.

    `rule` stands in where there is no road between two places, such as an island, and for all that
    the server does not answer. One request may take `timeout_s`, all of them `budget_s` [s].
    """

    address: str
    rule: GreatCircle
    timeout_s: float = 10.0
    budget_s: float = 60.0

    @property
    def name(self) -> str:
        return provider_name(self.address)

    def matrices(self, positions: Sequence[Position]) -> Matrices:
        """Drives between all positions, and notes that say where they are from."""
        places = [rounded(position) for position in positions]
        distinct = sorted(set(places))
        index = {place: n for n, place in enumerate(distinct)}
        seconds, metres = self._known(distinct, index)
        missing = seconds == UNKNOWN
        np.fill_diagonal(missing, False)
        np.fill_diagonal(seconds, 0)
        np.fill_diagonal(metres, 0)
        failure = self._ask_all(distinct, missing, seconds, metres)
        notes = self._fill_gaps(distinct, seconds, metres, failure)
        chosen = np.array([index[place] for place in places], dtype=np.int64)
        grid = np.ix_(chosen, chosen)
        return Matrices(seconds[grid], metres[grid], notes)

    def _known(self, places: list[Rounded], index: dict[Rounded, int]) -> tuple[Whole, Whole]:
        """What the database knows of these places. One query."""
        shape = (len(places), len(places))
        seconds = np.full(shape, UNKNOWN, dtype=np.int64)
        metres = np.full(shape, UNKNOWN, dtype=np.int64)
        latitudes, longitudes = [p[0] for p in places], [p[1] for p in places]
        with connection.cursor() as cursor:
            cursor.execute(KNOWN_LEGS, [latitudes, longitudes] * 2 + [self.name])
            for from_lat, from_lon, to_lat, to_lon, leg_s, leg_m in cursor.fetchall():
                at = index[from_lat, from_lon], index[to_lat, to_lon]
                seconds[at], metres[at] = leg_s, leg_m
        return seconds, metres

    def _ask_all(self, places: list[Rounded], missing: Any, s: Whole, m: Whole) -> str:
        """Ask for what is missing, block by block, until the server fails: why it did, or ''."""
        until = time.monotonic() + self.budget_s
        try:
            for block in _blocks(missing):
                self._ask(places, block, s, m, until)
        except NoRoute as failure:
            log.warning("The road-routing server %s is no help: %s", self.host, failure)
            if _HURRY.get():
                leave_alone()
            return str(failure)
        return ""

    def _ask(
        self,
        places: list[Rounded],
        block: tuple[list[int], list[int]],
        s: Whole,
        m: Whole,
        until: float,
    ) -> None:
        """Ask for the drives from some places to some others, into the matrices."""
        sources, goals = ([places[n] for n in side] for side in block)
        index = {place: n for n, place in enumerate(places)}
        for (start, end), leg in self.ask(sources, goals, until).items():
            if leg is not None:
                s[index[start], index[end]], m[index[start], index[end]] = leg

    def ask(self, sources: list[Rounded], goals: list[Rounded], until: float) -> Legs:
        """Ask for the drives from some places to some others, and keep the answer.

        Seconds and metres by (from, to); None where there is no road. `until` is on the clock of
        `time.monotonic`. Raises NoRoute.
        """
        asked = sorted({*sources, *goals})
        durations, distances = self._get(
            asked,
            [asked.index(place) for place in sources],
            [asked.index(place) for place in goals],
            until,
        )
        found: Legs = {}
        for row, start in enumerate(sources):
            for column, end in enumerate(goals):
                leg = durations[row][column], distances[row][column]
                if start != end:
                    found[start, end] = None if None in leg else (round(leg[0]), round(leg[1]))
        legs = [self._leg(*pair, *leg) for pair, leg in found.items() if leg is not None]
        TravelLeg.objects.bulk_create(legs, ignore_conflicts=True, batch_size=1000)
        return found

    def _leg(self, start: Rounded, end: Rounded, seconds: int, metres: int) -> TravelLeg:
        return TravelLeg(
            provider=self.name,
            from_latitude_e4=start[0],
            from_longitude_e4=start[1],
            to_latitude_e4=end[0],
            to_longitude_e4=end[1],
            seconds=seconds,
            metres=metres,
        )

    def _get(
        self, places: list[Rounded], sources: list[int], goals: list[int], until: float
    ) -> Any:
        """Durations [s] and distances [m] as lists of rows."""
        where = ";".join(f"{lon / 10_000:.4f},{lat / 10_000:.4f}" for lat, lon in places)
        query = (
            f"sources={';'.join(map(str, sources))}&destinations={';'.join(map(str, goals))}"
            "&annotations=duration,distance"
        )
        address = f"{self.address.rstrip('/')}/table/v1/driving/{where}?{query}"
        until = min(until, time.monotonic() + self.timeout_s)
        try:
            body = json.loads(_read(address, until))
        except (OSError, http.client.HTTPException) as error:
            raise NoRoute(_why(error)) from error
        except (ValueError, RecursionError) as error:
            raise NoRoute("its answer could not be read") from error
        return _checked(body, len(sources), len(goals))

    @property
    def host(self) -> str:
        """The server by its name alone: an address may hold a key."""
        return urlsplit(self.address).hostname or "?"

    def _fill_gaps(
        self, places: list[Rounded], seconds: Whole, metres: Whole, failure: str
    ) -> tuple[str, ...]:
        """Straight distances where the server knows no drive, and what is to be told."""
        gaps = seconds == UNKNOWN
        count, total = int(gaps.sum()), len(places) * (len(places) - 1)
        if count:
            rough = self.rule.matrices([(lat / 10_000, lon / 10_000) for lat, lon in places])
            seconds[gaps], metres[gaps] = rough.seconds[gaps], rough.metres[gaps]
        if failure and count == total:
            return (f"The road-routing server {self.host} is no help: {failure}. {STRAIGHT}",)
        told = [f"Drives are from the road-routing server {self.host}."]
        if failure:
            told = [
                f"The road-routing server {self.host} failed meanwhile: {failure}. {count:,} of "
                f"{total:,} drives are from straight distances, the others from the server."
            ]
        elif count:
            told.append(f"{count:,} have no road by the server; they are from straight distances.")
        return (" ".join(told),)


STRAIGHT = "All drives are from straight distances."
KNOWN_LEGS = """
    WITH place (latitude, longitude) AS (SELECT * FROM unnest(%s::int[], %s::int[])),
         goal (latitude, longitude) AS (SELECT * FROM unnest(%s::int[], %s::int[]))
    SELECT from_latitude_e4, from_longitude_e4, to_latitude_e4, to_longitude_e4, seconds, metres
    FROM jobs_travelleg
    JOIN place ON from_latitude_e4 = place.latitude AND from_longitude_e4 = place.longitude
    JOIN goal ON to_latitude_e4 = goal.latitude AND to_longitude_e4 = goal.longitude
    WHERE provider = %s
"""
KEPT_PAIRS = """
    SELECT from_latitude_e4, from_longitude_e4, to_latitude_e4, to_longitude_e4, seconds, metres
    FROM unnest(%s::int[], %s::int[], %s::int[], %s::int[]) AS pair (a, b, c, d)
    JOIN jobs_travelleg ON from_latitude_e4 = a AND from_longitude_e4 = b
        AND to_latitude_e4 = c AND to_longitude_e4 = d
    WHERE provider = %s
"""


def _read(address: str, until: float) -> bytes:
    """The body of an answer, piece by piece: one that only drips is given up in time."""
    pieces: list[bytes] = []
    left_s = until - time.monotonic()
    if left_s <= 0:
        raise TimeoutError
    with urllib.request.urlopen(address, timeout=left_s) as answer:
        while piece := answer.read1(PIECE_BYTES):
            pieces.append(piece)
            if time.monotonic() > until:
                raise TimeoutError
            if sum(map(len, pieces)) > LONGEST_ANSWER_BYTES:
                raise ValueError("The answer is too long.")
    return b"".join(pieces)


def _why(error: Exception) -> str:
    """What went wrong on the way, for the planner."""
    if isinstance(error, urllib.error.HTTPError):
        return f"it answered with the error {error.code}"
    reason = getattr(error, "reason", error)
    if isinstance(reason, TimeoutError):
        return "it took too long"
    if isinstance(reason, ConnectionRefusedError):
        return "it is not there"
    return "the connection failed"


def _blocks(missing: Any) -> list[tuple[list[int], list[int]]]:
    """Blocks of places small enough for one request that cover every missing drive."""
    count = missing.shape[0]
    starts = range(0, count, BLOCK)
    found = []
    for row in starts:
        for column in starts:
            part = missing[row : row + BLOCK, column : column + BLOCK]
            if part.any():
                sources = [row + int(n) for n in np.flatnonzero(part.any(axis=1))]
                goals = [column + int(n) for n in np.flatnonzero(part.any(axis=0))]
                found.append((sources, goals))
    return found


def _checked(body: Any, rows: int, columns: int) -> tuple[list[list[Any]], list[list[Any]]]:
    """Durations and distances of an answer, or `NoRoute` when it is not what was asked."""
    if not isinstance(body, dict) or body.get("code") != "Ok":
        code = body.get("code") if isinstance(body, dict) else "nothing"
        raise NoRoute(f"it answered “{str(code)[:60]}”")
    found = body.get("durations"), body.get("distances")
    for table in found:
        if not _is_table(table, rows, columns):
            raise NoRoute("its answer is not what was asked for")
    return found  # type: ignore[return-value]


def _is_table(table: Any, rows: int, columns: int) -> bool:
    if not isinstance(table, list) or len(table) != rows:
        return False
    return all(isinstance(row, list) and len(row) == columns and _numbers(row) for row in table)


def _numbers(row: list[Any]) -> bool:
    return all(
        value is None or (isinstance(value, (int, float)) and 0 <= value <= LARGEST)
        for value in row
    )
