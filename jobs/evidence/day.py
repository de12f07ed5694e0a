"""The installer's days: what is on today, what comes, what was left open."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby

from django.utils import timezone

from jobs.models import Hazard, Survey, User, Visit

DAYS_AHEAD = 7


@dataclass(frozen=True, slots=True)
class VisitCard:
    """A visit as the installer's home shows it. hazards: what the survey warns of, in words."""

    visit: Visit
    hazards: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class DayOfVisits:
    day: date
    cards: tuple[VisitCard, ...]

    @property
    def crew_ids(self) -> tuple[int, ...]:
        return tuple(dict.fromkeys(card.visit.crew_id for card in self.cards))


@dataclass(frozen=True, slots=True)
class Days:
    """today: also visits of other days that are still running. left_open: begun by nobody."""

    today: tuple[VisitCard, ...]
    coming: tuple[DayOfVisits, ...]
    left_open: tuple[VisitCard, ...]

    @property
    def next_visit(self) -> Visit | None:
        """The one to go on with: what runs, else the first that is still to begin."""
        running = [c.visit for c in self.today if c.visit.status == Visit.Status.ON_SITE]
        waiting = [c.visit for c in self.today if c.visit.status == Visit.Status.BOOKED]
        return next(iter([*running, *waiting]), None)


def days_of(user: User, today: date) -> Days:
    """The visits of the person's crew, in four queries."""
    visits = list(
        Visit.objects.visible_to(user)
        .with_job()
        .filter(during__startswith__date__lte=today + timedelta(days=DAYS_AHEAD))
        .exclude(
            status__in=(Visit.Status.DONE, Visit.Status.STOPPED), during__startswith__date__lt=today
        )
        .order_by("during", "pk")
    )
    cards = _cards(visits)
    on_today = [c for c in cards if _day(c) == today or c.visit.status == Visit.Status.ON_SITE]
    ahead = [c for c in cards if _day(c) > today and c not in on_today]
    return Days(
        today=tuple(on_today),
        coming=tuple(DayOfVisits(day, tuple(group)) for day, group in groupby(ahead, _day)),
        left_open=tuple(c for c in cards if _day(c) < today and c not in on_today),
    )


def _day(card: VisitCard) -> date:
    return timezone.localdate(card.visit.during.lower)


def _cards(visits: Iterable[Visit]) -> list[VisitCard]:
    visits = list(visits)
    hazards = hazards_of({visit.job_id for visit in visits})
    return [VisitCard(visit, hazards.get(visit.job_id, ())) for visit in visits]


def hazards_of(job_ids: Iterable[int]) -> dict[int, tuple[str, ...]]:
    """What the latest finished survey of each job warns of, in words, by job id."""
    latest = (
        Survey.objects.complete()
        .filter(job_id__in=list(job_ids))
        .order_by("job_id", "-id")
        .distinct("job_id")
        .values("pk")
    )
    found: dict[int, tuple[str, ...]] = {}
    for hazard in Hazard.objects.filter(survey__in=latest).select_related("survey"):
        words = hazard.get_kind_display() + (f": {hazard.note}" if hazard.note else "")
        found[hazard.survey.job_id] = (*found.get(hazard.survey.job_id, ()), words)
    return found
