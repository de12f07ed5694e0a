"""Which jobs a crash, or a message that never reached the broker, left without a verdict or
certificate. Asked by the beat every few minutes; asking twice does no harm.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django.core.cache import cache
from django.db.models import Exists, OuterRef, Q, QuerySet, Subquery

from compliance.assess import ASSESSABLE
from compliance.models import Assessment, Certificate, IssueRunJob
from jobs.models import (
    DepthReading,
    Handover,
    Job,
    Photo,
    PhotoInspection,
    PreStartCheck,
    Stage,
    WorkStep,
)

LOOK_BACK = timedelta(days=2)
"""Evidence older than this was seen by an earlier catch-up."""
COMMIT_LAG = timedelta(minutes=10)
"""Evidence is stamped before it commits, so an assessment made within this may have missed it."""


def jobs_to_assess(now: datetime) -> list[int]:
    """Ids of jobs that wait for a verdict, or may have evidence that their last one missed."""
    return [*_unjudged(now), *_judged_while_evidence_arrived(now)]


def _unjudged(now: datetime) -> QuerySet[Any, int]:
    never = Q(judged_at__isnull=True, stage=Stage.TO_ASSESS)
    newer = _evidence(received_after=now - LOOK_BACK, since_judged=timedelta(0))
    return _judged_jobs().filter(never | newer).order_by("pk").values_list("pk", flat=True)


def _judged_while_evidence_arrived(now: datetime) -> list[int]:
    """Jobs whose evidence was stamped shortly before their verdict: one more look at each."""
    close = _evidence(received_after=now - 6 * COMMIT_LAG, since_judged=COMMIT_LAG)
    rows = (
        _judged_jobs()
        .filter(close, judged_at__lt=now - COMMIT_LAG)
        .order_by("pk")
        .values_list("pk", "judged_at")
    )
    seconds = 12 * COMMIT_LAG.total_seconds()
    return [
        pk
        for pk, judged_at in rows
        if cache.add(f"looked-again:{pk}:{judged_at.timestamp()}", True, seconds)
    ]


def _judged_jobs() -> QuerySet[Job]:
    latest = Assessment.objects.filter(job=OuterRef("pk")).order_by("-number")
    return Job.objects.filter(stage__in=ASSESSABLE).annotate(
        judged_at=Subquery(latest.values("made_at")[:1])
    )


def _evidence(*, received_after: datetime, since_judged: timedelta) -> Q:
    """Jobs with a row of evidence stamped after the verdict less `since_judged`."""
    found = Q()
    for rows, path, stamp in (
        (DepthReading.objects.all(), "visit__job", "received_at"),
        (Photo.objects.all(), "job", "received_at"),
        (PhotoInspection.objects.filter(readable=False), "photo__job", "inspected_at"),
        (PreStartCheck.objects.all(), "visit__job", "received_at"),
        (Handover.objects.all(), "visit__job", "received_at"),
        (WorkStep.objects.all(), "visit__job", "received_at"),
    ):
        later = {
            path: OuterRef("pk"),
            f"{stamp}__gt": received_after,
        }
        found |= Q(
            Exists(
                rows.filter(**later).filter(
                    **{f"{stamp}__gt": OuterRef("judged_at") - since_judged}
                )
            )
        )
    return found


def jobs_to_certify() -> QuerySet[Any, int]:
    """Ids of jobs whose latest verdict meets and that have no certificate.

    Not those whose last certificate a person withdrew: there a person decides.
    """
    latest = Assessment.objects.filter(job=OuterRef("pk")).order_by("-number")
    certificates = Certificate.objects.filter(job=OuterRef("pk"))
    newest_withdrawn_by = certificates.order_by("-id").values("withdrawal__withdrawn_by")[:1]
    return (
        Job.objects.filter(stage=Stage.TO_ASSESS)
        .annotate(
            verdict=Subquery(latest.values("verdict")[:1]),
            withdrawn_by=Subquery(newest_withdrawn_by),
        )
        .filter(verdict=Assessment.Verdict.MEETS, withdrawn_by__isnull=True)
        .exclude(Exists(certificates.filter(withdrawal__isnull=True)))
        .order_by("pk")
        .values_list("pk", flat=True)
    )


def left_to_certify() -> QuerySet[Any, int]:
    """Of `jobs_to_certify`, those that no issue run under way will come to.

    Sent one by one as well they would stand before the run's own pieces in the queue.
    """
    waiting = IssueRunJob.objects.waiting().filter(job=OuterRef("pk"), run__ended_at__isnull=True)
    return jobs_to_certify().exclude(Exists(waiting))
