"""The history of a record, edit by edit: of a job, a home, a crew, an account, a company."""

from __future__ import annotations

from typing import Any

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path, reverse

from jobs.edits import (
    Source,
    edits_of,
    sources_of_company,
    sources_of_crew,
    sources_of_depots,
    sources_of_job,
    sources_of_person,
    sources_of_property,
    sources_of_scheme,
    sources_of_yard,
)
from jobs.models import Company, Crew, Job, Property, Role, Scheme, User
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


@page_for(Role.PLANNER)
def yard_edits(request: HttpRequest) -> HttpResponse:
    """All crews, vans and operatives, those that stand alone too."""
    company = request.user.company  # type: ignore[union-attr]
    sources = sources_of_yard(company)  # type: ignore[arg-type]
    return edits_page(request, sources, "Crews, vans and operatives", reverse("crew_list"))


@page_for(Role.PLANNER)
def depot_edits(request: HttpRequest) -> HttpResponse:
    company = request.user.company  # type: ignore[union-attr]
    sources = sources_of_depots(company)  # type: ignore[arg-type]
    return edits_page(request, sources, "Depots, stock items and orders", reverse("depot_list"))


@page_for(Role.PLANNER, Role.PLATFORM_ADMIN)
def company_edits(request: HttpRequest, pk: int) -> HttpResponse:
    company = get_object_or_404(Company.objects.visible_to(request.user), pk=pk)
    admin = request.user.role == Role.PLATFORM_ADMIN  # type: ignore[union-attr]
    back = reverse("company", args=[pk]) if admin else reverse("office")
    return edits_page(request, sources_of_company(company), company, back)


@page_for(Role.PLATFORM_ADMIN)
def scheme_edits(request: HttpRequest, pk: int) -> HttpResponse:
    scheme = get_object_or_404(Scheme.objects.visible_to(request.user), pk=pk)
    back = reverse("scheme", args=[pk])
    return edits_page(request, sources_of_scheme(scheme), scheme, back)


def history_link(name: str, *arguments: int) -> dict[str, str]:
    """The action of a page that leads to its record's history."""
    return {"url": reverse(name, args=arguments), "label": "History"}


urlpatterns = [
    path("jobs/<int:pk>/history/", job_edits, name="job_edits"),
    path("properties/<int:pk>/history/", property_edits, name="property_edits"),
    path("crews/<int:pk>/history/", crew_edits, name="crew_edits"),
    path("crews/history/", yard_edits, name="yard_edits"),
    path("depots/history/", depot_edits, name="depot_edits"),
    path("companies/<int:pk>/history/", company_edits, name="company_edits"),
    path("platform/schemes/<int:pk>/history/", scheme_edits, name="scheme_edits"),
    path("people/<int:pk>/history/", person_edits, name="person_edits"),
]
