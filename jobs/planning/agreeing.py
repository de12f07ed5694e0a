"""What is agreed with a householder: times that suit, and that a booked time was told."""

from __future__ import annotations

from datetime import datetime, timedelta

import pghistory
from django.db.backends.postgresql.psycopg_any import DateTimeTZRange
from django.utils import timezone

from jobs.errors import Refused, Stale, refusals_explained, refuse_invalid
from jobs.models import AgreedWindow, User, Visit, VisitNeed
from jobs.planning.booking import lock_visit

LONGEST_WINDOW = timedelta(days=60)


def agree_window(
    need: VisitNeed,
    starts_at: datetime,
    ends_at: datetime,
    *,
    by: User,
    whole: bool = False,
    note: str = "",
) -> AgreedWindow:
    """Record a time in which the crew may arrive; with `whole` it must also be gone by its end.

    Raises:
        Refused: it ends before it starts, is over already, or lasts longer than sixty days.
        Conflict: it is agreed already.
    """
    starts_at, ends_at = (_aware(moment) for moment in (starts_at, ends_at))
    if ends_at <= starts_at or ends_at <= timezone.now():
        raise Refused(
            "The agreed time ends before it starts."
            if ends_at <= starts_at
            else "The agreed time has passed.",
            field="ends_at",
            remedy="Give a later end.",
        )
    if ends_at - starts_at > LONGEST_WINDOW:
        raise Refused(
            "An agreed time lasts at most sixty days.",
            field="ends_at",
            remedy="Give an earliest day instead.",
        )
    during = DateTimeTZRange(starts_at, ends_at)
    window = AgreedWindow(need=need, during=during, whole=whole, note=note.strip())
    with pghistory.context(user=by.pk, what="time agreed"), refusals_explained():
        refuse_invalid(window)
        window.save()
        _need_changed(need)
    return window


def drop_window(window: AgreedWindow, by: User) -> None:
    """Take an agreed time back."""
    with pghistory.context(user=by.pk, what="agreed time dropped"), refusals_explained():
        window.delete()
        _need_changed(window.need)


def tell_householder(visit: Visit, *, by: User, version: int, told: bool = True) -> Visit:
    """Record that the householder was told of the booked time, or was not after all.

    Raises:
        Stale: somebody changed the visit since. Refused: it is not booked any more.
    """
    with pghistory.context(user=by.pk, what="householder told"), refusals_explained():
        visit = _booked(visit, version)
        visit.promised_at = timezone.now() if told else None
        visit.version += 1
        visit.save(update_fields=["promised_at", "version"])
    return visit


def mark_told(visit: Visit, told: bool, *, by: User, version: int) -> Visit:
    """`tell_householder`, or taking it back, as `hold` is called."""
    return tell_householder(visit, by=by, version=version, told=told)


def hold(visit: Visit, held: bool, *, by: User, version: int) -> Visit:
    """Keep a visit where it is whatever a new plan proposes, or let it go again.

    Raises:
        Stale: somebody changed the visit since. Refused: it is not booked any more.
    """
    with pghistory.context(user=by.pk, what="visit held"), refusals_explained():
        visit = _booked(visit, version)
        visit.held = held
        visit.version += 1
        visit.save(update_fields=["held", "version"])
    return visit


def _booked(visit: Visit, version: int) -> Visit:
    visit = lock_visit(visit.pk)
    if visit.version != version:
        raise Stale("This visit")
    if visit.status != Visit.Status.BOOKED:
        raise Refused(
            f"This visit is at “{visit.get_status_display()}”.",
            field="status",
            remedy="Only a booked visit has a time to tell or to hold.",
        )
    return visit


def _need_changed(need: VisitNeed) -> None:
    """A plan made with the old times must not be accepted for it."""
    locked = VisitNeed.objects.select_for_update(of=("self",)).get(pk=need.pk)
    locked.version += 1
    locked.save(update_fields=["version"])
    need.version = locked.version


def _aware(moment: datetime) -> datetime:
    return timezone.make_aware(moment) if timezone.is_naive(moment) else moment
