"""What follows from findings: call-backs and withdrawals asked of the company, and its answer.

An auditor reads and asks; the company acts. So an auditor can neither book a crew nor withdraw a
certificate: the compliance officer does, or says why not, and both stand in the ledger.
"""

from __future__ import annotations

from datetime import timedelta

from django.utils import timezone

from compliance.audits.answers import DAYS_FOR_CRITICAL
from compliance.certificates.withdraw import withdraw_certificate
from compliance.models import (
    AuditFollowUp,
    AuditFollowUpAnswer,
    AuditRound,
    Certificate,
    CertificateWithdrawal,
    Finding,
)
from jobs.errors import Conflict, Refused, refusals_explained
from jobs.models import Job, Role, Stage, User, VisitKind, VisitNeed
from jobs.planning.need_facts import USUAL_HOURS
from jobs.planning.needs import place_for_booking
from jobs.stages import lock_job

Kind = AuditFollowUp.Kind
DAYS_FOR = {Kind.CALL_BACK: 28, Kind.WITHDRAWAL: 7}
"""Until when the company acts [days]: common practice, no published source. After a critical
finding it is the day by which that is to be answered (`DAYS_FOR_CRITICAL`)."""

SERIOUS = (Finding.Severity.MAJOR, Finding.Severity.CRITICAL)
URGENT_PRIORITY, USUAL_PRIORITY = 5, 4
BY_THE_AUDIT = ["part_hours", "priority", "due_on"]
MOST_NOTE = 300


def ask_follow_up(finding: Finding, kind: str, by: User, reason: str = "") -> AuditFollowUp:
    """Ask the company for a call-back, or its officer to withdraw the certificate.

    Raises:
        Refused: the kind follows from no finding, or the finding is none that calls for it.
        Conflict: it was asked already, or there is no certificate to withdraw.
    """
    if kind not in DAYS_FOR:
        raise Refused("A finding leads to a call-back or a withdrawal.", field="kind")
    if finding.severity in (Finding.Severity.SOUND, Finding.Severity.OBSERVATION):
        raise Refused("Nothing is put right after an observation.", field="finding")
    job = finding.drawn_job.job
    if kind == Kind.WITHDRAWAL:
        if finding.severity not in SERIOUS:
            raise Refused(
                "A certificate is withdrawn after a major or critical finding.", field="finding"
            )
        if not Certificate.objects.current().filter(job=job).exists():
            raise Conflict(f"{job.reference} has no certificate any more.")
    with refusals_explained():
        return AuditFollowUp.objects.create(
            kind=kind,
            round=finding.drawn_job.round,
            finding=finding,
            job=job,
            reason=(reason.strip() or finding.text)[:600],
            due_on=timezone.localdate() + timedelta(days=_days_for(finding, kind)),
            asked_by=by,
        )


def _days_for(finding: Finding, kind: str) -> int:
    critical = finding.severity == Finding.Severity.CRITICAL
    return DAYS_FOR_CRITICAL if critical else DAYS_FOR[Kind(kind)]


def take_up(follow_up: AuditFollowUp, by: User, note: str = "") -> AuditFollowUpAnswer:
    """Do what was asked: withdraw the certificate, or have a call-back wait to be booked.

    No crew is sent to a job whose certificate stands, so a call-back to a certified job withdraws
    it first; that is the compliance officer's act. After the call-back the job is judged anew.

    Raises:
        Refused: not theirs to do. Conflict: it was answered already, or the job is at a stage
        without a call-back.
    """
    with refusals_explained():
        job = lock_job(_job(follow_up).pk)
        _refuse_answered(follow_up)
        withdrawal = _withdraw(job, follow_up, by)
        need = None
        if follow_up.kind == Kind.CALL_BACK:
            need = _call_back_need(Job.objects.get(pk=job.pk), follow_up)
        return AuditFollowUpAnswer.objects.create(
            follow_up=follow_up,
            job=job,
            done=True,
            note=note.strip(),
            need=need,
            withdrawal=withdrawal,
            answered_by=by,
        )


def turn_down(follow_up: AuditFollowUp, by: User, note: str) -> AuditFollowUpAnswer:
    """Say why it is not done. The auditor sees it.

    Raises:
        Refused: no reason, or not theirs to say. Conflict: it was answered already.
    """
    if not note.strip():
        raise Refused("Say why it is not done.", field="note")
    if by.role != Role.COMPLIANCE_OFFICER:
        raise Refused("The compliance officer turns down what an auditor asked.", field="note")
    with refusals_explained():
        job = lock_job(_job(follow_up).pk)
        _refuse_answered(follow_up)
        return AuditFollowUpAnswer.objects.create(
            follow_up=follow_up, job=job, done=False, note=note.strip(), answered_by=by
        )


def note_of_round(record: AuditRound, kind: str, reason: str, by: User) -> AuditFollowUp:
    """Something that follows from the round as a whole."""
    return AuditFollowUp.objects.create(kind=kind, round=record, reason=reason[:600], asked_by=by)


def done_with(follow_ups: object, by: User, note: str) -> None:
    """Note that what followed from a round as a whole came about."""
    for follow_up in follow_ups:  # type: ignore[attr-defined]
        AuditFollowUpAnswer.objects.create(
            follow_up=follow_up, done=True, note=note[:600], answered_by=by
        )


def _job(follow_up: AuditFollowUp) -> Job:
    if follow_up.job is None:
        raise Refused("This follows from a round, not from a finding on a job.")
    return follow_up.job


def _refuse_answered(follow_up: AuditFollowUp) -> None:
    if AuditFollowUpAnswer.objects.filter(follow_up=follow_up).exists():
        raise Conflict("This was answered already.")


def _withdraw(job: Job, follow_up: AuditFollowUp, by: User) -> CertificateWithdrawal | None:
    """The withdrawal that the request leads to, or led to by other hands meanwhile."""
    certificate = Certificate.objects.current().filter(job=job).first()
    if certificate is None:
        if follow_up.kind == Kind.CALL_BACK:
            return None
        return CertificateWithdrawal.objects.filter(certificate__job=job).latest("pk")
    if by.role != Role.COMPLIANCE_OFFICER:
        raise Refused(
            f"The certificate of {job.reference} stands.",
            remedy="Its withdrawal is the compliance officer's act, and comes before a call-back.",
        )
    return withdraw_certificate(
        certificate,
        f"Audit: {follow_up.reason}"[:300],
        by,
        kind=CertificateWithdrawal.Kind.AUDIT,
    )


def _call_back_need(job: Job, follow_up: AuditFollowUp) -> VisitNeed:
    """What waits on the planning board, with the finding's words for the crew."""
    if job.stage not in (Stage.TO_ASSESS, Stage.SHORT):
        raise Conflict(
            f"{job.reference} is at “{job.get_stage_display()}”: no call-back can wait there.",
            remedy="Its visit is under way; come back to this once the job is assessed.",
        )
    need = place_for_booking(job, VisitKind.CALL_BACK, USUAL_HOURS[VisitKind.CALL_BACK]).need
    finding = follow_up.finding
    critical = finding is not None and finding.severity == Finding.Severity.CRITICAL
    need.note = f"Audit: {follow_up.reason}"[:MOST_NOTE]
    need.due_on = follow_up.due_on
    need.priority = URGENT_PRIORITY if critical else USUAL_PRIORITY
    need.set_by_hand = sorted({*need.set_by_hand, *BY_THE_AUDIT})
    need.version += 1
    need.save(update_fields=["note", "due_on", "priority", "set_by_hand", "version"])
    return need
