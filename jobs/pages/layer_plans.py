"""Layers, cut list, rolls and accessories of a job; and the load list of a crew's day."""

from __future__ import annotations

from datetime import date

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.views.decorators.http import require_POST

import jobs.pages.converters  # noqa: F401  registers isodate
from calculations.loft import LoftError
from jobs.errors import Refused
from jobs.loading.load_list import load_list_of_day
from jobs.models import Crew, Job, LayerPlan, Role, Stage, Visit
from jobs.pages.access import page_for
from jobs.surveying.layer_sheets import layer_sheet
from jobs.surveying.quantities import make_layer_plan

READS = (Role.PLANNER, Role.SURVEYOR, Role.INSTALLER, Role.COMPLIANCE_OFFICER, Role.AUDITOR)


@page_for(*READS)
def layer_plan(request: HttpRequest, pk: int) -> HttpResponse:
    """One layer plan: drawings, cut list, rolls, accessories, labour, heat."""
    plan = get_object_or_404(
        LayerPlan.objects.visible_to(request.user).select_related("job__property", "survey"), pk=pk
    )
    return render(
        request,
        "jobs/layer_plans/layer_plan.html",
        {
            "plan": plan,
            "sheet": layer_sheet(plan),
            "page_kicker": plan.job.reference,
            "page_title": f"Layers for {plan.job.property.address_line_1}",
            "page_lead": f"To {plan.target_depth_mm:.0f} mm. {plan.target_source}",
        },
    )


@require_POST
@page_for(Role.PLANNER, Role.SURVEYOR)
def quantify(request: HttpRequest, pk: int) -> HttpResponse:
    """Work the layer plan out now, rather than wait for the background task."""
    job = get_object_or_404(Job.objects.visible_to(request.user).with_place(), pk=pk)
    try:
        plan = make_layer_plan(job)
    except (Refused, LoftError) as refusal:
        messages.error(request, str(refusal))
        return redirect("job", pk=job.pk)
    return redirect("layer_plan", pk=plan.pk)


@page_for(*READS)
def quantify_progress(request: HttpRequest, pk: int) -> HttpResponse:
    """Asked every few seconds; once the layers are worked out, the whole page is shown anew."""
    job = get_object_or_404(Job.objects.visible_to(request.user), pk=pk)
    if job.stage == Stage.TO_QUANTIFY:
        return HttpResponse(status=204)
    return HttpResponse(headers={"HX-Refresh": "true"})


@page_for(Role.PLANNER, Role.INSTALLER)
def load_list(request: HttpRequest, crew_pk: int, day: date) -> HttpResponse:
    """What goes on the van of a crew on a day. An installer sees its own crew's."""
    seen = Visit.objects.visible_to(request.user).live().on_day(day).filter(crew_id=crew_pk)
    if request.user.role == Role.INSTALLER and not seen.exists():
        raise Http404
    crew = get_object_or_404(Crew.objects.filter(company_id=request.user.company_id), pk=crew_pk)
    return render(
        request,
        "jobs/layer_plans/load_list.html",
        {
            "crew": crew,
            "day": day,
            "load": load_list_of_day(crew, day),
            "page_kicker": f"{day:%a %-d %b %Y}",
            "page_title": f"Load list for {crew.name}",
        },
    )


urlpatterns = [
    path("layer-plans/<int:pk>/", layer_plan, name="layer_plan"),
    path("jobs/<int:pk>/quantify/", quantify, name="quantify"),
    path("jobs/<int:pk>/quantify/progress/", quantify_progress, name="quantify_progress"),
    path("load-lists/<int:crew_pk>/<isodate:day>/", load_list, name="load_list"),
]
