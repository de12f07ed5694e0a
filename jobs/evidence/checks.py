"""The pre-start check: it lets the crew begin, holds it, or stops the work."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from uuid import UUID, uuid4

import pghistory

from jobs.announce import evidence_changed
from jobs.errors import refusals_explained
from jobs.evidence.phone_told import Told
from jobs.evidence.questions import Outcome, weigh
from jobs.evidence.receiving import (
    change_status,
    lock_visit,
    received_before,
    require_fitting,
    require_status,
)
from jobs.evidence.stopping import freeze
from jobs.models import Job, PreStartCheck, Stage, User, Visit
from jobs.stages import move_job


def record_pre_start_check(
    visit: Visit,
    answers: Mapping[str, object],
    by: User,
    checked_at: datetime,
    note: str = "",
    client_key: UUID | None = None,
    phone_sent_at: datetime | None = None,
) -> PreStartCheck:
    """Keep the answers and do what they ask for.

    Safe: visit and job are on site. Unsafe but to be put right: the visit waits for another
    check, which replaces this one. Unsafe and stopping: the visit is stopped, the job goes back
    to be planned. The same `client_key` again gives the first record back.

    Raises:
        Refused: a question is not answered, or answered with an unknown word.
        Conflict: the visit is over, or is not one at which anything is laid.
    """
    outcome = weigh(answers)
    told = Told(checked_at, phone_sent_at, client_key or uuid4())
    with pghistory.context(user=by.pk, what="pre-start check"), refusals_explained():
        visit = lock_visit(visit)
        known = received_before(PreStartCheck, visit, client_key)
        if known is not None:
            return known
        require_fitting(visit)
        require_status(
            visit,
            Visit.Status.BOOKED,
            Visit.Status.ON_SITE,
            remedy="A check belongs before the work. Ask the office to book a new visit.",
        )
        check = PreStartCheck.objects.create(
            visit=visit,
            answers=dict(answers),
            safe_to_start=outcome.safe_to_start,
            note=note.strip(),
            checked_by=by,
            checked_at=checked_at,
            replaces=visit.pre_start_checks.current().last(),
            **told.columns,
        )
        _follow(visit, outcome, by, told, note)
        evidence_changed.send(Job, job=visit.job)
    return check


def _follow(visit: Visit, outcome: Outcome, by: User, told: Told, note: str) -> None:
    if visit.arrived_at is None:
        visit.arrived_at = told.at
        visit.save(update_fields=["arrived_at"])
    if outcome.stopping:
        found = ", ".join(question.short for question in outcome.stopping)
        codes = [question.code for question in outcome.stopping]
        freeze(visit, f"{found}. {note}", codes, by, told)
    elif outcome.safe_to_start and visit.status == Visit.Status.BOOKED:
        move_job(visit.job, Stage.ON_SITE)
        change_status(visit, Visit.Status.ON_SITE)
