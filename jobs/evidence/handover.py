"""The handover: the householder signs, the crew leaves, the job waits for its verdict."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID, uuid4

import pghistory
from django.db.models import QuerySet

from jobs.announce import evidence_changed, visit_done
from jobs.errors import Conflict, Refused, refusals_explained
from jobs.evidence.cautions import checked_cautions
from jobs.evidence.phone_told import Told
from jobs.evidence.receiving import (
    FITTING_KINDS,
    change_status,
    lock_visit,
    received_before,
    require_fitting,
    require_status,
)
from jobs.evidence.signature import checked_signature
from jobs.models import Handover, Job, Stage, User, Visit
from jobs.stages import move_job


def take_handover(
    visit: Visit,
    *,
    signed_name: str,
    signature_svg: str,
    cautions_given: Sequence[str],
    by: User,
    signed_at: datetime,
    all_done: bool = True,
    not_done_reason: str = "",
    name_confirmed: bool = False,
    client_key: UUID | None = None,
    phone_sent_at: datetime | None = None,
) -> Handover:
    """Keep the signature, end the visit, and hand the job on to be assessed.

    signature_svg: the strokes (see `signature`), or empty when the householder confirmed with
    the typed name alone (`name_confirmed`). The same `client_key` again gives the first
    record back.

    Raises:
        Refused: name, signature, a caution or the reason is missing or can't be kept.
        Conflict: the crew is not on site.
    """
    name = signed_name.strip()
    if not name:
        raise Refused(
            "The name of who signs is missing.", field="signed_name", remedy="Type the name."
        )
    if len(name) > 120:
        raise Refused(
            "The name is too long.", field="signed_name", remedy="Use 120 characters at most."
        )
    reason = _checked_reason(all_done, not_done_reason)
    strokes = _checked_strokes(signature_svg, name_confirmed)
    cautions = checked_cautions(cautions_given)
    told = Told(signed_at, phone_sent_at, client_key or uuid4())
    with pghistory.context(user=by.pk, what="handover"), refusals_explained():
        visit = lock_visit(visit)
        known = received_before(Handover, visit, client_key)
        if known is not None:
            return known
        require_fitting(visit)
        require_status(
            visit, Visit.Status.ON_SITE, remedy="The handover follows a safe pre-start check."
        )
        handover = Handover.objects.create(
            visit=visit,
            signed_name=name,
            signature_svg=strokes,
            cautions_given=cautions,
            all_done=all_done,
            not_done_reason=reason,
            taken_by=by,
            signed_at=signed_at,
            **told.columns,
        )
        change_status(visit, Visit.Status.DONE, left_at=told.at)
        move_job(visit.job, Stage.TO_ASSESS)
        evidence_changed.send(Job, job=visit.job)
        visit_done.send(Visit, visit=visit)
    return handover


def end_for_today(visit: Visit, left_at: datetime) -> None:
    """End a locked visit of a job that goes on: without handover, the job stays on site.

    Raises:
        Conflict: no further visit of the job is booked.
    """
    if not further_visits(visit).exists():
        raise Conflict(
            "No further visit is booked for this job.",
            field="visit",
            remedy="Take the handover, or ask the office to book another day.",
        )
    change_status(visit, Visit.Status.DONE, left_at=left_at)


def further_visits(visit: Visit) -> QuerySet[Visit]:
    """Visits booked for the same job's work besides this one."""
    booked = Visit.objects.filter(
        job_id=visit.job_id, kind__in=FITTING_KINDS, status=Visit.Status.BOOKED
    )
    return booked.exclude(pk=visit.pk)


def _checked_reason(all_done: bool, reason: str) -> str:
    reason = reason.strip()
    if not all_done and not reason:
        raise Refused(
            "Something was left undone without a reason.",
            field="not_done_reason",
            remedy="Say what was not done and why.",
        )
    if len(reason) > 300:
        raise Refused(
            "The reason is too long.", field="not_done_reason", remedy="Use 300 characters at most."
        )
    return "" if all_done else reason


def _checked_strokes(signature_svg: str, name_confirmed: bool) -> str:
    if signature_svg.strip():
        return checked_signature(signature_svg)
    if name_confirmed:
        return ""
    raise Refused(
        "The signature is missing.",
        field="signature_svg",
        remedy="Let the householder sign in the box, or confirm with the typed name.",
    )
