"""Issuing a certificate: the PDF is stored first, then the row, exactly one for a job."""

from __future__ import annotations

from datetime import datetime

from django.utils import timezone

from compliance.assess import assess_job, latest_assessment
from compliance.certificates.code import new_code
from compliance.certificates.contents import Contents, contents_from_dict, contents_of
from compliance.certificates.photos import looked_at, refuse_without_pictures
from compliance.certificates.sheets import was_pdf_2
from compliance.certificates.storage import store_pdf
from compliance.certificates.withdraw import withdrawn_by_a_person
from compliance.models import Assessment, Certificate
from jobs.errors import Conflict, refusals_explained
from jobs.evidence.content_store import Kept
from jobs.models import Job, Stage, User
from jobs.stages import lock_job, move_job

TRIES = 3


def issue_certificate(
    job_id: int, by: User | None = None, *, at: datetime | None = None
) -> Certificate:
    """The current certificate of a job whose latest assessment meets its rule.

    There is one already, or it is drawn, signed and stored before the job's lock is taken,
    and its row is written under the lock. Whatever dies in between leaves at most a file that
    no row names. Photos that no task has inspected yet are inspected first, so that the annex
    shows them; if one proves to be no picture, the job is judged again. `by` is empty when a task
    issues it; `at` tells history.

    Raises:
        Conflict: the latest assessment does not meet the rule, or a person withdrew the last
            certificate and no person asks for the next.
        PictureLost: the annex can't show the photos that the rule asks for.
        OSError: storage can't be reached; try again.
        Job.DoesNotExist: there is no such job.
    """
    for _ in range(TRIES):
        job = Job.objects.with_place().get(pk=job_id)
        known = Certificate.objects.current().filter(job=job).first()
        if known is not None:
            return known
        assessment = _assessment_to_certify(job, by)
        photos = looked_at(assessment)
        if photos is None:
            assess_job(job_id)
            continue
        issued_at = (at or timezone.now()).replace(microsecond=0)
        contents = contents_of(assessment, new_code(), issued_at, photos)
        refuse_without_pictures(assessment, contents.photos_shown)
        key = keep_signing_key()
        kept = store_pdf(make_pdf(contents))
        certificate = _write_row(assessment, contents, kept, by, key)
        if certificate is not None:
            return certificate
    raise Conflict(
        f"{job.reference} keeps getting new evidence while its certificate is drawn.",
        remedy="Try again in a minute.",
    )


def make_pdf(contents: Contents) -> bytes:
    """Drawn and signed. The same contents and key give the same bytes."""
    # Half a second of imports that only the process which draws a certificate should pay for.
    from compliance.certificates.pdf import draw_pdf
    from compliance.certificates.signing import sign_pdf

    issued_at, as_pdf_2 = datetime.fromisoformat(contents.issued_at), was_pdf_2(contents.sheet)
    return sign_pdf(draw_pdf(contents), issued_at, as_pdf_2=as_pdf_2)


def keep_signing_key() -> str:
    """Have the public side of the key in use kept before anything is signed; its fingerprint."""
    from compliance.certificates.key_records import keep_key
    from compliance.certificates.signing import signing_key

    return keep_key(signing_key())


def make_again(certificate: Certificate) -> bytes:
    """The PDF of a stored certificate, from what its row remembers, signed by the key of today."""
    return make_pdf(contents_from_dict(certificate.contents))


def _assessment_to_certify(job: Job, by: User | None) -> Assessment:
    assessment = latest_assessment(job)
    if assessment is None or assessment.verdict != Assessment.Verdict.MEETS:
        verdict = assessment.get_verdict_display() if assessment else "not assessed"
        raise Conflict(
            f"{job.reference} has no verdict that meets its rule (it is: {verdict}).",
            field="job",
            remedy="Open its verdict to see what is missing.",
        )
    if by is None and withdrawn_by_a_person(job):
        raise Conflict(
            f"The last certificate of {job.reference} was withdrawn by a person.",
            field="job",
            remedy="A compliance officer decides whether to issue another.",
        )
    assessment.job = job  # read with all that is printed of it
    return assessment


def _write_row(
    assessment: Assessment, contents: Contents, kept: Kept, by: User | None, key: str
) -> Certificate | None:
    """The row, or None when the verdict it was drawn from is no longer the latest."""
    with refusals_explained():
        job = lock_job(assessment.job_id)
        known = Certificate.objects.current().filter(job=job).first()
        if known is not None:
            return known
        latest = Assessment.objects.filter(job=job).order_by("-number").values_list("pk", flat=True)
        if latest.first() != assessment.pk:
            return None
        certificate = Certificate.objects.create(
            job=job,
            assessment=assessment,
            code=contents.code,
            issued_at=datetime.fromisoformat(contents.issued_at),
            issued_by=by,
            pdf_name=kept.name,
            pdf_sha256=kept.sha256,
            contents=contents.to_dict(),
            key_fingerprint=key,
        )
        move_job(job, Stage.CERTIFIED)
    return certificate
