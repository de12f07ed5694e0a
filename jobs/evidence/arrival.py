"""Arriving: who is here, who let them in, whether the loft is empty and safe."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pghistory
from django.db.models import Q

from jobs.announce import evidence_changed
from jobs.errors import Refused, refusals_explained
from jobs.evidence.phone_told import NOWHERE, Position, Told, fitting_words, required_words
from jobs.evidence.receiving import lock_visit, received_before, require_fitting, require_status
from jobs.models import Arrival, Job, Operative, User, Visit

SAY_WHAT = "Such as “boxes still up there; the householder clears them”."


@dataclass(frozen=True, slots=True)
class WhoCame:
    """operative_ids: who is here. let_in_by: who opened, in a few words."""

    operative_ids: Sequence[int]
    let_in_by: str
    loft_ready: bool
    note: str = ""


def operatives_of(visit: Visit) -> list[Operative]:
    """Who may be on this visit: the crew and whoever was booked on it."""
    rows = Operative.objects.filter(Q(crew_id=visit.crew_id) | Q(on_visits__visit=visit))
    return list(rows.distinct().order_by("pk"))


def record_arrival(
    visit: Visit, came: WhoCame, by: User, told: Told, position: Position = NOWHERE
) -> Arrival:
    """Keep who came. A second one replaces the first, such as when the loft is cleared now.

    Raises:
        Refused: nobody came, somebody unknown did, or nobody let them in.
        Conflict: the visit is over, or is not one at which anything is laid.
    """
    let_in_by = required_words(
        came.let_in_by, "let_in_by", 120, "Who let you in?", "Such as “the householder”."
    )
    note = fitting_words(came.note, "note", 300)
    if not came.loft_ready and not note:
        raise Refused("Say what keeps the loft from being ready.", field="note", remedy=SAY_WHAT)
    with pghistory.context(user=by.pk, what="arrival"), refusals_explained():
        visit = lock_visit(visit)
        known = received_before(Arrival, visit, told.client_key)
        if known is not None:
            return known
        require_fitting(visit)
        require_status(
            visit,
            Visit.Status.BOOKED,
            Visit.Status.ON_SITE,
            remedy="This visit is over. Ask the office to book a new one.",
        )
        arrival = Arrival.objects.create(
            visit=visit,
            operative_ids=_known_operatives(visit, came.operative_ids),
            let_in_by=let_in_by,
            loft_ready=came.loft_ready,
            note=note,
            arrived_at=told.phone_at,
            recorded_by=by,
            replaces=visit.arrivals.current().last(),
            **told.columns,
            **position.columns,
        )
        if visit.arrived_at is None:
            visit.arrived_at = told.at
            visit.save(update_fields=["arrived_at"])
        evidence_changed.send(Job, job=visit.job)
    return arrival


def _known_operatives(visit: Visit, ids: Sequence[int]) -> list[int]:
    if not ids:
        raise Refused("Who is here?", field="operative_ids", remedy="Mark at least one.")
    known = {operative.pk for operative in operatives_of(visit)}
    strangers = [number for number in ids if number not in known]
    if strangers:
        raise Refused(
            f"Operative {strangers[0]} is not of this crew.",
            field="operative_ids",
            remedy="Ask the office to book whoever came along on the visit.",
        )
    return sorted(set(ids))
