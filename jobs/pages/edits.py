"""The history of a record, edit by edit: of a job, a home, a crew, an account."""

from __future__ import annotations

from typing import Any

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path, reverse

from jobs.edits import (
    Source,
    edits_of,
    sources_of_crew,
    sources_of_job,
    sources_of_person,
    sources_of_property,
)
from jobs.models import Crew, Job, Property, Role, User
from jobs.pages.access import page_for

EDITS_A_PAGE = 50
OFFICE = (Role.PLANNER, Role.COMPLIANCE_OFFICER)


def edits_page(request: HttpRequest, sources: list[Source], of: object, back: str) -> HttpResponse:
    """The page of any record's edits; `back` is the record's own page."""
    person: User = request.user  # type: ignore[assignment]
    edits = edits_of(sources, person)
    context: dict[str, Any] = {
        "page": Paginator(edits, EDITS_A_PAGE).get_page(request.GET.get("page")),
        "page_title": "History",
        "page_kicker": str(of),
        "page_lead": "Every edit: who made it, when, from where, and what it changed. The database "
        "writes it down by itself, and nobody can change it.",
        "page_actions": [{"url": back, "label": "Back"}],
    }
    return render(request, "jobs/history/edits.html", context)


@page_for(*OFFICE, Role.AUDITOR)
def job_edits(request: HttpRequest, pk: int) -> HttpResponse:
    job = get_object_or_404(Job.objects.visible_to(request.user).with_place(), pk=pk)
    return edits_page(
        request, sources_of_job(job), f"{job.reference} · {job.property}", reverse("job", args=[pk])
    )


@page_for(*OFFICE)
def property_edits(request: HttpRequest, pk: int) -> HttpResponse:
    home = get_object_or_404(Property.objects.visible_to(request.user), pk=pk)
    job = home.jobs.order_by("-pk").first()
    back = reverse("job", args=[job.pk]) if job else reverse("job_list")
    return edits_page(request, sources_of_property(home), home, back)


@page_for(*OFFICE)
def crew_edits(request: HttpRequest, pk: int) -> HttpResponse:
    crew = get_object_or_404(Crew.objects.visible_to(request.user), pk=pk)
    back = reverse("crew_list") if request.user.role == Role.PLANNER else reverse("home")
    return edits_page(request, sources_of_crew(crew), crew, back)


@page_for(Role.PLANNER, Role.PLATFORM_ADMIN)
def person_edits(request: HttpRequest, pk: int) -> HttpResponse:
    person = get_object_or_404(User.objects.visible_to(request.user), pk=pk)
    return edits_page(
        request, sources_of_person(person), person, reverse("person", args=[person.pk])
    )


urlpatterns = [
    path("jobs/<int:pk>/history/", job_edits, name="job_edits"),
    path("properties/<int:pk>/history/", property_edits, name="property_edits"),
    path("crews/<int:pk>/history/", crew_edits, name="crew_edits"),
    path("people/<int:pk>/history/", person_edits, name="person_edits"),
]
