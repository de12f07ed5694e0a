"""The round sheet of a crew's day, as a page and as a paper."""

from __future__ import annotations

from datetime import date

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path, reverse
from django.utils import timezone

import jobs.pages.converters  # noqa: F401  registers isodate
from jobs.models import Crew, Role
from jobs.pages.access import page_for
from jobs.pages.loading import pdf_answer
from jobs.rounds.round_paper import round_sheet_pdf
from jobs.rounds.round_sheet import RoundSheet, round_sheet_for

READS = (Role.PLANNER, Role.INSTALLER)


def shown_round(request: HttpRequest, crew_pk: int, day: date) -> RoundSheet:
    """The round as this person may see it; a 404 where none of it is for it."""
    crews = Crew.objects.select_related("company", "depot", "van")
    crew = get_object_or_404(crews.filter(company_id=request.user.company_id), pk=crew_pk)
    found = round_sheet_for(request.user, crew, day)
    if found is None:
        raise Http404
    return found


@page_for(*READS)
def round_sheet(request: HttpRequest, crew_pk: int, day: date) -> HttpResponse:
    """Order, times, drives, addresses, cautions, drawings. An installer sees its own visits."""
    sheet = shown_round(request, crew_pk, day)
    place = [crew_pk, day]
    context = {
        "sheet": sheet,
        "page_kicker": f"{day:%a %-d %b %Y}",
        "page_title": f"Round of {sheet.crew.name}",
        "page_actions": [
            {"url": reverse("round_sheet_pdf", args=place), "label": "Paper (PDF)"},
            {"url": reverse("load_list", args=place), "label": "Load list"},
        ],
    }
    return render(request, "jobs/rounds/round_sheet.html", context)


@page_for(*READS)
def round_sheet_paper(request: HttpRequest, crew_pk: int, day: date) -> HttpResponse:
    """The same to print: a tagged PDF."""
    sheet = shown_round(request, crew_pk, day)
    return pdf_answer(round_sheet_pdf(sheet, made_at=timezone.now()), f"round-{day}.pdf")


DAY = "rounds/<int:crew_pk>/<isodate:day>/"
urlpatterns = [
    path(DAY, round_sheet, name="round_sheet"),
    path(f"{DAY}paper.pdf", round_sheet_paper, name="round_sheet_pdf"),
]
