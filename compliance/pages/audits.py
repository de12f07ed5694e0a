"""The auditor's pages: the rounds of a scheme, beginning one, and one round."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path

from compliance.audits.rounds import commit_round, population_file, population_file_name
from compliance.models import AuditRound, SwitchingStep
from compliance.pages.audit_forms import RoundForm
from compliance.pages.audit_round_parts import round_parts
from jobs.errors import Refused
from jobs.models import Role, User
from jobs.pages.access import page_for
from jobs.pages.refusals import show_refusal
from jobs.pages.registry import attention_for

HOME = "compliance/audits/home.html"
PAGE = "compliance/audits/round.html"


@page_for(Role.AUDITOR)
def audit_home(request: HttpRequest) -> HttpResponse:
    """Auditor's home: what waits, the rounds of the scheme, and how series are inspected."""
    return render(request, HOME, home_context(request))


def home_context(request: HttpRequest) -> dict[str, Any]:
    user: User = request.user  # type: ignore[assignment]
    return {
        "attention": attention_for(user),
        "rounds": AuditRound.objects.visible_to(user).with_progress(),
        "series": SwitchingStep.objects.visible_to(user).newest(),
        "page_title": "Audit",
        "page_lead": user.scheme.name,
        "page_actions": [
            {"url": "/audit/rounds/new/", "label": "Begin a round", "primary": True},
            {"url": "/audit/pictures/", "label": "Pictures of all rounds"},
        ],
    }


@page_for(Role.AUDITOR)
def round_new(request: HttpRequest) -> HttpResponse:
    begin_with = {name: request.GET.get(name, "") for name in ("company", "crew")}
    form = RoundForm(request.POST or None, auditor=request.user, initial=begin_with)
    if request.method == "POST" and form.is_valid():
        try:
            commitment = form.cleaned_data["nonce_commitment"]
            record = commit_round(request.user.scheme, request.user, form.terms(), commitment)
            return redirect("audit_round", pk=record.pk)
        except Refused as refusal:
            show_refusal(form, refusal)
    context = {
        "form": form,
        "series": SwitchingStep.objects.visible_to(request.user).newest(),
        "page_title": "Begin an audit round",
        "page_kicker": "Audit",
    }
    return render(request, "compliance/audits/round_new.html", context)


def round_of(request: HttpRequest, pk: int) -> AuditRound:
    """The round, if the person may see it; else a 404."""
    rounds = AuditRound.objects.visible_to(request.user).select_related(
        "seal", "company", "crew", "scheme", "auditor", "population_seal", "switching_step"
    )
    return get_object_or_404(rounds, pk=pk)


@page_for(Role.AUDITOR)
def audit_round(request: HttpRequest, pk: int) -> HttpResponse:
    """One round: how far it is, the draw explained, the sample, the outcome and what follows."""
    record = round_of(request, pk)
    return render(request, PAGE, round_context(request, record))


def round_context(request: HttpRequest, record: AuditRound) -> dict[str, Any]:
    parts = round_parts(record, repeat=bool(request.GET.get("repeat")))
    return {"page_kicker": "Audit", "page_title": record.name, **parts}


@page_for(Role.AUDITOR)
def round_population(request: HttpRequest, pk: int) -> HttpResponse:
    """The sealed population as it was hashed, to repeat the draw with."""
    return population_answer(round_of(request, pk))


def population_answer(record: AuditRound) -> HttpResponse:
    name = f"attachment; filename={population_file_name(record)}"
    headers = {"Content-Disposition": name}
    return HttpResponse(population_file(record), content_type="text/plain", headers=headers)


urlpatterns = [
    path("audit/", audit_home, name="audit_home"),
    path("audit/rounds/new/", round_new, name="audit_round_new"),
    path("audit/rounds/<int:pk>/", audit_round, name="audit_round"),
    path("audit/rounds/<int:pk>/population/", round_population, name="audit_population"),
]
