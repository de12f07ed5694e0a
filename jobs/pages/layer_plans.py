"""Layers, cut list, rolls and accessories of a job."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.views.decorators.http import require_POST

from calculations.loft import LoftError
from jobs.catalogues import rolls_laid, was_invented
from jobs.errors import Refused
from jobs.models import Job, LayerPlan, Role, Stage
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
            "rolls": rolls_laid(plan),
            "invented": was_invented(plan),
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


urlpatterns = [
    path("layer-plans/<int:pk>/", layer_plan, name="layer_plan"),
    path("jobs/<int:pk>/quantify/", quantify, name="quantify"),
    path("jobs/<int:pk>/quantify/progress/", quantify_progress, name="quantify_progress"),
]
