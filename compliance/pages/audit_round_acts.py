"""What the auditor does with a round: seal, draw, widen, give up, close, resume a series."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
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
from compliance.pages.audits import HOME, PAGE, home_context, round_context, round_of
from jobs.errors import Refused
from jobs.models import Role
from jobs.pages.access import page_for
from jobs.pages.refusals import REFUSED, put_back, tried


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


def act_with_form(
    request: HttpRequest,
    pk: int,
    act: Callable[[AuditRound, Mapping[str, Any]], str],
    **forms: Any,
) -> HttpResponse:
    """Do what one form of the round asks for; refused, the page comes back with all of it."""
    record = round_of(request, pk)
    ((name, form),) = forms.items()
    if tried(request, form, lambda given: act(record, given)):
        return redirect("audit_round", pk=record.pk)
    context = round_context(request, record)
    if name == "draw_form" and record.state != AuditRound.State.SEALED:
        context["draw_form"] = None  # the page has no place for a secret then
    return render(request, PAGE, put_back(context, **forms), status=REFUSED)


@require_POST
@page_for(Role.AUDITOR)
def round_seal(request: HttpRequest, pk: int) -> HttpResponse:
    return act_on(
        request, pk, seal_population, lambda r: f"Sealed: {jobs_in_words(r.population_size)}."
    )


@require_POST
@page_for(Role.AUDITOR)
def round_draw(request: HttpRequest, pk: int) -> HttpResponse:
    def act(record: AuditRound, given: Mapping[str, Any]) -> str:
        return f"Drawn: {jobs_in_words(draw_sample(record, given['nonce_hex']).sample_size)}."

    return act_with_form(request, pk, act, draw_form=DrawForm(request.POST))


@require_POST
@page_for(Role.AUDITOR)
def round_widen(request: HttpRequest, pk: int) -> HttpResponse:
    """Draw as many jobs again from the same population."""

    def act(record: AuditRound, given: Mapping[str, Any]) -> str:
        w = widen_round(record, given["reason"], request.user)
        return f"Drawn: {w.size_after - w.size_before} more jobs, {w.size_after} in all."

    return act_with_form(request, pk, act, reason_form=ReasonForm(request.POST))


@require_POST
@page_for(Role.AUDITOR)
def round_give_up(request: HttpRequest, pk: int) -> HttpResponse:
    """End a round without a draw; it stays in the list with its reason."""

    def act(record: AuditRound, given: Mapping[str, Any]) -> str:
        give_up_round(record, given["reason"])
        return "The round is given up. It stays in the list with your reason."

    return act_with_form(request, pk, act, reason_form=ReasonForm(request.POST))


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
    step, form = get_object_or_404(series, pk=pk), ReasonForm(request.POST)
    subject = Subject(step.scheme, step.company, step.crew)

    def act(given: Mapping[str, Any]) -> str:
        resume_inspection(subject, request.user, given["reason"])
        return f"Resumed for {subject}: the next round is tightened."

    if tried(request, form, act):
        return redirect("audit_home")
    context = home_context(request)
    is_offered = any(each.pk == pk and each.stopped for each in context["series"])
    context |= {"resuming": pk, "resume_form": form} if is_offered else {"left_over": form}
    return render(request, HOME, context, status=REFUSED)


urlpatterns = [
    path("audit/rounds/<int:pk>/seal/", round_seal, name="audit_round_seal"),
    path("audit/rounds/<int:pk>/draw/", round_draw, name="audit_round_draw"),
    path("audit/rounds/<int:pk>/widen/", round_widen, name="audit_round_widen"),
    path("audit/rounds/<int:pk>/give-up/", round_give_up, name="audit_round_give_up"),
    path("audit/rounds/<int:pk>/close/", round_close, name="audit_round_close"),
    path("audit/series/<int:pk>/resume/", series_resume, name="audit_series_resume"),
]
