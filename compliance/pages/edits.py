"""Histories of what compliance keeps: a depth rule, a company's retention periods."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import path, reverse

from compliance.models import DepthRule
from compliance.pages.roles import DECIDERS, RULE_KEEPERS
from jobs.edits import Source, register_edits
from jobs.models import Job, User
from jobs.pages.access import page_for
from jobs.pages.edits import edits_page


def of_job(job: Job) -> list[Source]:
    return [
        Source("compliance.ShortfallEvent", {"job_id": job.pk}, "Shortfall"),
        Source("compliance.LegalHoldEvent", {"job_id": job.pk}, "Legal hold"),
        Source("compliance.ErasureRequestEvent", {"job_id": job.pk}, "Request to erase"),
    ]


@page_for(*RULE_KEEPERS)
def rule_edits(request: HttpRequest, pk: int) -> HttpResponse:
    rule = get_object_or_404(DepthRule, pk=pk)
    sources = [Source("compliance.DepthRuleEvent", {"pgh_obj_id": rule.pk}, "Depth rule")]
    return edits_page(request, sources, rule, reverse("rule", args=[rule.pk]))


@page_for(*DECIDERS)
def retention_edits(request: HttpRequest) -> HttpResponse:
    user: User = request.user  # type: ignore[assignment]
    where = {"company_id": user.company_id}
    sources = [Source("compliance.RetentionPeriodEvent", where, "Retention period")]
    return edits_page(request, sources, user.company, reverse("retention"))


def register() -> None:
    """Join the histories of jobs. Called once, when the app is ready."""
    register_edits("job", of_job)


urlpatterns = [
    path("proof/rules/<int:pk>/history/", rule_edits, name="rule_edits"),
    path("proof/personal/history/", retention_edits, name="retention_edits"),
]
