"""Erasing personal data of a household: at once, or once a second person agreed.

What is erased is gone from its rows and from storage. The ledger keeps the salted hashes that
entered it when the facts were written, and the salts go too, so every proof still holds and
nobody can try names against it.
"""

from __future__ import annotations

import logging
from collections.abc import Sequence
from functools import partial

from django.db import transaction
from django.utils import timezone

from compliance.models import BytesToRemove, Certificate, Erasure, ErasureRequest, LegalHold
from compliance.personal.erasable import Items, erase_kind, items_of
from compliance.personal.kinds import BY_CODE, CONTACT, KINDS
from jobs.errors import Conflict, Refused, refusals_explained
from jobs.evidence.content_store import remove_kept
from jobs.models import Job, Role, Stage, User
from jobs.stages import lock_job

log = logging.getLogger(__name__)

Because = ErasureRequest.Because
CLOSED = (Stage.CERTIFIED, Stage.CALLED_OFF)


def stands_against(job: Job, kinds: Sequence[str]) -> list[str]:
    """Sentences: why one person alone may not erase these kinds of a job now."""
    found = [
        f"A legal hold stands since {timezone.localtime(hold.placed_at):%-d %b %Y}."
        for hold in LegalHold.objects.open().filter(job=job)
    ]
    # Whoever gave a reason could blank it alone otherwise.
    found += [f"{BY_CODE[kind].label}: always erased by two people." for kind in kinds
              if BY_CODE[kind].by_two]  # fmt: skip
    evidence = [BY_CODE[kind].label.lower() for kind in kinds if BY_CODE[kind].evidence]
    if evidence:
        found += [
            f"Certificate {code} is valid and rests on: {'; '.join(evidence)}."
            for code in Certificate.objects.current().filter(job=job).values_list("code", flat=True)
        ]
    if evidence and job.stage not in CLOSED:
        found.append("The job is not closed: its verdict may still need its evidence.")
    others = Job.objects.filter(property=job.property_id).exclude(pk=job.pk)
    if CONTACT in kinds and others.exclude(stage__in=CLOSED).exists():
        found.append("Another job of this home is not closed and still needs the contact.")
    return found


def ask_erasure(job: Job, kinds: Sequence[str], reason: str, by: User) -> Erasure | ErasureRequest:
    """Erase at once, or, where something stands against it, ask for a second person.

    Raises:
        Refused: no kind or no reason is given, or `by` is no compliance officer of the company.
        Conflict: nothing of these kinds is held, or a request of this job waits already.
    """
    kinds = _known(kinds)
    _refuse_no_officer(job, by)
    if not reason.strip():
        raise Refused("Say why it is erased, without names.", field="reason")
    with refusals_explained():
        job = lock_job(job.pk)
        _held_items(job, kinds)
        against = stands_against(job, kinds)
        if not against:
            return _erase(job, kinds, reason.strip(), Because.ASKED, by, None)
        return ErasureRequest.objects.create(
            job=job,
            kinds=kinds,
            because=Because.ASKED,
            reason=reason.strip(),
            stands_against=against,
            asked_by=by,
        )


def erase_after_retention(job_id: int, kinds: Sequence[str], reason: str) -> bool:
    """What a retention period asks for. Returns whether it was erased; else a person is asked.

    Nothing happens while the job is on hold or a request of it waits.
    """
    with refusals_explained():
        job = lock_job(job_id)
        if LegalHold.objects.open().filter(job=job).exists():
            return False
        try:
            _held_items(job, kinds)
        except Conflict:
            return False
        against = stands_against(job, kinds)
        if not against:
            _erase(job, list(kinds), reason, Because.RETENTION, None, None)
            return True
        if not job.erasure_requests.waiting().exists():
            ErasureRequest.objects.create(
                job=job,
                kinds=list(kinds),
                because=Because.RETENTION,
                reason=reason,
                stands_against=against,
            )
        return False


