"""What other people changed on the board, told in sentences as the history's triggers saw it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.apps import apps
from django.utils import timezone

from jobs.models import User, Visit

RECENT = timedelta(minutes=2)
MOST_TOLD = 12
SOMEBODY = "Somebody"


@dataclass(frozen=True, slots=True)
class News:
    """One change of one visit: which version it made, who did it, in words."""

    visit_id: int
    version: int
    who: str
    words: str
    at: datetime

    @property
    def sentence(self) -> str:
        return f"{self.who} {self.words}."


def news_for(user: User, *, since: timedelta = RECENT) -> list[News]:
    """The latest change of each visit of the company that others made a moment ago."""
    events = _events().filter(company_id=user.company_id)
    recent = events.filter(pgh_created_at__gte=timezone.now() - since)
    ids = list(recent.order_by("-pgh_id").values_list("pgh_obj_id", flat=True)[:200])
    found = [news for news in _told(ids) if news.who != str(user)]
    return sorted(found, key=lambda news: news.at, reverse=True)[:MOST_TOLD]


def last_change_of(visit: Visit) -> News | None:
    """Who changed this visit last, and how."""
    return next(iter(_told([visit.pk])), None)


def _events() -> Any:
    return apps.get_model("jobs", "VisitEvent").objects.all()


def _told(visit_ids: Iterable[int]) -> list[News]:
    """The last event of each visit against the one before it. Three queries."""
    by_visit: dict[int, list[Any]] = defaultdict(list)
    events = _events().filter(pgh_obj_id__in=set(visit_ids)).order_by("-pgh_id")
    for event in events.select_related("pgh_context", "crew", "job__property"):
        by_visit[event.pgh_obj_id].append(event)
    people = _people(events for events in by_visit.values())
    return [_as_news(found, people) for found in by_visit.values()]


def _people(found: Iterable[list[Any]]) -> dict[int, User]:
    ids = {_user_of(events[0]) for events in found}
    return User.objects.in_bulk([pk for pk in ids if pk])


def _user_of(event: Any) -> int | None:
    return event.pgh_context.metadata.get("user") if event.pgh_context else None


def _as_news(events: list[Any], people: dict[int, User]) -> News:
    now, was = events[0], events[1] if len(events) > 1 else None
    who = people.get(_user_of(now) or 0)
    return News(
        now.pgh_obj_id, now.version, str(who or SOMEBODY), _words(was, now), now.pgh_created_at
    )


def _words(was: Any, now: Any) -> str:
    home = now.job.property.address_line_1
    if was is None:
        return f"booked {home} for {_where(now)}"
    if now.status == Visit.Status.CANCELLED:
        return f"cancelled the visit to {home}"
    if now.status != was.status:
        return f"recorded {home} as {Visit.Status(now.status).label.lower()}"
    if (now.crew_id, now.during) != (was.crew_id, was.during):
        return f"moved {home} from {_where(was)} to {_where(now)}"
    return _words_of_marks(was, now, home)


def _words_of_marks(was: Any, now: Any, home: str) -> str:
    if now.held != was.held:
        return f"{'held' if now.held else 'let go of'} the visit to {home}"
    if now.promised_at != was.promised_at:
        return f"promised the visit to {home} to the householder"
    return f"changed the visit to {home}"


def _where(event: Any) -> str:
    return f"{event.crew}, {timezone.localtime(event.during.lower):%a %-d %b %H:%M}"
