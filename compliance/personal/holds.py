"""Legal holds: while one is open, nothing of its job is erased by one person or by time alone."""

from __future__ import annotations

from django.utils import timezone

from compliance.models import LegalHold
from jobs.errors import Conflict, Refused, refusals_explained
from jobs.models import Job, Role, User


def place_hold(job: Job, reason: str, by: User) -> LegalHold:
    """Hold what is kept on a job, such as while a claim is open.

    Raises:
        Refused: no reason, or `by` is no compliance officer of the company.
        Conflict: it is on hold already.
    """
    _refuse_no_officer(job, by)
    if not reason.strip():
        raise Refused("Say what it is held for.", field="reason")
    with refusals_explained():
        hold: LegalHold = LegalHold.objects.create(job=job, reason=reason.strip(), placed_by=by)
    return hold


def lift_hold(hold: LegalHold, reason: str, by: User) -> LegalHold:
    """Raises Refused without a reason, Conflict when it was lifted already."""
    _refuse_no_officer(hold.job, by)
    if not reason.strip():
        raise Refused("Say why it is held no longer.", field="reason")
    with refusals_explained():
        changed = LegalHold.objects.filter(pk=hold.pk, lifted_at__isnull=True).update(
            lifted_at=timezone.now(), lifted_by=by, lifted_because=reason.strip()
        )
    if not changed:
        raise Conflict("This hold was lifted already.")
    hold.refresh_from_db()
    return hold


def _refuse_no_officer(job: Job, by: User) -> None:
    if by.role != Role.COMPLIANCE_OFFICER or by.company_id != job.company_id:
        raise Refused("Only a compliance officer of the company holds or lets go.")
