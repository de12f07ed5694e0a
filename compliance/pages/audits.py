"""The auditor's pages: rounds and the draw."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.views.decorators.http import require_POST

from compliance.audits.outcome import outcome_of
from compliance.audits.rounds import (
    close_round,
    commit_round,
    draw_sample,
    population_file,
    repeat_agrees,
    seal_population,
)
from compliance.models import AuditRound
from compliance.pages.audit_forms import DrawForm, RoundForm
from jobs.errors import Refused
from jobs.models import Role
from jobs.pages.access import page_for
from jobs.pages.registry import attention_for


@page_for(Role.AUDITOR)
def audit_home(request: HttpRequest) -> HttpResponse:
    """Auditor's home: what waits, and the rounds of the scheme."""
    rounds = AuditRound.objects.visible_to(request.user).with_progress()
    return render(
        request,
        "compliance/audits/home.html",
        {
            "attention": attention_for(request.user),
            "rounds": rounds,
            "page_title": "Audit",
            "page_lead": request.user.scheme.name,
            "page_actions": [
                {"url": "/audit/rounds/new/", "label": "Begin a round", "primary": True}
            ],
        },
    )


@page_for(Role.AUDITOR)
def round_new(request: HttpRequest) -> HttpResponse:
    form = RoundForm(request.POST or None, auditor=request.user)
    if request.method == "POST" and form.is_valid():
        try:
            record = commit_round(
                request.user.scheme,
                request.user,
                form.terms(),
                form.cleaned_data["nonce_commitment"],
            )
            return redirect("audit_round", pk=record.pk)
        except Refused as refusal:
            form.add_error(refusal.field if refusal.field in form.fields else None, str(refusal))
    context = {"form": form, "page_title": "Begin an audit round", "page_kicker": "Audit"}
    return render(request, "compliance/audits/round_new.html", context)


def _round(request: HttpRequest, pk: int) -> AuditRound:
    rounds = AuditRound.objects.visible_to(request.user).select_related(
        "seal", "company", "scheme", "auditor"
    )
    return get_object_or_404(rounds, pk=pk)


@page_for(Role.AUDITOR)
def audit_round(request: HttpRequest, pk: int) -> HttpResponse:
    """One round: how far it is, the draw explained, the sample, the outcome."""
    record = _round(request, pk)
    return render(
        request,
        "compliance/audits/round.html",
        {
            "round": record,
            "drawn_jobs": record.drawn_jobs.with_findings(),
            "outcome": outcome_of(record) if record.state in ("drawn", "closed") else None,
            "draw_form": DrawForm(),
            "draw_repeats": repeat_agrees(record) if record.nonce_hex else None,
            "page_kicker": "Audit",
            "page_title": record.name,
        },
    )


@require_POST
@page_for(Role.AUDITOR)
def round_seal(request: HttpRequest, pk: int) -> HttpResponse:
    record = _round(request, pk)
    try:
        sealed = seal_population(record)
        messages.success(request, f"Sealed: {sealed.population_size} jobs.")
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect("audit_round", pk=record.pk)


@require_POST
@page_for(Role.AUDITOR)
def round_draw(request: HttpRequest, pk: int) -> HttpResponse:
    record = _round(request, pk)
    form = DrawForm(request.POST)
    try:
        if form.is_valid():
            drawn = draw_sample(record, form.cleaned_data["nonce_hex"])
            messages.success(request, f"Drawn: {drawn.sample_size} jobs.")
        else:
            messages.error(request, "Your secret: give the one you kept.")
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect("audit_round", pk=record.pk)


@require_POST
@page_for(Role.AUDITOR)
def round_close(request: HttpRequest, pk: int) -> HttpResponse:
    record = _round(request, pk)
    try:
        close_round(record)
        messages.success(request, "The round is closed.")
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect("audit_round", pk=record.pk)


@page_for(Role.AUDITOR)
def round_population(request: HttpRequest, pk: int) -> HttpResponse:
    """The sealed population as it was hashed, to repeat the draw with."""
    record = _round(request, pk)
    text = population_file(record)
    name = f"attachment; filename=round-{record.pk}-population.txt"
    return HttpResponse(text, content_type="text/plain", headers={"Content-Disposition": name})


urlpatterns = [
    path("audit/", audit_home, name="audit_home"),
    path("audit/rounds/new/", round_new, name="audit_round_new"),
    path("audit/rounds/<int:pk>/", audit_round, name="audit_round"),
    path("audit/rounds/<int:pk>/seal/", round_seal, name="audit_round_seal"),
    path("audit/rounds/<int:pk>/draw/", round_draw, name="audit_round_draw"),
    path("audit/rounds/<int:pk>/close/", round_close, name="audit_round_close"),
    path("audit/rounds/<int:pk>/population/", round_population, name="audit_population"),
]
