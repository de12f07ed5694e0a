"""Taking a certificate back. It stays readable, and says that it was withdrawn and why."""

from __future__ import annotations

from datetime import datetime

from django.utils import timezone

from compliance.models import Certificate, CertificateWithdrawal
from jobs.errors import Conflict, Refused, refusals_explained
from jobs.models import Job, Stage, User
from jobs.stages import lock_job, move_job

Kind = CertificateWithdrawal.Kind
GIVEN_BY_A_PERSON = tuple(kind.value for kind in Kind if kind != Kind.NEW_VERDICT)


def withdraw_certificate(
    certificate: Certificate,
    reason: str,
    by: User,
    *,
    kind: str = Kind.OTHER,
    at: datetime | None = None,
) -> CertificateWithdrawal:
    """Withdraw a current certificate by a person's decision; the job waits for a new verdict.

    Nothing but a person's decision issues the next one. `kind` is told to everybody who has the
    code, `reason` to the company and its auditor alone.

    Raises:
        Refused: no reason is given, or a kind that no person gives.
        Conflict: it is withdrawn already.
    """
    if not reason.strip():
        raise Refused("Say why the certificate is withdrawn.", field="reason")
    if kind not in GIVEN_BY_A_PERSON:
        raise Refused(
            "This is no kind of reason to withdraw a certificate.",
            field="kind",
            remedy=f"Choose one of {', '.join(GIVEN_BY_A_PERSON)}.",
        )
    with refusals_explained():
        job = lock_job(certificate.job_id)
        if CertificateWithdrawal.objects.filter(certificate=certificate).exists():
            raise Conflict(f"Certificate {certificate.code} is withdrawn already.")
        withdrawal = CertificateWithdrawal.objects.create(
            certificate=certificate,
            kind=kind,
            reason=reason.strip(),
            withdrawn_by=by,
            withdrawn_at=at or timezone.now(),
        )
        if job.stage == Stage.CERTIFIED:
            move_job(job, Stage.TO_ASSESS)
    return withdrawal


def withdraw_current(
    job: Job, reason: str, *, at: datetime | None = None
) -> CertificateWithdrawal | None:
    """Withdraw what a new assessment no longer supports, in that assessment's transaction."""
    certificate = Certificate.objects.current().filter(job=job).first()
    if certificate is None:
        return None
    return CertificateWithdrawal.objects.create(
        certificate=certificate,
        kind=Kind.NEW_VERDICT,
        reason=reason,
        withdrawn_at=at or timezone.now(),
    )


def withdrawn_by_a_person(job: Job) -> bool:
    """Whether the job's newest certificate was taken back by a person, who then decides."""
    newest = Certificate.objects.filter(job=job).select_related("withdrawal").first()
    withdrawal = getattr(newest, "withdrawal", None)
    return withdrawal is not None and withdrawal.withdrawn_by_id is not None
