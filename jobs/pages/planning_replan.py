"""Something came between: a crew that is away, a visit called off, one that lasts longer."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path

from jobs.errors import Refused
from jobs.models import Absence, PlanRun, Role
from jobs.pages.access import page_for
from jobs.pages.planning_run_forms import CancelledForm, CrewAwayForm, OverrunForm
from jobs.pages.refusals import show_refusal
from jobs.planning.absences import record_absence
from jobs.planning.booking import cancel_visit
from jobs.planning.disturbance import Disturbance
from jobs.planning.runs import replan, visit_overruns

View = Callable[[HttpRequest], HttpResponse]


@page_for(Role.PLANNER)
def crew_away(request: HttpRequest) -> HttpResponse:
    """A crew is ill: record it, and look for who goes instead."""
    return _asked(request, CrewAwayForm, _plan_without_crew, "A crew is ill or away")


@page_for(Role.PLANNER)
def visit_called_off(request: HttpRequest) -> HttpResponse:
    """A householder cancels: take the visit off, and look for who goes instead."""
    return _asked(request, CancelledForm, _plan_without_visit, "A householder cancels")


@page_for(Role.PLANNER)
def visit_lasts_longer(request: HttpRequest) -> HttpResponse:
    """A visit overruns: look for what becomes of the rest of the day."""
    return _asked(request, OverrunForm, _plan_around_visit, "A visit lasts longer")


def _asked(
    request: HttpRequest, make: Any, carry_out: Callable[[HttpRequest, Any], PlanRun], title: str
) -> HttpResponse:
    """The form; when it is sent, carry it out and go to the run that looks for a plan.

    Together or not at all: while another plan is looked for, nothing is recorded either, and the
    form can be sent again.
    """
    form = make(request.POST or None, user=request.user, initial=request.GET.dict())
    if request.method == "POST" and form.is_valid():
        try:
            with transaction.atomic():
                run = carry_out(request, form)
            return redirect("planning_run", pk=run.pk)
        except Refused as refusal:
            show_refusal(form, refusal, starts_at="first_day")
    context = {"form": form, "page_title": title, "page_kicker": "Planning"}
    return render(request, "jobs/planning/replan.html", context)


def _plan_without_crew(request: HttpRequest, form: CrewAwayForm) -> PlanRun:
    given, user = form.cleaned_data, request.user
    record_absence(
        user.company,
        by=user,
        crew=given["crew"],
        starts_at=form.starts_at,
        ends_at=form.ends_at,
        reason=Absence.Reason.ILL,
        note=given["note"],
    )
    return replan(
        user.company,
        by=user,
        because=f"{given['crew']} is away",
        disturbed=form.disturbed,
        waiting=given["waiting"],
    )


def _plan_without_visit(request: HttpRequest, form: CancelledForm) -> PlanRun:
    given, user = form.cleaned_data, request.user
    visit = cancel_visit(given["visit"], given["reason"], user)
    because = f"{visit.job.property.address_line_1} is called off"
    return replan(
        user.company,
        by=user,
        because=because,
        disturbed=Disturbance.of_visit(visit),
        waiting=given["waiting"],
    )


def _plan_around_visit(request: HttpRequest, form: OverrunForm) -> PlanRun:
    given = form.cleaned_data
    return visit_overruns(given["visit"], form.until, by=request.user, waiting=given["waiting"])


urlpatterns = [
    path("planning/replan/crew/", crew_away, name="planning_crew_away"),
    path("planning/replan/cancelled/", visit_called_off, name="planning_called_off"),
    path("planning/replan/longer/", visit_lasts_longer, name="planning_lasts_longer"),
]
