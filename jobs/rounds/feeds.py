"""Secret addresses of crews' calendars: made, renewed, revoked, found again by their token."""

from __future__ import annotations

import hashlib
import secrets
from datetime import timedelta

from django.core.cache import cache
from django.db.models import Q
from django.utils import timezone

from jobs.errors import Conflict, Refused, refusals_explained
from jobs.models import CalendarFeed, Crew, User

TOKEN_BYTES = 32
SHORTEST_TOKEN = 40
LONGEST_TOKEN = 64
READS_AN_HOUR = 60
MISSES_A_MINUTE = 20
READ_NOTED_EVERY = timedelta(hours=1)


def renew_feed(crew: Crew, by: User) -> tuple[CalendarFeed, str]:
    """A new secret address for the crew's calendar; the former one stops at once.

    Returns the feed and its token of 256 random bits, which nobody can read again.

    Raises:
        Refused: the crew is of another company.
    """
    if crew.company_id != by.company_id:
        raise Refused("There is no such crew.", field="crew", remedy="Choose one of yours.")
    token = secrets.token_urlsafe(TOKEN_BYTES)
    with refusals_explained():
        Crew.objects.select_for_update(of=("self",), no_key=True).get(pk=crew.pk)
        _open_feeds(crew).update(revoked_at=timezone.now())
        feed = CalendarFeed.objects.create(
            company_id=crew.company_id, crew=crew, token_sha256=_hashed(token), made_by=by
        )
    return feed, token


def revoke_feed(crew: Crew) -> None:
    """Stop the crew's calendar address.

    Raises:
        Conflict: it has none.
    """
    if not _open_feeds(crew).update(revoked_at=timezone.now()):
        raise Conflict(f"{crew} has no calendar address.", field="crew")


def current_feed(crew: Crew) -> CalendarFeed | None:
    return _open_feeds(crew).select_related("made_by").first()


def feed_of(token: str) -> CalendarFeed | None:
    """The feed of a token that is in force; that it was read is noted once an hour."""
    if not SHORTEST_TOKEN <= len(token) <= LONGEST_TOKEN:
        return None
    feeds = CalendarFeed.objects.filter(revoked_at=None).select_related("crew__company")
    feed: CalendarFeed | None = feeds.filter(token_sha256=_hashed(token)).first()
    if feed is not None:
        now = timezone.now()
        stale = Q(last_read_at=None) | Q(last_read_at__lt=now - READ_NOTED_EVERY)
        CalendarFeed.objects.filter(stale, pk=feed.pk).update(last_read_at=now)
    return feed


def may_read(feed: CalendarFeed) -> bool:
    """Count a reading; False when this address had its share of the hour."""
    return _counted(f"calendar-reads:{feed.token_sha256[:20]}", READS_AN_HOUR, 3600)


def may_miss(network_address: str) -> bool:
    """Count a wrong token; False when this network address guessed too often this minute."""
    return _counted(f"calendar-misses:{network_address}", MISSES_A_MINUTE, 60)


def _counted(key: str, most: int, window_s: int) -> bool:
    if cache.add(key, 1, window_s):
        return True
    try:
        return int(cache.incr(key)) <= most
    except ValueError:  # it ran out between the two
        return True


def _open_feeds(crew: Crew):  # type: ignore[no-untyped-def]
    return CalendarFeed.objects.filter(crew=crew, revoked_at=None)


def _hashed(token: str) -> str:
    """A token has 256 random bits, so that a plain hash is as good as a slow one."""
    return hashlib.sha256(token.encode()).hexdigest()
