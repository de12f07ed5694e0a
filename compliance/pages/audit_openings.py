"""The company reads what auditors opened of its evidence, and when."""

from __future__ import annotations

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path

from compliance.audits.access import openings_of
from jobs.models import Role
from jobs.pages.access import page_for

PAGE_ROWS = 60
LEAD = (
    "Every page, file and pack of your jobs’ evidence that an auditor opened. What was sent ahead "
    "reached the auditor’s browser while the job before was read; it was opened where a line of "
    "reading follows."
)


@page_for(Role.COMPLIANCE_OFFICER, Role.PLANNER)
def openings(request: HttpRequest) -> HttpResponse:
    """What auditors opened, the latest first; `?job=J-000123` narrows it to one job."""
    words = request.GET.get("job", "").replace("\0", "").strip()
    page = Paginator(openings_of(request.user, words), PAGE_ROWS).get_page(request.GET.get("page"))
    context = {
        "page": page,
        "words": words,
        "page_title": "Opened by auditors",
        "page_lead": LEAD,
    }
    return render(request, "compliance/audits/openings.html", context)


urlpatterns = [path("findings/opened/", openings, name="auditor_openings")]
