"""Depths measured again by the auditor on site, and how they agree with the installers'."""

from __future__ import annotations

import csv
from collections.abc import Sequence

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse

from calculations.drawing.places import NumberedPlace, draw_places
from compliance.audits.remeasuring import (
    agreement_of,
    crew_names,
    readings_to_measure,
    remeasure,
)
from compliance.evidence_access import note_access
from compliance.models import AuditRound, DrawnJob, Remeasurement
from compliance.pages.audit_reading_forms import AgainForm
from jobs.errors import Refused
from jobs.lofts import loft_of
from jobs.models import Role
from jobs.pages.access import page_for
from jobs.surveying.quantities import current_survey

COLUMNS = (
    "job",
    "reading",
    "crew",
    "area",
    "x_mm",
    "y_mm",
    "auditor_mm",
    "installer_mm",
    "difference_mm",
    "mean_mm",
    "measured_at",
)
BEGINS_A_FORMULA = ("=", "+", "-", "@")


@page_for(Role.AUDITOR)
def measure_again(request: HttpRequest, pk: int) -> HttpResponse:
    """On site: the places of the installer's readings, without their depths until measured."""
    rows = DrawnJob.objects.visible_to(request.user).select_related("round", "job__property")
    drawn = get_object_or_404(rows, pk=pk)
    note_access(drawn.job, request.user, "measuring again")
    known = {
        row.reading_id: row for row in drawn.remeasurements.current().select_related("reading")
    }
    form = AgainForm(request.POST or None, readings=readings_to_measure(drawn), known=known)
    if request.method == "POST" and form.is_valid() and _record(request, drawn, form):
        return redirect("remeasure", pk=drawn.pk)
    places = list(form.places())
    context = {
        "drawn": drawn,
        "form": form,
        "places": places,
        "is_open": drawn.round.state == AuditRound.State.DRAWN,
        "svg": _drawing(drawn, places),
        "page_kicker": f"{drawn.round.name} · {drawn.job.reference}",
        "page_title": "Measure again",
        "page_lead": drawn.job.property.address,
        "back_url": reverse("audit_round", args=[drawn.round_id]),
        "back_label": "The round",
    }
    return render(request, "compliance/audits/measure_again.html", context)


def _record(request: HttpRequest, drawn: DrawnJob, form: AgainForm) -> bool:
    try:
        made = remeasure(drawn, request.user, form.rows())
    except Refused as refusal:
        form.add_error(None, str(refusal))
        return False
    messages.success(request, f"Recorded: {len(made)}. They stand in the ledger.")
    return True


def _drawing(drawn: DrawnJob, places: Sequence) -> str:
    survey = current_survey(drawn.job)
    if survey is None:
        return ""
    loft = loft_of(survey)
    names = {area.name for area in loft.areas}
    numbered = [
        NumberedPlace(row.number, row.reading.x_mm, row.reading.y_mm, row.known is not None)
        for row in places
        if row.reading.area.name in names
    ]
    return draw_places(loft, numbered, title="Places to measure again")


def _round(request: HttpRequest, pk: int) -> AuditRound:
    return get_object_or_404(AuditRound.objects.visible_to(request.user), pk=pk)


@page_for(Role.AUDITOR)
def agreement(request: HttpRequest, pk: int) -> HttpResponse:
    """Bias and spread of a round, by crew, with Bland and Altman's picture."""
    record = _round(request, pk)
    context = {
        "round": record,
        "agreement": agreement_of(record),
        "page_kicker": record.name,
        "page_title": "Measured twice",
        "page_lead": "The auditor's depths against the installers', place by place.",
        "page_actions": [
            {"url": reverse("audit_round", args=[record.pk]), "label": "The round"},
            {"url": reverse("agreement_csv", args=[record.pk]), "label": "The figures (CSV)"},
        ],
    }
    return render(request, "compliance/audits/agreement.html", context)


@page_for(Role.AUDITOR)
def agreement_csv(request: HttpRequest, pk: int) -> HttpResponse:
    """Each pair of a round as a line."""
    record = _round(request, pk)
    name = f"attachment; filename=round-{record.pk}-measured-twice.csv"
    answer = HttpResponse(content_type="text/csv", headers={"Content-Disposition": name})
    lines = csv.writer(answer)
    lines.writerow(COLUMNS)
    rows = agreement_of(record).whole.pairs
    crew_of = crew_names(rows)
    for row in rows:
        lines.writerow(_line(row, crew_of(row)))
    return answer


def _line(row: Remeasurement, crew: str) -> list[object]:
    reading = row.reading
    return [
        row.drawn_job.job.reference,
        reading.pk,
        _plain(crew),
        _plain(reading.area.name),
        row.x_mm,
        row.y_mm,
        row.depth_mm,
        reading.depth_mm,
        row.difference_mm,
        (row.depth_mm + reading.depth_mm) / 2,
        row.measured_at.isoformat(),
    ]


def _plain(words: str) -> str:
    """Names that a spreadsheet would take for a formula are quoted."""
    return f"'{words}" if words.startswith(BEGINS_A_FORMULA) else words


urlpatterns = [
    path("audit/drawn/<int:pk>/measure/", measure_again, name="remeasure"),
    path("audit/rounds/<int:pk>/agreement/", agreement, name="agreement"),
    path("audit/rounds/<int:pk>/agreement.csv", agreement_csv, name="agreement_csv"),
]
