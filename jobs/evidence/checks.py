"""The pre-start check, and stopping work."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from uuid import UUID, uuid4

import pghistory

from jobs.announce import evidence_changed, visit_changed
from jobs.errors import Refused, refusals_explained
from jobs.evidence.questions import Outcome, weigh
from jobs.evidence.receiving import (
    change_status,
    lock_visit,
    received_before,
    require_fitting,
    require_status,
)
from jobs.models import Job, PreStartCheck, Stage, User, Visit
from jobs.stages import move_job

LONGEST_REASON = 300


def record_pre_start_check(
    visit: Visit,
    answers: Mapping[str, object],
    by: User,
    checked_at: datetime,
    note: str = "",
    client_key: UUID | None = None,
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
            client_key=client_key or uuid4(),
            replaces=visit.pre_start_checks.current().last(),
        )
        _follow(visit, outcome, checked_at, note)
        evidence_changed.send(Job, job=visit.job)
    return check


def _follow(visit: Visit, outcome: Outcome, at: datetime, note: str) -> None:
    if visit.arrived_at is None:
        visit.arrived_at = at
        visit.save(update_fields=["arrived_at"])
    if outcome.stopping:
        found = ", ".join(question.short for question in outcome.stopping)
        _stop(visit, f"{found}. {note}".strip(), at)
    elif outcome.safe_to_start and visit.status == Visit.Status.BOOKED:
        move_job(visit.job, Stage.ON_SITE)
        change_status(visit, Visit.Status.ON_SITE)


def stop_work(visit: Visit, reason: str, by: User, stopped_at: datetime) -> Visit:
    """Freeze the visit and send the job back to the office. Stopping twice does nothing.

    Raises:
        Refused: no reason is given. Conflict: the visit is over.
    """
    if not reason.strip():
        raise Refused(
            "Say why the work stops.",
            field="stop_reason",
            remedy="One sentence is enough, such as “wasps' nest at the hatch”.",
        )
    with pghistory.context(user=by.pk, what="work stopped"), refusals_explained():
        visit = lock_visit(visit)
        if visit.status == Visit.Status.STOPPED:
            return visit
        require_fitting(visit)
        require_status(
            visit,
            Visit.Status.BOOKED,
            Visit.Status.ON_SITE,
            remedy="Work that has ended can't be stopped. Ring the office instead.",
        )
        _stop(visit, reason, stopped_at)
    return visit


def _stop(visit: Visit, reason: str, at: datetime) -> None:
    change_status(
        visit, Visit.Status.STOPPED, stop_reason=reason.strip()[:LONGEST_REASON], left_at=at
    )
    move_job(visit.job, _stage_after_stop(visit))
    visit_changed.send(Visit, visit=visit)


def _stage_after_stop(visit: Visit) -> Stage:
    """A fitting is planned anew; after a call-back the job stands where it was booked from."""
    if visit.kind != Visit.Kind.CALL_BACK:
        return Stage.TO_PLAN
    events: Any = visit.job.events  # type: ignore[attr-defined]
    earlier = events.exclude(stage__in=(Stage.BOOKED, Stage.ON_SITE)).order_by("-pgh_id")
    was = earlier.values_list("stage", flat=True).first()
    return Stage.TO_ASSESS if was == Stage.TO_ASSESS else Stage.SHORT
