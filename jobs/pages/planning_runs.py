"""Looking for a plan: asking for one, watching it, stopping it, and answering what it proposes."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.views.decorators.http import require_POST

from jobs.errors import Refused
from jobs.models import PlanRun, Role
from jobs.pages.access import page_for
from jobs.pages.planning_run_forms import RunForm
from jobs.pages.refusals import show_refusal
from jobs.planning.answering import Accepted, accept, discard
from jobs.planning.proposals import proposals_of, summary_of
from jobs.planning.run_chart import chart_of
from jobs.planning.run_groups import proposed_by
from jobs.planning.run_words import objective_lines
from jobs.planning.runs import run_progress, start_run, stop_run

EARLIER_RUNS = 8


@page_for(Role.PLANNER)
def run_list(request: HttpRequest) -> HttpResponse:
    """Ask for a plan, and the runs so far."""
    form = RunForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        run = _try_to_start(request, form)
        if run is not None:
            return redirect("planning_run", pk=run.pk)
    context = {
        "form": form,
        "runs": PlanRun.objects.visible_to(request.user).select_related("asked_by")[:EARLIER_RUNS],
        "page_title": "Look for a plan",
        "page_kicker": "Planning",
    }
    return render(request, "jobs/planning/run_list.html", context)


def _try_to_start(request: HttpRequest, form: RunForm) -> PlanRun | None:
    given = form.cleaned_data
    try:
        return start_run(
            request.user.company,
            by=request.user,
            first_day=given["first_day"],
            days=given["days"],
            seconds=given["seconds"],
            seed=given["seed"] or 1,
            wishes=form.planner_wishes,
        )
    except Refused as refusal:
        show_refusal(form, refusal)
        return None


@page_for(Role.PLANNER)
def run(request: HttpRequest, pk: int) -> HttpResponse:
    """One run: its progress while it looks, then what it proposes."""
    record = get_object_or_404(
        PlanRun.objects.visible_to(request.user).select_related("asked_by"), pk=pk
    )
    return render(request, "jobs/planning/run.html", _run_context(record))


def _run_context(record: PlanRun) -> dict[str, Any]:
    progress = run_progress(record)
    return {
        "run": record,
        "progress": progress,
        "objective": objective_lines(progress.objective),
        "chart": chart_of(progress.curve, progress.elapsed_s),
        "summary": None if record.is_under_way else summary_of(record),
        "proposed": None if record.is_under_way else proposed_by(proposals_of(record)),
        "page_title": str(record),
        "page_kicker": record.because or "Planning",
    }


@page_for(Role.PLANNER)
def run_progress_part(request: HttpRequest, pk: int) -> HttpResponse:
    """How far a run is, asked for by htmx; when it is over, the page is loaded again."""
    record = get_object_or_404(PlanRun.objects.visible_to(request.user), pk=pk)
    if not record.is_under_way:
        return HttpResponse(headers={"HX-Refresh": "true"})
    progress = run_progress(record)
    context = {
        "run": record,
        "progress": progress,
        "objective": objective_lines(progress.objective),
        "chart": chart_of(progress.curve, progress.elapsed_s),
    }
    return render(request, "jobs/planning/run_progress.html", context)


@require_POST
@page_for(Role.PLANNER)
def run_stop(request: HttpRequest, pk: int) -> HttpResponse:
    record = get_object_or_404(PlanRun.objects.visible_to(request.user), pk=pk)
    try:
        stop_run(record, request.user)
        messages.success(request, "Stopping; the best plan so far is kept.")
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect("planning_run", pk=pk)


@require_POST
@page_for(Role.PLANNER)
def run_answer(request: HttpRequest, pk: int) -> HttpResponse:
    """Accept all, accept what is ticked, or discard the rest."""
    record = get_object_or_404(PlanRun.objects.visible_to(request.user), pk=pk)
    answer = request.POST.get("answer", "")
    ticked = [int(pk) for pk in request.POST.getlist("line") if pk.isdecimal()]
    try:
        if answer == "discard":
            count = discard(record, request.user)
            messages.success(request, f"{count} proposals are set aside; what is booked stays.")
        elif answer == "ticked" and not ticked:
            messages.error(request, "Nothing is ticked. Tick what you want to accept.")
        else:
            chosen = ticked if answer == "ticked" else None
            _tell(request, accept(record, request.user, chosen))
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect("planning_run", pk=pk)


def _tell(request: HttpRequest, accepted: Accepted) -> None:
    if accepted.done:
        messages.success(request, f"{len(accepted.done)} proposals are carried out.")
    if accepted.refused:
        count = len(accepted.refused)
        messages.warning(
            request, f"{count} could not be carried out; each says below what came between."
        )


urlpatterns = [
    path("planning/runs/", run_list, name="planning_run_list"),
    path("planning/runs/<int:pk>/", run, name="planning_run"),
    path("planning/runs/<int:pk>/progress/", run_progress_part, name="planning_run_progress"),
    path("planning/runs/<int:pk>/stop/", run_stop, name="planning_run_stop"),
    path("planning/runs/<int:pk>/answer/", run_answer, name="planning_run_answer"),
]
