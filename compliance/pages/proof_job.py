"""One job's verdict with its arithmetic, and the acts that follow from it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.views.decorators.http import require_POST

from compliance.assess import assess_job, latest_assessment
from compliance.certificates.issue import issue_certificate
from compliance.certificates.withdraw import withdraw_certificate
from compliance.evidence_access import note_access
from compliance.models import Assessment
from compliance.pages.proof_forms import CallBackForm, OwnerForm, WithdrawForm
from compliance.pages.roles import DECIDERS, SENDERS, VERDICT_READERS
from compliance.pages.verdict_page import (
    PAGE,
    act_with_form,
    job_at,
    owed_shortfall,
    verdict_context,
)
from compliance.pages.verdict_parts import current_certificate, open_shortfall
from compliance.shortfalls import assign_owner, send_call_back
from jobs.errors import Refused
from jobs.models import Job, Role, Visit
from jobs.pages.access import page_for
from jobs.pages.refusals import show_refusal, tell
from jobs.planning.booking import book_visit, kinds_bookable, refuse_past
from jobs.planning.week import crews_on_day


@page_for(*VERDICT_READERS)
def verdict(request: HttpRequest, pk: int, number: int | None = None) -> HttpResponse:
    """The latest verdict, or an earlier one by its number: every step that led to it."""
    job = job_at(request, pk)
    history = Assessment.objects.filter(job=job).select_related("rule")
    shown = get_object_or_404(history, number=number) if number else latest_assessment(job)
    note_access(job, request.user, f"verdict {shown.number}" if shown else "verdict")
    return render(request, PAGE, verdict_context(request, job, shown))


def _act(request: HttpRequest, pk: int, act: Callable[[Job], str]) -> HttpResponse:
    """Do one thing to a job; say what came of it on its verdict page."""
    job = job_at(request, pk)
    tell(request, lambda: act(job))
    return redirect("verdict", pk=job.pk)


@require_POST
@page_for(*SENDERS)
def assess_again(request: HttpRequest, pk: int) -> HttpResponse:
    def act(job: Job) -> str:
        before = latest_assessment(job)
        after = assess_job(job.pk)
        if after == before:
            return "Nothing has changed since the last assessment."
        return f"Assessed: {after.get_verdict_display()}."

    return _act(request, pk, act)


@require_POST
@page_for(*DECIDERS)
def issue(request: HttpRequest, pk: int) -> HttpResponse:
    return _act(request, pk, lambda job: f"{issue_certificate(job.pk, request.user)} is issued.")


@require_POST
@page_for(*DECIDERS)
def withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    def act(job: Job, given: Mapping[str, Any]) -> str:
        certificate = current_certificate(job)
        if certificate is None:
            raise Refused("This job has no certificate to withdraw.")
        withdraw_certificate(certificate, given["reason"], request.user, kind=given["kind"])
        return f"{certificate} is withdrawn. Its check page says so from now on."

    return act_with_form(request, pk, act, withdraw_form=WithdrawForm(request.POST))


@require_POST
@page_for(*DECIDERS)
def set_owner(request: HttpRequest, pk: int) -> HttpResponse:
    def act(job: Job, given: Mapping[str, Any]) -> str:
        assign_owner(owed_shortfall(job), given["owner"])
        return f"{given['owner']} owns this shortfall now."

    form = OwnerForm(request.POST, job=job_at(request, pk))
    return act_with_form(request, pk, act, owner_form=form)


@page_for(*SENDERS)
def call_back(request: HttpRequest, pk: int) -> HttpResponse:
    job = job_at(request, pk)
    form = CallBackForm(request.POST or None, job=job, user=request.user)
    if request.method == "POST" and form.is_valid() and _send(request, job, form):
        return redirect("verdict", pk=job.pk)
    context = {
        "job": job,
        "form": form,
        "shortfall": open_shortfall(job),
        "bookable": Visit.Kind.CALL_BACK in kinds_bookable(job),
        "may_look_up": request.user.role == Role.PLANNER,
        "day": form.shown_day,
        "crews": crews_on_day(request.user, form.shown_day),
        "page_title": f"Call-back to {job.property}",
        "page_kicker": job.reference,
    }
    return render(request, "compliance/proof/call_back.html", context)


def _send(request: HttpRequest, job: Job, form: CallBackForm) -> bool:
    """Book it as the remedy of the open shortfall, or for the evidence that is missing."""
    given, user = form.cleaned_data, request.user
    shortfall = open_shortfall(job)
    try:
        refuse_past(form.starts_at)
        if shortfall is not None:
            visit = send_call_back(
                shortfall,
                given["crew"],
                form.starts_at,
                given["hours"],
                user,
                van=form.chosen_van,
                note=given["note"],
            )
        else:
            visit = book_visit(
                job,
                Visit.Kind.CALL_BACK,
                given["crew"],
                form.chosen_van,
                form.starts_at,
                given["hours"],
                user,
                given["note"],
            )
    except Refused as refusal:
        show_refusal(form, refusal, starts_at="time")
        return False
    messages.success(request, f"Booked: {visit}, {visit.crew}.")
    return True


urlpatterns = [
    path("proof/jobs/<int:pk>/", verdict, name="verdict"),
    path("proof/jobs/<int:pk>/assessments/<int:number>/", verdict, name="verdict_number"),
    path("proof/jobs/<int:pk>/assess/", assess_again, name="assess_again"),
    path("proof/jobs/<int:pk>/certificate/", issue, name="certificate_issue"),
    path("proof/jobs/<int:pk>/withdraw/", withdraw, name="certificate_withdraw"),
    path("proof/jobs/<int:pk>/owner/", set_owner, name="shortfall_owner"),
    path("proof/jobs/<int:pk>/call-back/", call_back, name="call_back"),
]
