"""The end of an electrical visit: what the competent person did, so that the fitting may follow.

Whether a cable may be covered is for a competent person under the wiring rules of the place; the
record only says that one was there and what was found.
"""

from __future__ import annotations

from datetime import datetime

import pghistory
from django.utils import timezone

from jobs.announce import visit_changed
from jobs.errors import Conflict, Refused, refusals_explained
from jobs.models import User, Visit
from jobs.planning.booking import lock_visit


def finish_electrical_visit(
    visit: Visit, found: str, *, by: User, left_at: datetime | None = None
) -> Visit:
    """Record that the electrician was there, and what was done or found.

    Raises:
        Refused: nothing is said of what was done. Conflict: it is no booked electrical visit, or
            it has not begun.
    """
    if not found.strip():
        raise Refused(
            "Say what was done or found.",
            field="found",
            remedy="Such as “circuit made safe, cable rerouted over the joists, certificate left”.",
        )
    left_at = left_at or timezone.now()
    with pghistory.context(user=by.pk, what="electrical visit done"), refusals_explained():
        visit = lock_visit(visit.pk)
        if visit.kind != Visit.Kind.ELECTRICAL or visit.status != Visit.Status.BOOKED:
            raise Conflict("This is no booked electrical visit.", field="visit")
        if timezone.localdate(visit.during.lower) > timezone.localdate(left_at):
            raise Conflict(
                "The visit is booked for a later day.", field="visit", remedy="Move it first."
            )
        visit.status, visit.left_at = Visit.Status.DONE, left_at
        visit.note = "\n".join(part for part in (visit.note, found.strip()) if part)
        visit.version += 1
        visit.save(update_fields=["status", "left_at", "note", "version"])
        visit_changed.send(Visit, visit=visit)
    return visit
