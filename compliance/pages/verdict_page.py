"""The page of one job's verdict, and the acts on it that take words or a choice."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse

from compliance.assess import ASSESSABLE, latest_assessment
from compliance.models import Assessment, Shortfall
from compliance.pages.proof_forms import DueForm, OwnerForm, WithdrawForm
from compliance.pages.roles import DECIDERS, SENDERS
from compliance.pages.verdict_parts import current_certificate, open_shortfall, show_verdict
from compliance.pages.waiver_parts import waiver_parts
from jobs.errors import Refused
from jobs.models import Job, Visit
from jobs.pages.refusals import REFUSED, put_back, tried
from jobs.pages.site_story import variations_of
from jobs.planning.booking import kinds_bookable

PAGE = "compliance/proof/verdict.html"


def job_at(request: HttpRequest, pk: int) -> Job:
    return get_object_or_404(Job.objects.visible_to(request.user).with_place(), pk=pk)


def owed_shortfall(job: Job) -> Shortfall:
    """The open shortfall of a job. Raises Refused where it has none."""
    shortfall = open_shortfall(job)
    if shortfall is None:
        raise Refused("This job has no open shortfall.")
    return shortfall


def verdict_context(request: HttpRequest, job: Job, shown: Assessment | None) -> dict[str, Any]:
    """All that the page tells and offers; a form is None where this person has no use for it."""
    shortfall, certificate = open_shortfall(job), current_certificate(job)
    decides = request.user.role in DECIDERS  # type: ignore[union-attr]
    owned = {"job": job, "now": shortfall.owner if shortfall else None}
    return {
        "job": job,
        "verdict": show_verdict(shown) if shown else None,
        "history": Assessment.objects.filter(job=job).select_related("rule"),
        "shortfall": shortfall,
        "certificates": job.certificates.with_place(),
        "certificate": certificate,
        "owner_form": OwnerForm(**owned) if shortfall and decides else None,
        "due_form": DueForm(now=shortfall.due_on) if shortfall and decides else None,
        "variations": variations_of(job),
        "withdraw_form": WithdrawForm() if certificate and decides else None,
        **waiver_parts(job, request.user, shortfall),  # type: ignore[arg-type]
        "may_assess": job.stage in ASSESSABLE and request.user.role in SENDERS,  # type: ignore[union-attr]
        "may_issue": decides and _may_issue(job, shown, certificate),
        "page_title": str(job.property),
        "page_kicker": f"Verdict · {job.reference} · {job.scheme}",
        "page_actions": _actions(request, job, certificate),
    }


def act_with_form(
    request: HttpRequest,
    pk: int,
    act: Callable[[Job, Mapping[str, Any]], str],
    **forms: Any,
) -> HttpResponse:
    """Do what one form of the page asks for; refused, the page comes back with all of it.

    forms: that form, under its name in `verdict_context`.
    """
    job = job_at(request, pk)
    ((_, form),) = forms.items()
    if tried(request, form, lambda given: act(job, given)):
        return redirect("verdict", pk=job.pk)
    context = put_back(verdict_context(request, job, latest_assessment(job)), **forms)
    return render(request, PAGE, context, status=REFUSED)


def _may_issue(job: Job, shown: Assessment | None, certificate: Any) -> bool:
    latest = latest_assessment(job)
    return bool(
        certificate is None
        and latest
        and shown == latest
        and latest.verdict == Assessment.Verdict.MEETS
        and job.stage in ASSESSABLE
    )


def _actions(request: HttpRequest, job: Job, certificate: Any) -> list[dict[str, Any]]:
    actions: list[dict[str, Any]] = [{"url": reverse("job", args=[job.pk]), "label": "The job"}]
    if certificate is not None:
        url = reverse("certificate_pdf", args=[certificate.code])
        actions.append({"url": url, "label": "Certificate (PDF)"})
    may_send = request.user.role in SENDERS  # type: ignore[union-attr]
    if may_send and Visit.Kind.CALL_BACK in kinds_bookable(job):
        url = reverse("call_back", args=[job.pk])
        actions.append({"url": url, "label": "Send a call-back", "primary": job.stage == "short"})
    return actions
