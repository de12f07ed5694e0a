"""What compliance does when jobs announces something. `jobs` never imports compliance."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.db import transaction

from compliance import tasks
from compliance.assess import ASSESSABLE
from compliance.audits.answer_photos import is_looked_at
from compliance.audits.answers import answered
from compliance.evidence_access import note_accesses
from compliance.models import AnswerEvidence
from compliance.shortfalls import remember_call_back
from jobs.announce import evidence_changed, evidence_opened, visit_changed, visit_done
from jobs.models import Job, User, Visit


def connect() -> None:
    """Join the announcements of `jobs`. Called once, when the app is ready."""
    evidence_changed.connect(on_evidence_changed, dispatch_uid="compliance.evidence_changed")
    visit_done.connect(on_visit_done, dispatch_uid="compliance.visit_done")
    visit_changed.connect(on_visit_changed, dispatch_uid="compliance.visit_changed")
    evidence_opened.connect(on_evidence_opened, dispatch_uid="compliance.evidence_opened")
    answered.connect(on_answered, dispatch_uid="compliance.answered")


def on_evidence_changed(sender: Any, *, job: Job, **_: Any) -> None:
    """New evidence to a job that has a verdict, or waits for one: look again.

    While the crew is at work nothing is judged: half the readings are not a short loft.
    """
    if job.stage in ASSESSABLE:
        _assess_after_commit(job.pk)


def on_visit_done(sender: Any, *, visit: Visit, **_: Any) -> None:
    if visit.kind != Visit.Kind.SURVEY:
        _assess_after_commit(visit.job_id)


def on_visit_changed(sender: Any, *, visit: Visit, **_: Any) -> None:
    """A call-back booked by hand or by a plan is the remedy of the job's open shortfall."""
    if visit.kind == Visit.Kind.CALL_BACK and visit.status == Visit.Status.BOOKED:
        remember_call_back(visit)


def on_evidence_opened(
    sender: Any, *, job_ids: list[int], person: User, what: str, **_: Any
) -> None:
    """Kept at once: nobody sees what the log does not say."""
    note_accesses(job_ids, person, what)


def on_answered(sender: Any, *, evidence: list[AnswerEvidence], **_: Any) -> None:
    """Files are inspected; what the broker does not take now, the beat finds."""
    for row in filter(is_looked_at, evidence):
        look = partial(tasks.inspect_answer_picture.delay, row.pk)
        transaction.on_commit(look, robust=True)


def _assess_after_commit(job_id: int) -> None:
    """Robust: what the broker does not take now, the catch-up of the beat finds."""
    transaction.on_commit(partial(tasks.assess.delay, job_id), robust=True)
