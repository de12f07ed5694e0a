"""Issuing the certificates of many jobs: begin, watch, stop, go on, and who got none and why."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

from django import forms
from django.core.paginator import Paginator
from django.db import transaction
from django.db.models import Count
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.views.decorators.http import require_POST

from compliance import tasks
from compliance.issue_runs import (
    begin_issue_run,
    counts_of,
    go_on,
    meeting_jobs,
    read_references,
    stop_run,
    waiting_jobs,
)
from compliance.models import IssueRun, IssueRunJob
from compliance.pages.roles import DECIDERS
from jobs.errors import Refused
from jobs.models import Scheme, User
from jobs.pages.access import page_for
from jobs.pages.refusals import show_refusal, tell

ROWS_A_PAGE = 50
RUNS_SHOWN = 20
REASONS_SHOWN = 8


class IssueRunForm(forms.Form):
    scheme = forms.ModelChoiceField(Scheme.objects.none(), required=False, empty_label="Any scheme")
    references = forms.CharField(
        required=False,
        label="These jobs alone",
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text="References such as J-000123, one to a line. Empty: all that wait.",
    )
    after_withdrawal = forms.BooleanField(
        required=False,
        label="Also where a person withdrew the last certificate",
        help_text="Nothing but a person’s decision issues the next one; this is yours.",
    )

    def __init__(self, *args: Any, user: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        scheme: Any = self.fields["scheme"]
        scheme.queryset = Scheme.objects.visible_to(user)


@page_for(*DECIDERS)
def issue_runs(request: HttpRequest) -> HttpResponse:
    posted = request.POST if request.method == "POST" else None
    form = IssueRunForm(posted, user=request.user)
    if form.is_valid():
        given = form.cleaned_data
        given["references"] = read_references(given["references"])
        try:
            run = begin_issue_run(request.user, **given)
        except Refused as refusal:
            show_refusal(form, refusal)
        else:
            send_on(run)
            return redirect("issue_run", pk=run.pk)
    runs = IssueRun.objects.visible_to(request.user).with_people()
    context = {
        "form": form,
        "runs": runs.annotate(total=Count("jobs")).order_by("-pk")[:RUNS_SHOWN],
        "waiting": waiting_jobs(request.user).count(),
        "meeting": meeting_jobs(request.user).count(),
        "page_title": "Issue many certificates",
        "page_lead": "Each loft is certified as it would be alone: only where its latest verdict "
        "meets its rule, and never twice.",
        "page_actions": [{"url": reverse("certificate_list"), "label": "All certificates"}],
    }
    return render(request, "compliance/issue_runs/list.html", context)


def send_on(run: IssueRun) -> None:
    """Start its tasks once this is committed; if the broker does not get them, the beat does."""
    transaction.on_commit(partial(tasks.send_issue_run, run.pk), robust=True)


def _run(request: HttpRequest, pk: int) -> IssueRun:
    visible = IssueRun.objects.visible_to(request.user).with_people()
    found: IssueRun = get_object_or_404(visible, pk=pk)
    return found


@page_for(*DECIDERS)
def issue_run(request: HttpRequest, pk: int) -> HttpResponse:
    run = _run(request, pk)
    refused = IssueRunJob.objects.filter(run=run).refused().select_related("job__property")
    context = {
        **_progress(run),
        "reasons": refused.order_by()
        .values("reason")
        .annotate(jobs=Count("pk"))
        .filter(jobs__gt=1)
        .order_by("-jobs", "reason")[:REASONS_SHOWN],
        "page": Paginator(refused, ROWS_A_PAGE).get_page(request.GET.get("page")),
        "page_title": f"Certificates issued from {run.begun_at:%-d %b %Y, %H:%M}",
        "page_kicker": f"Begun by {run.begun_by}" + (f" · {run.scheme}" if run.scheme else ""),
        "page_actions": [{"url": reverse("issue_runs"), "label": "All runs"}],
    }
    return render(request, "compliance/issue_runs/run.html", context)


@page_for(*DECIDERS)
def issue_run_progress(request: HttpRequest, pk: int) -> HttpResponse:
    """How far it is; once it has ended, the page shows what came of it."""
    run = _run(request, pk)
    answer = render(request, "compliance/issue_runs/progress.html", _progress(run))
    if run.ended_at is not None:
        answer["HX-Refresh"] = "true"
    return answer


def _progress(run: IssueRun) -> dict[str, Any]:
    counts = counts_of(run)
    return {
        "run": run,
        "counts": counts,
        "left": counts["total"] - counts["done"],
        "sentence": "It stops once the lofts in hand are done."
        if run.stop_asked_at
        else "You can leave this page; it goes on.",
    }


def _act(request: HttpRequest, pk: int, act: Callable[[IssueRun], None]) -> HttpResponse:
    run = _run(request, pk)
    tell(request, lambda: act(run))
    return redirect("issue_run", pk=pk)


@require_POST
@page_for(*DECIDERS)
def issue_run_stop(request: HttpRequest, pk: int) -> HttpResponse:
    return _act(request, pk, stop_run)


@require_POST
@page_for(*DECIDERS)
def issue_run_go_on(request: HttpRequest, pk: int) -> HttpResponse:
    def act(run: IssueRun) -> None:
        go_on(run)
        send_on(run)

    return _act(request, pk, act)


RUNS = "proof/certificates/issue-runs/"
urlpatterns = [
    path(RUNS, issue_runs, name="issue_runs"),
    path(f"{RUNS}<int:pk>/", issue_run, name="issue_run"),
    path(f"{RUNS}<int:pk>/progress/", issue_run_progress, name="issue_run_progress"),
    path(f"{RUNS}<int:pk>/stop/", issue_run_stop, name="issue_run_stop"),
    path(f"{RUNS}<int:pk>/go-on/", issue_run_go_on, name="issue_run_go_on"),
]