def answer_request(
    request: ErasureRequest, agreed: bool, by: User, answer: str = ""
) -> Erasure | None:
    """The second person's answer; when agreed, it is erased with the same act.

    Raises:
        Refused: `by` asked for it or may not answer; or no reason to turn it down.
        Conflict: it is answered already.
    """
    _refuse_not_second(request, by)
    if not agreed and not answer.strip():
        raise Refused("Say why it is kept.", field="answer")
    with refusals_explained():
        job = lock_job(request.job_id)
        changed = ErasureRequest.objects.filter(pk=request.pk, answered_at__isnull=True).update(
            agreed=agreed, answer=answer.strip(), answered_by=by, answered_at=timezone.now()
        )
        if not changed:
            raise Conflict("This request is answered already.")
        if not agreed:
            return None
        return _erase(job, request.kinds, request.reason, request.because, request.asked_by, by)


def may_answer_request(request: ErasureRequest, by: User) -> bool:
    """Whether this person is shown the answer's form."""
    try:
        _refuse_not_second(request, by)
    except Refused:
        return False
    return request.answered_at is None


def remove_bytes() -> int:
    """Remove stored files that erasures left to be removed; how many went. Safe to run twice."""
    gone = 0
    for waiting in BytesToRemove.objects.order_by("pk"):
        remove_kept(waiting.name)
        waiting.delete()
        gone += 1
    return gone


def _erase(
    job: Job,
    kinds: Sequence[str],
    reason: str,
    because: str,
    asked_by: User | None,
    agreed_by: User | None,
) -> Erasure:
    """Record the erasure first: only what it names may be overwritten."""
    by_kind = _held_items(job, kinds)
    items: Items = {}
    for named in by_kind.values():
        for table, rows in named.items():
            items.setdefault(table, {}).update(rows)
    erasure: Erasure = Erasure.objects.create(
        job=job,
        kinds=list(by_kind),
        because=because,
        reason=reason,
        items=items,
        asked_by=asked_by,
        agreed_by=agreed_by,
    )
    for kind, named in by_kind.items():
        names = erase_kind(job, kind, named)
        BytesToRemove.objects.bulk_create(
            (BytesToRemove(name=name) for name in names), ignore_conflicts=True
        )
    transaction.on_commit(partial(_remove_soon, job.pk), robust=True)
    return erasure


def _remove_soon(job_id: int) -> None:
    """At once; what storage does not give up now is tried again by the beat."""
    try:
        remove_bytes()
    except OSError:
        log.warning("Files of an erasure of job %s could not be removed yet", job_id, exc_info=True)


def _held_items(job: Job, kinds: Sequence[str]) -> dict[str, Items]:
    found = {kind: items_of(job, kind) for kind in kinds}
    held = {kind: items for kind, items in found.items() if items}
    if not held:
        raise Conflict("Nothing of this kind is held any more.", field="kinds")
    return held


def _known(kinds: Sequence[str]) -> list[str]:
    chosen = [kind.code for kind in KINDS if kind.code in kinds]
    if not chosen or set(kinds) - set(chosen):
        raise Refused(
            "Choose what is erased.",
            field="kinds",
            remedy=f"One or more of: {', '.join(kind.code for kind in KINDS)}.",
        )
    return chosen


def _refuse_no_officer(job: Job, by: User) -> None:
    if by.role != Role.COMPLIANCE_OFFICER or by.company_id != job.company_id:
        raise Refused("Only a compliance officer of the company erases personal data.")


def _refuse_not_second(request: ErasureRequest, by: User) -> None:
    if by.pk == request.asked_by_id:
        raise Refused(
            "An erasure is agreed to by a second person, not by the one who asked for it.",
            remedy="Ask another compliance officer of the company.",
        )
    # An auditor judges what the company decided, so it takes no part in deciding.
    if by.role != Role.COMPLIANCE_OFFICER or by.company_id != request.job.company_id:
        raise Refused("Another compliance officer of the company agrees to an erasure.")
