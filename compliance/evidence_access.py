"""Who opened whose evidence: kept for the household, the company and the scheme."""

from __future__ import annotations

from collections.abc import Iterable

from compliance.models import EvidenceAccess
from jobs.models import Job, User


def note_access(job: Job, person: User, what: str) -> EvidenceAccess:
    """Record that `person` opened `what` of a job, such as "verdict" or "photo 12"."""
    return EvidenceAccess.objects.create(job=job, person=person, what=what)


def note_accesses(job_ids: Iterable[int], person: User, what: str) -> None:
    """The same of many jobs at once."""
    EvidenceAccess.objects.bulk_create(
        (EvidenceAccess(job_id=job_id, person=person, what=what) for job_id in job_ids),
        batch_size=1000,
    )
