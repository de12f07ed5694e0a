"""Who opened whose evidence: kept for the household, the company and the scheme."""

from __future__ import annotations

from compliance.models import EvidenceAccess
from jobs.models import Job, User


def note_access(job: Job, person: User, what: str) -> EvidenceAccess:
    """Record that `person` opened `what` of a job, such as "verdict" or "photo 12"."""
    return EvidenceAccess.objects.create(job=job, person=person, what=what)
