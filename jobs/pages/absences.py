"""Who is away: the list, and recording, correcting or taking back an absence."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_POST

from jobs.errors import Refused
from jobs.models import Absence, Role
from jobs.numbers import whole_number
from jobs.pages.absence_forms import AbsenceForm
from jobs.pages.access import page_for
from jobs.pages.refusals import show_refusal
from jobs.planning.absences import (
    change_absence,
    end_absence,
    record_absence,
    visits_in_the_way,
)
from jobs.planning.holidays_ahead import holidays_ahead

SHOWN = 200


@page_for(Role.PLANNER, Role.SURVEYOR)
def absence_list(request: HttpRequest) -> HttpResponse:
    known = Absence.objects.visible_to(request.user).select_related("crew", "operative__crew")
    now = timezone.now()
    context = {
        "absences": known.filter(during__endswith__gt=now)[:SHOWN],
        "gone": known.filter(during__endswith__lte=now).order_by("-during")[:20],
        "holidays": holidays_ahead(request.user, timezone.localdate()),
        "may_edit": request.user.role == Role.PLANNER,
        "page_title": "Absences and holidays",
        "page_lead": "Who cannot be sent, and when. Plans go round it; nothing is booked in it.",
    }
    return render(request, "jobs/crews/absences.html", context)


@page_for(Role.PLANNER)
def absence_new(request: HttpRequest) -> HttpResponse:
    form = AbsenceForm(request.POST or None, user=request.user, initial=request.GET.dict())
    if request.method == "POST" and form.is_valid():
        given, user = form.cleaned_data, request.user
        try:
            absence = record_absence(
                user.company,
                by=user,
                reason=given["reason"],
                note=given["note"],
                **form.chosen,  # type: ignore[arg-type]
                **form.times,
            )
            _tell(request, absence)
            return redirect("absence_list")
        except Refused as refusal:
            show_refusal(form, refusal, ends_at="last_day", starts_at="first_day")
    return _form(request, form, "Record an absence")


@page_for(Role.PLANNER)
def absence_edit(request: HttpRequest, pk: int) -> HttpResponse:
    absence = get_object_or_404(Absence.objects.visible_to(request.user), pk=pk)
    form = AbsenceForm(request.POST or None, user=request.user, absence=absence)
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        try:
            changed = change_absence(
                absence,
                by=request.user,
                version=given["version"] or 0,
                reason=given["reason"],
                note=given["note"],
                **form.times,
            )
            _tell(request, changed)
            return redirect("absence_list")
        except Refused as refusal:
            show_refusal(form, refusal, ends_at="last_day", starts_at="first_day")
    who = absence.crew or absence.operative
    return _form(request, form, f"Absence of {who}", absence=absence)


@require_POST
@page_for(Role.PLANNER)
def absence_end(request: HttpRequest, pk: int) -> HttpResponse:
    """Take an absence back."""
    absence = get_object_or_404(Absence.objects.visible_to(request.user), pk=pk)
    version = whole_number(request.POST.get("version", "")) or 0
    try:
        end_absence(absence, by=request.user, version=version)
        messages.success(request, "The absence is taken back.")
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect("absence_list")


def _form(request: HttpRequest, form: AbsenceForm, title: str, **context: Any) -> HttpResponse:
    context |= {"form": form, "page_title": title}
    return render(request, "jobs/crews/absence_form.html", context)


def _tell(request: HttpRequest, absence: Absence) -> None:
    """That it is kept, and what is booked in that time and has to be planned anew."""
    booked = visits_in_the_way(absence)
    if not booked:
        messages.success(request, "The absence is kept.")
        return
    count = f"{len(booked)} visits are" if len(booked) > 1 else "1 visit is"
    messages.warning(request, f"The absence is kept. {count} booked in that time: plan them anew.")


urlpatterns = [
    path("absences/", absence_list, name="absence_list"),
    path("absences/new/", absence_new, name="absence_new"),
    path("absences/<int:pk>/", absence_edit, name="absence_edit"),
    path("absences/<int:pk>/end/", absence_end, name="absence_end"),
]
