"""Drives that a page wants and no plan asked for yet: a few are asked for while it is made.

A visit that was just moved by hand lies between homes that no plan drove between. The server is
asked for the missing drives in small requests, for a moment; what it answers is kept. What it does
not answer in time is reckoned from the straight distance, the page says so, and a task asks again.
"""

from __future__ import annotations

import hashlib
import logging
import time
from collections.abc import Collection, Iterator, Sequence

from django.conf import settings
from django.core.cache import cache
from django.db import transaction

from jobs.planning.road_router import (
    PAGE_BUDGET_S,
    NoRoute,
    RoadRouter,
    is_left_alone,
    kept_drives,
    leave_alone,
)
from jobs.planning.travel import Drive, GreatCircle, Rounded, travel_matrix, travel_rule

log = logging.getLogger(__name__)

Pair = tuple[Rounded, Rounded]
# Places of one request of a page: small, so that its answer comes at once.
PLACES_AT_ONCE = 40
# So many places a task asks for: one full request of the server.
PLACES_LATER = 100
# How long it is remembered that there is no road between two places [s].
NO_ROAD_S = 24 * 60 * 60


def drives_between(groups: Sequence[Collection[Rounded]]) -> dict[Pair, Drive]:
    """Drives between the places of each group, as the server told them before or tells them now.

    What it does not tell is missing. At most one query and a moment's waiting; nothing is asked
    for a minute after the server failed.
    """
    wanted = {(a, b) for places in groups for a in places for b in places if a != b}
    known = kept_drives(wanted)
    missing = _with_road(wanted - known.keys())
    if missing and not is_left_alone():
        known |= _asked(groups, missing)
    return known


def _asked(groups: Sequence[Collection[Rounded]], missing: set[Pair]) -> dict[Pair, Drive]:
    router = RoadRouter(
        settings.TRAVEL_ROUTER_URL, GreatCircle(travel_rule()), timeout_s=PAGE_BUDGET_S
    )
    until = time.monotonic() + PAGE_BUDGET_S
    found: dict[Pair, Drive] = {}
    try:
        for sources, goals in _requests(groups, missing):
            legs = router.ask(sources, goals, until)
            _remember_no_road({pair for pair, leg in legs.items() if leg is None})
            found |= {pair: Drive(leg[0] / 60, leg[1] / 1000) for pair, leg in legs.items() if leg}
    except NoRoute as failure:
        log.warning("A page goes without the road-routing server %s: %s", router.host, failure)
        leave_alone()
        _ask_later(missing - found.keys())
    return found


def _requests(
    groups: Sequence[Collection[Rounded]], missing: set[Pair]
) -> Iterator[tuple[list[Rounded], list[Rounded]]]:
    """From which places to which, a few groups at a time, until every missing drive is asked."""
    together: set[Rounded] = set()
    for places in groups:
        pairs = {(a, b) for a in places for b in places} & missing
        lacking = {place for pair in pairs for place in pair}
        if together and len(together | lacking) > PLACES_AT_ONCE:
            yield _ends(together, missing)
            together = set()
        together |= set(sorted(lacking)[:PLACES_LATER])
    if together:
        yield _ends(together, missing)


def _ends(places: set[Rounded], missing: set[Pair]) -> tuple[list[Rounded], list[Rounded]]:
    inside = [pair for pair in missing if pair[0] in places and pair[1] in places]
    return sorted({pair[0] for pair in inside}), sorted({pair[1] for pair in inside})


def _with_road(pairs: set[Pair]) -> set[Pair]:
    """Those between which the server did not say that there is no road."""
    if not pairs:
        return pairs
    keys = {_no_road_key(pair): pair for pair in pairs}
    return pairs - {keys[key] for key in cache.get_many(keys)}


def _remember_no_road(pairs: set[Pair]) -> None:
    cache.set_many({_no_road_key(pair): True for pair in pairs}, NO_ROAD_S)


def _no_road_key(pair: Pair) -> str:
    text = f"{settings.TRAVEL_ROUTER_URL} {pair}"
    return f"no-road-{hashlib.sha256(text.encode()).hexdigest()[:24]}"


def _ask_later(pairs: set[Pair]) -> None:
    """Have a task ask for what the page could not wait for."""
    from jobs.planning.tasks import ask_for_drives

    places = sorted({place for pair in pairs for place in pair})[:PLACES_LATER]
    if len(places) > 1:
        transaction.on_commit(lambda: ask_for_drives.delay(places), robust=True)


def ask_for_all(places: Sequence[Rounded]) -> None:
    """Ask for every missing drive between places and keep it, however long the server takes."""
    travel_matrix([(latitude / 10_000, longitude / 10_000) for latitude, longitude in places])
