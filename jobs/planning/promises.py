"""Promises that a plan would break: named before it is accepted, so that nobody does it unaware."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from jobs.errors import Conflict
from jobs.models import PlanRun, ProposedVisit, User
from jobs.planning.answering import Accepted, accept, promised_among


class PromisesWouldBreak(Conflict):
    """Lines that are to be accepted move, or take off, what householders were told."""

    def __init__(self, lines: list[ProposedVisit], confirmed: int | None) -> None:
        count = len(lines)
        visits = "1 promised visit" if count == 1 else f"{count} promised visits"
        said = "" if confirmed is None else f", not {confirmed}"
        super().__init__(
            f"{visits} would change{said}.",
            field="promises_may_break",
            remedy=f"Look at them, call those households, and send promises_may_break: {count}.",
        )
        self.members = {"promises": [_told(line) for line in lines]}


def _told(line: ProposedVisit) -> dict[str, Any]:
    """What was promised and what it would become; `starts_at` null: it would come off."""
    assert line.visit is not None, "Only what is booked was promised."
    job = line.visit.job
    return {
        "proposal": line.pk,
        "visit": line.visit_id,
        "job": job.pk,
        "job_reference": job.reference,
        "property_reference": job.property.reference,
        "change": line.change,
        "was_crew": line.was_crew_id,
        "was_starts_at": line.was_during.lower,
        "crew": line.crew_id,
        "starts_at": line.during.lower if line.during is not None else None,
    }


def accept_knowing(
    run: PlanRun,
    by: User,
    proposal_ids: Iterable[int] | None = None,
    *,
    promises_may_break: int | None = None,
) -> Accepted:
    """`accept`, once it was said how many promised visits may change by it.

    A visit that is promised after this was asked has another version, and its line is refused.

    Raises:
        PromisesWouldBreak: it is another number than was said. Conflict: as `accept`.
    """
    chosen = None if proposal_ids is None else list(proposal_ids)
    lines = promised_among(run, chosen)
    if len(lines) != (promises_may_break or 0):
        raise PromisesWouldBreak(lines, promises_may_break)
    return accept(run, by, chosen)
