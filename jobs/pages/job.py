"""The list of jobs, and the page that tells one job's whole story."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from jobs.evidence.openings import opened
from jobs.models import Job, Role, Stage
from jobs.pages.access import page_for
from jobs.pages.desk_parts import STORY_READERS
from jobs.pages.job_filters import JobFilter
from jobs.pages.paging import LatePages
from jobs.pages.reason_form import ReasonForm
from jobs.pages.refusals import REFUSED, put_back, tried
from jobs.pages.registry import rendered_story
from jobs.planning.booking import call_off_job, kinds_bookable

JOBS_A_PAGE = 50
PAGE = "jobs/job/job.html"


@page_for(*STORY_READERS)
def job_list(request: HttpRequest) -> HttpResponse:
    shown = JobFilter(request.GET, user=request.user)
    jobs = shown.jobs(request.GET.get("order", ""))
    context = {
        "filter": shown,
        "page": LatePages(jobs, JOBS_A_PAGE).get_page(request.GET.get("page")),
        "today": timezone.localdate(),
        "page_title": "Jobs",
    }
    return render(request, "jobs/job/job_list.html", context)


@page_for(*STORY_READERS)
def job(request: HttpRequest, pk: int) -> HttpResponse:
    """Everything about one job from top to bottom; each area adds its section."""
    record = get_object_or_404(Job.objects.visible_to(request.user).with_place(), pk=pk)
    opened([record.pk], request.user, "the job’s page")
    return render(request, PAGE, _context(request, record))


def _context(request: HttpRequest, record: Job) -> dict[str, Any]:
    return {
        "job": record,
        "sections": rendered_story(record, request),
        "page_title": str(record.property),
        "page_kicker": f"{record.reference} · {record.scheme}",
        "page_actions": _actions(record, request.user),
        "reason_form": ReasonForm() if _may_call_off(record, request.user) else None,
    }


def _may_call_off(record: Job, user: Any) -> bool:
    return user.role == Role.PLANNER and record.stage not in (Stage.CERTIFIED, Stage.CALLED_OFF)


def _actions(record: Job, user: Any) -> list[dict[str, Any]]:
    """What the planner can do from here; the first is what the job needs next."""
    if user.role != Role.PLANNER:
        return []
    actions: list[dict[str, Any]] = []
    if kinds_bookable(record):
        url = reverse("book_visit", args=[record.pk])
        actions.append({"url": url, "label": "Book a visit", "primary": True})
    url = reverse("property_edit", args=[record.property_id]) + f"?job={record.pk}"
    actions.append({"url": url, "label": "Correct the home"})
    if _may_call_off(record, user):
        actions.append({"url": "#call-off", "label": "Call off", "opens": "call-off"})
    return actions


@require_POST
@page_for(Role.PLANNER)
def job_call_off(request: HttpRequest, pk: int) -> HttpResponse:
    record = get_object_or_404(Job.objects.visible_to(request.user).with_place(), pk=pk)
    form = ReasonForm(request.POST, unless_given="Say why the job is called off.")

    def act(given: Mapping[str, Any]) -> str:
        call_off_job(record, given["reason"], request.user)
        return f"{record.reference} is called off."

    if tried(request, form, act):
        return redirect("job", pk=record.pk)
    context = put_back(_context(request, record), reason_form=form)
    return render(request, PAGE, context, status=REFUSED)


urlpatterns = [
    path("jobs/", job_list, name="job_list"),
    path("jobs/<int:pk>/", job, name="job"),
    path("jobs/<int:pk>/call-off/", job_call_off, name="job_call_off"),
]
