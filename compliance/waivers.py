"""Waiving a shortfall: recorded by one, agreed to by another. The loft stays short, uncertified."""

from __future__ import annotations

from datetime import datetime

from django.utils import timezone

from compliance.models import Shortfall, Waiver, WaiverAnswer
from compliance.second_people import may_be_second, who_can
from jobs.errors import Conflict, Refused, refusals_explained
from jobs.models import Job, Role, User
from jobs.stages import lock_job


def record_waiver(
    shortfall: Shortfall, reason: str, by: User, *, at: datetime | None = None
) -> Waiver:
    """A waiver that waits for a second person.

    Raises:
        Refused: no reason is given, or `by` is no compliance officer of the company.
        Conflict: the shortfall is closed, or a waiver of it waits already.
    """
    if not reason.strip():
        raise Refused("Say why the shortfall is left as it is.", field="reason")
    if by.role != Role.COMPLIANCE_OFFICER or by.company_id != shortfall.job.company_id:
        raise Refused("Only a compliance officer of the company records a waiver.")
    with refusals_explained():
        lock_job(shortfall.job_id)
        shortfall = Shortfall.objects.get(pk=shortfall.pk)
        if shortfall.closed_at is not None:
            raise Conflict("This shortfall is closed already.")
        if shortfall.waivers.filter(answer__isnull=True).exists():  # type: ignore[attr-defined]
            raise Conflict(
                "A waiver of this shortfall waits for a second person.",
                remedy="Ask them to answer it first.",
            )
        return Waiver.objects.create(
            job_id=shortfall.job_id,
            shortfall=shortfall,
            reason=reason.strip(),
            recorded_by=by,
            recorded_at=at or timezone.now(),
        )


def answer_waiver(
    waiver: Waiver, agreed: bool, by: User, note: str = "", *, at: datetime | None = None
) -> WaiverAnswer:
    """The second person's answer; when agreed, it closes the shortfall.

    No certificate follows: the loft does not meet its rule.

    Raises:
        Refused: `by` is the one who recorded it, or may not answer; or no reason to turn it down.
        Conflict: it is answered, or the shortfall was closed meanwhile.
    """
    _refuse_same_person(waiver, by)
    if not agreed and not note.strip():
        raise Refused("Say why the waiver is turned down.", field="note")
    at = at or timezone.now()
    with refusals_explained():
        lock_job(waiver.job_id)
        shortfall = Shortfall.objects.get(pk=waiver.shortfall_id)
        if WaiverAnswer.objects.filter(waiver=waiver).exists():
            raise Conflict("This waiver is answered already.")
        if shortfall.closed_at is not None:
            raise Conflict("The shortfall was closed meanwhile, so there is nothing to waive.")
        answer = WaiverAnswer.objects.create(
            job_id=waiver.job_id,
            waiver=waiver,
            agreed=agreed,
            note=note.strip(),
            answered_by=by,
            answered_at=at,
        )
        if agreed:
            shortfall.waived_by, shortfall.closed_at = waiver, at
            shortfall.save(update_fields=["waived_by", "closed_at"])
    return answer


def may_answer(waiver: Waiver, by: User) -> bool:
    """Whether this person is shown the answer's form."""
    return not hasattr(waiver, "answer") and may_be_second(waiver, by)


def newest_waiver(job: Job) -> Waiver | None:
    return Waiver.objects.filter(job=job).with_people().first()


def _refuse_same_person(waiver: Waiver, by: User) -> None:
    if by.pk == waiver.recorded_by_id:
        raise Refused(
            "A waiver is answered by a second person, not by the one who recorded it.",
            remedy=who_can(waiver.job_id, waiver.recorded_by_id),
        )
    # An auditor judges what the company decided, so it takes no part in deciding.
    if not may_be_second(waiver, by):
        raise Refused(
            "A waiver is answered by another compliance officer of the company or, without one, "
            "by a planner who did not work on the loft; by the shortfall’s owner only where "
            "nobody else can.",
            remedy=who_can(waiver.job_id, waiver.recorded_by_id),
        )
