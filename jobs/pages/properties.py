"""Taking in one home, and correcting what is known of it."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path

from jobs.errors import Refused
from jobs.intake.properties import change_property, take_in_property, values_of
from jobs.models import Job, Property, Role
from jobs.pages.access import page_for
from jobs.pages.edits import history_link
from jobs.pages.property_form import NewPropertyForm, PropertyForm
from jobs.pages.refusals import show_refusal


@page_for(Role.PLANNER)
def property_new(request: HttpRequest) -> HttpResponse:
    form = NewPropertyForm(request.POST or None, company=request.user.company)
    if request.method == "POST" and form.is_valid():
        try:
            job = take_in_property(
                request.user.company, form.cleaned_data["scheme"], form.values, request.user
            )
            messages.success(request, f"{job.property} is taken in as {job.reference}.")
            return redirect("job", pk=job.pk)
        except Refused as refusal:
            show_refusal(form, refusal)
    context = {"form": form, "page_title": "Take in a home", "confirm": "Take it in"}
    return render(request, "jobs/properties/property_form.html", context)


@page_for(Role.PLANNER)
def property_edit(request: HttpRequest, pk: int) -> HttpResponse:
    home = get_object_or_404(Property.objects.visible_to(request.user), pk=pk)
    job = Job.objects.visible_to(request.user).filter(property=home).first()
    form = PropertyForm(request.POST or None, initial=values_of(home))
    if request.method == "POST" and form.is_valid():
        try:
            change_property(home, form.values, request.user)
            messages.success(request, f"{home} is corrected.")
            return redirect("job", pk=job.pk) if job else redirect("job_list")
        except Refused as refusal:
            show_refusal(form, refusal)
    context = {
        "form": form,
        "page_title": f"Correct {home}",
        "page_actions": [history_link("property_edits", home.pk)],
        "confirm": "Save",
        "job": job,
    }
    return render(request, "jobs/properties/property_form.html", context)


urlpatterns = [
    path("properties/new/", property_new, name="property_new"),
    path("properties/<int:pk>/edit/", property_edit, name="property_edit"),
]
