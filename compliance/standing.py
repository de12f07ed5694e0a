"""How a company's proofs stand: counts for homes, headers and lists of what needs a hand."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.db.models import Count, Exists, OuterRef, Q, QuerySet

from compliance.catching_up import jobs_to_certify
from compliance.models import Assessment, Certificate, DepthRule, Shortfall
from compliance.rules import may_approve
from jobs.models import Job, Stage, User


def latest_assessments(user: User) -> Any:
    """The newest assessment of every job this person may see."""
    return Assessment.objects.visible_to(user).latest_per_job().with_place()


def verdict_counts(user: User) -> dict[str, int]:
    """Jobs by their latest verdict, those of called-off jobs left out."""
    rows = (
        Assessment.objects.visible_to(user)
        .latest_per_job()
        .exclude(job__stage=Stage.CALLED_OFF)
        .order_by()
        .values_list("verdict")
        .annotate(count=Count("pk"))
    )
    return dict.fromkeys(Assessment.Verdict.values, 0) | dict(rows)


def unproven_now(user: User) -> Any:
    """Jobs that wait for evidence: judged, not proven, and no crew on its way."""
    return latest_assessments(user).filter(verdict="unproven", job__stage=Stage.TO_ASSESS)


def unjudged(user: User) -> QuerySet[Job]:
    """Jobs handed over that have no verdict yet."""
    return Job.objects.visible_to(user).filter(
        ~Exists(Assessment.objects.filter(job=OuterRef("pk"))), stage=Stage.TO_ASSESS
    )


def uncertified(user: User) -> QuerySet[Job]:
    """Jobs that meet their rule and wait for a certificate, a task's or a person's."""
    latest = Assessment.objects.visible_to(user).latest_per_job().filter(verdict="meets")
    current = Certificate.objects.current().filter(job=OuterRef("pk"))
    return Job.objects.visible_to(user).filter(
        ~Exists(current), pk__in=latest.values("job_id"), stage=Stage.TO_ASSESS
    )


def held_back(user: User) -> QuerySet[Job]:
    """Those of `uncertified` that only a person certifies: one withdrew the last certificate."""
    return uncertified(user).exclude(pk__in=jobs_to_certify())


def shortfall_counts(user: User, today: date) -> dict[str, int]:
    """Open shortfalls: all, late, and without a call-back under way."""
    under_way = Q(call_back__status__in=("booked", "on_site"))
    return (
        Shortfall.objects.visible_to(user)
        .open()
        .aggregate(
            open=Count("pk"),
            late=Count("pk", filter=Q(due_on__lt=today)),
            waiting=Count("pk", filter=~under_way | Q(call_back__isnull=True)),
        )
    )


def rules_to_approve(user: User) -> list[DepthRule]:
    proposed = DepthRule.objects.filter(approved_at__isnull=True).select_related("proposed_by")
    return [rule for rule in proposed if may_approve(rule, user)]
