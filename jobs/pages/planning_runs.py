"""Looking for a plan: asking for one, watching it, stopping it, and answering what it proposes."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.views.decorators.http import require_POST

from jobs.errors import Refused
from jobs.models import PlanRun, ProposedVisit, Role
from jobs.numbers import whole_number
from jobs.pages.access import page_for
from jobs.pages.planning_run_forms import RunForm
from jobs.pages.refusals import show_refusal
from jobs.planning.answering import Accepted, accept, discard, promised_among
from jobs.planning.prices import Prices, prices_in_force
from jobs.planning.proposals import proposals_of, summary_of
from jobs.planning.run_answer import answer_to, disturbance_of
from jobs.planning.run_chart import chart_of
from jobs.planning.run_groups import proposed_by
from jobs.planning.run_words import objective_lines
from jobs.planning.runs import last_wishes, run_progress, start_run, stop_run

EARLIER_RUNS = 8


@page_for(Role.PLANNER)
def run_list(request: HttpRequest) -> HttpResponse:
    """Ask for a plan, and the runs so far."""
    company = request.user.company
    now = prices_in_force(company)
    form = RunForm(request.POST or None, last=last_wishes(company), prices=Prices.of(now))
    if request.method == "POST" and form.is_valid():
        run = _try_to_start(request, form)
        if run is not None:
            return redirect("planning_run", pk=run.pk)
    context = {
        "form": form,
        "prices": now,
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
        PlanRun.objects.visible_to(request.user).select_related("asked_by", "prices"), pk=pk
    )
    return render(request, "jobs/planning/run.html", _run_context(record))


def _run_context(record: PlanRun) -> dict[str, Any]:
    progress = run_progress(record)
    return {
        "run": record,
        "progress": progress,
        "objective": objective_lines(progress.objective, progress.late_before),
        "chart": chart_of(progress.curve, progress.elapsed_s),
        "page_title": str(record),
        "page_kicker": record.because or "Planning",
        **({} if record.is_under_way else _found(record)),
    }


def _found(record: PlanRun) -> dict[str, Any]:
    """What a run that is over proposes, laid out by what it was asked for."""
    lines, disturbed = proposals_of(record), disturbance_of(record)
    if disturbed is not None and record.state != PlanRun.State.FAILED:
        answer = answer_to(disturbed, record, lines)
        title = f"{record.because}: what changes" if record.because else "What changes"
        told = {"answer": answer, "page_title": title, "page_kicker": answer.where}
        return {"summary": summary_of(record), **told}
    return {"summary": summary_of(record), "proposed": proposed_by(lines)}


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
        "objective": objective_lines(progress.objective, progress.late_before),
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
    """Accept all, accept what is ticked, or discard the rest. Promised visits are asked about."""
    record = get_object_or_404(PlanRun.objects.visible_to(request.user), pk=pk)
    answer = request.POST.get("answer", "")
    numbers = map(whole_number, request.POST.getlist("line"))
    ticked = [pk for pk in numbers if pk is not None]
    chosen = ticked if answer == "ticked" else None
    if answer in ("all", "ticked") and "sure" not in request.POST:
        promised = promised_among(record, chosen)
        if promised:
            return _ask_again(request, record, promised, answer, ticked)
    try:
        _carry_out(request, record, answer, chosen)
    except Refused as refusal:
        messages.error(request, str(refusal))
    return _back_to(request, record)


def _carry_out(
    request: HttpRequest, record: PlanRun, answer: str, chosen: list[int] | None
) -> None:
    if answer == "discard":
        count = discard(record, request.user)
        messages.success(request, f"{_proposals(count)} set aside; what is booked stays.")
    elif answer == "ticked" and not chosen:
        messages.error(request, "Nothing is ticked. Tick what you want to accept.")
    elif answer in ("all", "ticked"):
        _tell(request, accept(record, request.user, chosen))
    else:
        messages.error(request, "Say what to do with the proposals: accept or discard them.")


def _ask_again(
    request: HttpRequest,
    record: PlanRun,
    promised: list[ProposedVisit],
    answer: str,
    ticked: list[int],
) -> HttpResponse:
    """Who was promised something else, by name: as a dialog, or without scripts as a page."""
    context = {
        "run": record,
        "promised": promised,
        "coming_off": sum(line.change == ProposedVisit.Change.TAKEN_OFF for line in promised),
        "answer": answer,
        "lines": ticked if answer == "ticked" else [],
        "page_title": "Promised visits would change",
        "page_kicker": record.because or str(record),
    }
    part = "run_sure" if "HX-Request" in request.headers else "run_sure_page"
    return render(request, f"jobs/planning/{part}.html", context)


def _back_to(request: HttpRequest, record: PlanRun) -> HttpResponse:
    """The run's page anew: htmx is told to load it, anybody else is sent there."""
    if "HX-Request" in request.headers:
        return HttpResponse(headers={"HX-Redirect": reverse("planning_run", args=[record.pk])})
    return redirect("planning_run", pk=record.pk)


def _proposals(count: int) -> str:
    return "1 proposal is" if count == 1 else f"{count} proposals are"


def _tell(request: HttpRequest, accepted: Accepted) -> None:
    if accepted.done:
        messages.success(request, f"{_proposals(len(accepted.done))} carried out.")
    for line in accepted.done:
        if line.answer_words:
            messages.warning(request, line.answer_words)
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
