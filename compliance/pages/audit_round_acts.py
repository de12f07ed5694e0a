"""What the auditor does with a round: seal, draw, widen, give up, close, resume a series."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import path
from django.views.decorators.http import require_POST

from compliance.audits.rounds import (
    close_round,
    draw_sample,
    give_up_round,
    seal_population,
    widen_round,
)
from compliance.audits.switching import Subject, resume_inspection
from compliance.models import AuditRound, SwitchingStep
from compliance.pages.audit_forms import DrawForm, ReasonForm
from compliance.pages.audit_round_parts import jobs_in_words
from compliance.pages.audits import round_of
from jobs.errors import Refused
from jobs.models import Role
from jobs.pages.access import page_for


def act_on(
    request: HttpRequest, pk: int, act: Callable[[AuditRound], Any], done: Callable[[Any], str]
) -> HttpResponse:
    """Do it, say how it went, and show the round again."""
    record = round_of(request, pk)
    try:
        messages.success(request, done(act(record)))
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect("audit_round", pk=record.pk)


def _reason(request: HttpRequest) -> str:
    form = ReasonForm(request.POST)
    return str(form.cleaned_data["reason"]) if form.is_valid() else ""


@require_POST
@page_for(Role.AUDITOR)
def round_seal(request: HttpRequest, pk: int) -> HttpResponse:
    return act_on(
        request, pk, seal_population, lambda r: f"Sealed: {jobs_in_words(r.population_size)}."
    )


@require_POST
@page_for(Role.AUDITOR)
def round_draw(request: HttpRequest, pk: int) -> HttpResponse:
    form = DrawForm(request.POST)
    nonce = form.cleaned_data["nonce_hex"] if form.is_valid() else ""
    return act_on(
        request,
        pk,
        lambda record: draw_sample(record, nonce),
        lambda drawn: f"Drawn: {jobs_in_words(drawn.sample_size)}.",
    )


@require_POST
@page_for(Role.AUDITOR)
def round_widen(request: HttpRequest, pk: int) -> HttpResponse:
    """Draw as many jobs again from the same population."""
    return act_on(
        request,
        pk,
        lambda record: widen_round(record, _reason(request), request.user),
        lambda w: f"Drawn: {w.size_after - w.size_before} more jobs, {w.size_after} in all.",
    )


@require_POST
@page_for(Role.AUDITOR)
def round_give_up(request: HttpRequest, pk: int) -> HttpResponse:
    """End a round without a draw; it stays in the list with its reason."""
    return act_on(
        request,
        pk,
        lambda record: give_up_round(record, _reason(request)),
        lambda _: "The round is given up. It stays in the list with your reason.",
    )


@require_POST
@page_for(Role.AUDITOR)
def round_close(request: HttpRequest, pk: int) -> HttpResponse:
    return act_on(request, pk, close_round, lambda _: "The round is closed.")


@require_POST
@page_for(Role.AUDITOR)
def series_resume(request: HttpRequest, pk: int) -> HttpResponse:
    """Go on inspecting a series that was stopped, tightened from the start."""
    series = SwitchingStep.objects.visible_to(request.user).select_related(
        "scheme", "company", "crew"
    )
    step = get_object_or_404(series, pk=pk)
    try:
        subject = Subject(step.scheme, step.company, step.crew)
        resume_inspection(subject, request.user, _reason(request))
        messages.success(request, f"Resumed for {subject}: the next round is tightened.")
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect("audit_home")


urlpatterns = [
    path("audit/rounds/<int:pk>/seal/", round_seal, name="audit_round_seal"),
    path("audit/rounds/<int:pk>/draw/", round_draw, name="audit_round_draw"),
    path("audit/rounds/<int:pk>/widen/", round_widen, name="audit_round_widen"),
    path("audit/rounds/<int:pk>/give-up/", round_give_up, name="audit_round_give_up"),
    path("audit/rounds/<int:pk>/close/", round_close, name="audit_round_close"),
    path("audit/series/<int:pk>/resume/", series_resume, name="audit_series_resume"),
]
