"""The installer's pages of a visit as it goes: arrival, each step of laying, variations, stopping,
leaving."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import path

from jobs.errors import Refused
from jobs.evidence.arrival import WhoCame, operatives_of, record_arrival
from jobs.evidence.handover import further_visits
from jobs.evidence.leaving import HowLeft, record_leave
from jobs.evidence.site_record import site_record_of
from jobs.evidence.stopping import hazards, stop_work
from jobs.evidence.variations import Differs, record_variation
from jobs.evidence.work_steps import StepDone, record_work_step
from jobs.models import Photo, Role, Visit, WorkStep
from jobs.pages.access import page_for
from jobs.pages.on_site import VISIT, own_visit, show
from jobs.pages.on_site_forms import OnSiteForm
from jobs.pages.on_site_work_forms import (
    ArrivalForm,
    LeaveForm,
    StopForm,
    VariationForm,
    WorkStepForm,
)
from jobs.pages.refusals import show_refusal
from jobs.surveying.step_sheets import step_sheet

MOST_PHOTOS_OFFERED = 12


def kept(request: HttpRequest, form: OnSiteForm, keep: Callable[[dict[str, Any]], object]) -> bool:
    """Whether the form came filled in and was stored; a refusal stands in the form."""
    if request.method != "POST" or not form.is_valid():
        return False
    try:
        keep(form.cleaned_data)
    except Refused as refusal:
        answer = refusal.field.removeprefix("answers.")
        show_refusal(form, Refused(refusal.message, field=answer, remedy=refusal.remedy))
        return False
    return True


@page_for(Role.INSTALLER)
def arrival(request: HttpRequest, pk: int) -> HttpResponse:
    """Who is here, who let them in, whether the loft is empty; again once it is."""
    visit = own_visit(request, pk)
    earlier = visit.arrivals.current().last()
    initial = _as_told(earlier) if earlier else {}
    form = ArrivalForm(request.POST or None, operatives=operatives_of(visit), initial=initial)

    def keep(given: dict[str, Any]) -> None:
        came = WhoCame(
            given["operative_ids"], given["let_in_by"], given["loft_ready"], given["note"]
        )
        record_arrival(visit, came, request.user, form.told, form.position)  # type: ignore[arg-type]

    if kept(request, form, keep):
        return redirect("on_site_visit", pk=pk)
    return show(request, "arrival", visit, "Arrival", form=form, earlier=earlier)


def _as_told(earlier: Any) -> dict[str, Any]:
    return {
        "operative_ids": earlier.operative_ids,
        "let_in_by": earlier.let_in_by,
        "loft_ready": "yes" if earlier.loft_ready else "",
    }


@page_for(Role.INSTALLER)
def step(request: HttpRequest, pk: int, step: str) -> HttpResponse:
    """One step of laying: its drawing, its strips, what to look at, and how it went."""
    if step not in WorkStep.Kind.values:
        raise Http404
    visit = own_visit(request, pk)
    record = site_record_of(visit)
    told = record.steps.get(step)
    initial = {**told.answers, "outcome": told.outcome, "note": told.note} if told else {}
    form = WorkStepForm(request.POST or None, step=step, initial=initial)

    def keep(given: dict[str, Any]) -> None:
        went = StepDone(step, given["outcome"], form.answers, given["note"])
        record_work_step(visit, went, request.user, form.told)  # type: ignore[arg-type]

    if kept(request, form, keep):
        return redirect("on_site_visit", pk=pk)
    return show(
        request,
        "step",
        visit,
        WorkStep.Kind(step).label,
        form=form,
        record=record,
        step=step,
        told=told,
        sheet=step_sheet(record.plan, step) if record.plan else None,
    )


@page_for(Role.INSTALLER)
def variations(request: HttpRequest, pk: int) -> HttpResponse:
    """What differs from the plan: those told so far, and another one."""
    visit = own_visit(request, pk)
    record = site_record_of(visit)
    areas = record.survey.areas.all() if record.survey else ()
    form = VariationForm(request.POST or None, areas=areas, photos=_photos_of(visit))

    def keep(given: dict[str, Any]) -> None:
        names = ("kind", "meaning", "reason", "area", "depth_mm", "photo_key")
        differs = Differs(**{name: given[name] for name in names})
        record_variation(visit, differs, request.user, form.told)  # type: ignore[arg-type]

    if kept(request, form, keep):
        messages.success(request, "The variation is stored at the office.")
        return redirect("on_site_variations", pk=pk)
    return show(request, "variations", visit, "Other than planned", form=form, record=record)


def _photos_of(visit: Visit) -> list[tuple[str, str]]:
    """Photos of anything else, the newest first, to be named with a variation."""
    others = Photo.objects.filter(visit=visit, moment=Photo.Moment.OTHER).order_by("-pk")
    return [
        (str(photo.client_key), f"Photo {photo.received_at:%H:%M} {photo.note}".strip())
        for photo in others[:MOST_PHOTOS_OFFERED]
    ]


@page_for(Role.INSTALLER)
def stop(request: HttpRequest, pk: int) -> HttpResponse:
    visit = own_visit(request, pk)
    form = StopForm(request.POST or None)

    def keep(given: dict[str, Any]) -> None:
        stop_work(
            visit,
            given["stop_reason"],
            request.user,  # type: ignore[arg-type]
            given["phone_at"],
            given["found"],
            given["phone_sent_at"],
            given["client_key"],
        )

    if kept(request, form, keep):
        return redirect("on_site_visit", pk=pk)
    return show(request, "stop", visit, "Stop work", form=form, hazards=hazards())


@page_for(Role.INSTALLER)
def leave(request: HttpRequest, pk: int) -> HttpResponse:
    """Leaving, after the handover, for another day, or after stopped work."""
    visit = own_visit(request, pk)
    form = LeaveForm(request.POST or None)

    def keep(given: dict[str, Any]) -> None:
        how = HowLeft(given["loft_closed"], given["site_clear"], given["note"])
        record_leave(visit, how, request.user, form.told, form.position)  # type: ignore[arg-type]

    if kept(request, form, keep):
        messages.success(request, "You have left. Thank you.")
        return redirect("on_site")
    further = further_visits(visit).order_by("during").first()
    return show(request, "leave", visit, "Leave the home", form=form, further=further)


urlpatterns = [
    path(f"{VISIT}arrival/", arrival, name="on_site_arrival"),
    path(f"{VISIT}work/<slug:step>/", step, name="on_site_step"),
    path(f"{VISIT}variations/", variations, name="on_site_variations"),
    path(f"{VISIT}stop/", stop, name="on_site_stop"),
    path(f"{VISIT}leave/", leave, name="on_site_leave"),
]
