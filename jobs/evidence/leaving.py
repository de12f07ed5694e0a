"""Leaving the home: after the handover, for another day, or because the work was stopped."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import pghistory

from jobs.errors import Refused, refusals_explained
from jobs.evidence.handover import end_for_today
from jobs.evidence.phone_told import NOWHERE, Position, Told, fitting_words
from jobs.evidence.receiving import lock_visit, received_before, require_fitting, require_status
from jobs.models import Leave, User, Visit


@dataclass(frozen=True, slots=True)
class HowLeft:
    """loft_closed: hatch shut and sealed. site_clear: nothing of ours lies about."""

    loft_closed: bool
    site_clear: bool
    note: str = ""


def record_leave(
    visit: Visit, how: HowLeft, by: User, told: Told, position: Position = NOWHERE
) -> Leave:
    """Keep that the crew left, and how. A crew still on site leaves for another day.

    Raises:
        Refused: something is left open without saying why.
        Conflict: the work was not begun, or nothing was handed over and no further visit of the
            job is booked.
    """
    note = fitting_words(how.note, "note", 300)
    if not (how.loft_closed and how.site_clear) and not note:
        raise Refused(
            "Say what is left open or left behind, and why.",
            field="note",
            remedy="One sentence is enough.",
        )
    with pghistory.context(user=by.pk, what="left"), refusals_explained():
        visit = lock_visit(visit)
        known = received_before(Leave, visit, told.client_key)
        if known is not None:
            return known
        require_fitting(visit)
        require_status(
            visit,
            Visit.Status.ON_SITE,
            Visit.Status.DONE,
            Visit.Status.STOPPED,
            remedy="Nobody has begun here: do the pre-start check, or stop the work and say why.",
        )
        because = _because(visit)
        if visit.status == Visit.Status.ON_SITE:
            end_for_today(visit, told.at)
        else:
            _leave_later(visit, told.at)
        return Leave.objects.create(
            visit=visit,
            because=because,
            loft_closed=how.loft_closed,
            site_clear=how.site_clear,
            note=note,
            left_at=told.phone_at,
            recorded_by=by,
            replaces=visit.leaves.current().last(),
            **told.columns,
            **position.columns,
        )


def _leave_later(visit: Visit, at: datetime) -> None:
    """The handover or stop ended the work; the crew itself left now."""
    if visit.left_at is None or visit.left_at < at:
        visit.left_at = at
        visit.save(update_fields=["left_at"])


def _because(visit: Visit) -> str:
    if visit.status == Visit.Status.STOPPED:
        return Leave.Because.STOPPED
    if visit.handovers.exists():
        return Leave.Because.HANDED_OVER
    return Leave.Because.ANOTHER_DAY
