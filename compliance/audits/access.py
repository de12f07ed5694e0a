"""What an auditor may see, and who has opened what of a company's evidence.

An auditor sees the jobs of its scheme's sealed populations and nothing else: neither jobs that
were never certified, nor those certified since. A round that was given up opens nothing.
"""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet

from compliance.models import AuditRound, EvidenceAccess, PopulationJob
from jobs.audited import register_audited_jobs
from jobs.models import Job, Role, User

OPENING = (AuditRound.State.SEALED, AuditRound.State.DRAWN, AuditRound.State.CLOSED)
"""The states of a round in which its population is open to the scheme's auditors."""
READING = "audit reading"
SENT_AHEAD = "audit reading, sent ahead and not shown yet"
SMALL_SENT = "small photos of the contact sheet, sent"
LARGE_SENT = "doubted photos of the contact sheet, sent"
"""What the log calls a job's page that was shown; one that went to the auditor's browser while the
job before was read; and its pictures, which go ahead with it: small ones, and large where the
machine doubts."""
SHEET_ASKED = "order of the pairs and what speaks against them"


def jobs_open_to(auditor: User | Any) -> QuerySet[Any]:
    """Ids of the jobs in the sealed populations of the auditor's scheme, as a query.

    That a job is the scheme's own is asked in here: said of the jobs themselves, it made
    PostgreSQL take their number for one and compare each with each.
    """
    return PopulationJob.objects.filter(
        round__scheme_id=auditor.scheme_id,
        round__seal__isnull=False,
        round__state__in=OPENING,
        job__scheme_id=auditor.scheme_id,
    ).values("job_id")


def offer_audited_jobs() -> None:
    """Join `jobs.audited`. Called once, when the app is ready."""
    register_audited_jobs(jobs_open_to)


def openings_of(person: User | Any, words: str = "") -> QuerySet[EvidenceAccess]:
    """What auditors opened of the jobs of this person's company, the latest first.

    words: narrows it to jobs found by them, such as J-000123.
    """
    jobs = Job.objects.filter(company_id=person.company_id)
    if words:
        jobs = jobs.search(words)
    return (
        EvidenceAccess.objects.filter(job__in=jobs, person__role=Role.AUDITOR)
        .select_related("job__property", "person__scheme")
        .order_by("-id")
    )
