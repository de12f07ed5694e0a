"""Personal data of one job's household: what is held, exporting, erasing, holding on."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from compliance.models import Erasure, ErasureRequest, LegalHold
from compliance.packs.sending import zip_answer
from compliance.pages.roles import DECIDERS
from compliance.personal.erasable import items_of
from compliance.personal.erasing import (
    answer_request,
    ask_erasure,
    may_answer_request,
    stands_against,
)
from compliance.personal.export import export_name, household_zip
from compliance.personal.held import tables_of
from compliance.personal.holds import lift_hold, place_hold
from compliance.personal.kinds import CHOICES, KINDS, labels_of
from compliance.personal.plain import plain_in_ledger, plain_in_verdicts
from compliance.personal.retention import due_on, periods_of
from jobs.errors import Refused
from jobs.evidence.openings import opened
from jobs.models import Job, Role, User
from jobs.pages.access import page_for
from jobs.pages.refusals import tell
from jobs.pages.registry import StorySection, register_story_section


class EraseForm(forms.Form):
    kinds = forms.MultipleChoiceField(
        label="What is erased",
        choices=CHOICES,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Choose at least one kind."},
    )
    reason = forms.CharField(
        max_length=300, help_text="Such as “asked by letter of 3 May”. No names: it stays."
    )


class ReasonForm(forms.Form):
    reason = forms.CharField(max_length=300, help_text="Such as “claim about damp”. No names.")


class AnswerForm(forms.Form):
    answer = forms.CharField(
        label="Reason",
        max_length=300,
        required=False,
        help_text="Needed when it is kept. No names.",
    )


def _job(request: HttpRequest, pk: int) -> Job:
    return get_object_or_404(Job.objects.visible_to(request.user).with_place(), pk=pk)


@page_for(*DECIDERS)
def personal_data(request: HttpRequest, pk: int) -> HttpResponse:
    """What is held on a household; what waits for a second person, and what was erased."""
    return _shown(request, _job(request, pk))


def _shown(request: HttpRequest, job: Job, refused: EraseForm | None = None) -> HttpResponse:
    """The page; with a form that was refused, all that was given still in it."""
    waiting = ErasureRequest.objects.filter(job=job).waiting().first()
    context = {
        "job": job,
        "waiting": waiting,
        "waiting_kinds": labels_of(waiting.kinds) if waiting else "",
        # As things stand now: a hold may have been placed since it was asked for.
        "waiting_against": stands_against(job, waiting.kinds) if waiting else [],
        "answer_form": AnswerForm()
        if waiting and may_answer_request(waiting, request.user)
        else None,
        "erasures": [_told(row) for row in Erasure.objects.filter(job=job).with_people()],
        "page_title": "Personal data",
        "page_kicker": f"{job.reference} · {job.property}",
        "page_actions": _actions(request, job),
        **(_of_officer(job, waiting) if request.user.role == Role.COMPLIANCE_OFFICER else {}),
        **({"erase_form": refused} if refused else {}),
    }
    return render(request, "compliance/personal/personal.html", context)


def _of_officer(job: Job, waiting: ErasureRequest | None) -> dict[str, Any]:
    hold = LegalHold.objects.open().filter(job=job).first()
    return {
        "tables": tables_of(job.property),
        "kinds": [_kind(job, period) for period in periods_of(job.company)],
        "against": stands_against(job, [kind.code for kind in KINDS]),
        "erase_form": None if waiting else EraseForm(),
        "plain": plain_in_ledger(job),
        "plain_verdicts": plain_in_verdicts(job),
        "hold": hold,
        "hold_form": ReasonForm(prefix="hold") if hold is None else None,
        "lift_form": ReasonForm(prefix="hold") if hold else None,
        "holds": LegalHold.objects.filter(job=job, lifted_at__isnull=False),
    }


def _kind(job: Job, period: Any) -> dict[str, Any]:
    """One kind, whether any of it is held, and until when."""
    rows = sum(len(found) for found in items_of(job, period.kind.code).values())
    closed = job.stage in ("certified", "called_off")
    return {
        "kind": period.kind,
        "rows": rows,
        "kept_for": period.in_words,
        "until": due_on(job, period) if closed and rows else None,
    }


def _told(erasure: Erasure) -> dict[str, Any]:
    things = sum(len(rows) for rows in erasure.items.values())
    return {"erasure": erasure, "kinds": labels_of(erasure.kinds), "things": things}


def _actions(request: HttpRequest, job: Job) -> list[dict[str, Any]]:
    links = [{"url": reverse("openings", args=[job.pk]), "label": "Who opened the evidence"}]
    if request.user.role == Role.COMPLIANCE_OFFICER:  # type: ignore[union-attr]
        url = reverse("personal_export", args=[job.pk])
        links.insert(0, {"url": url, "label": "Take all of it away (ZIP)"})
    return links


@page_for(*DECIDERS)
def personal_export(request: HttpRequest, pk: int) -> HttpResponseBase:
    """Everything held on the household of a job, sent while it is made."""
    job = _job(request, pk)
    opened([job.pk], request.user, "export of what is held on the household")
    name = export_name(job.property, timezone.now())
    return zip_answer(request, household_zip(job.property), name)


def _act(request: HttpRequest, pk: int, act: Callable[[Job], str]) -> HttpResponse:
    """Do it, say what was done or why not, and show the page again."""
    job = _job(request, pk)
    tell(request, lambda: act(job))
    return redirect("personal_data", pk=job.pk)


@require_POST
@page_for(*DECIDERS)
def erase(request: HttpRequest, pk: int) -> HttpResponse:
    job, form = _job(request, pk), EraseForm(request.POST)
    if request.user.role == Role.COMPLIANCE_OFFICER and not form.is_valid():
        return _shown(request, job, form)

    def act(job: Job) -> str:
        kinds, reason = request.POST.getlist("kinds"), request.POST.get("reason", "")
        done = ask_erasure(job, kinds, reason, request.user)
        if isinstance(done, Erasure):
            return f"Erased: {labels_of(done.kinds)}."
        return "Asked for. It is erased once a second person agrees."

    return _act(request, pk, act)


@require_POST
@page_for(*DECIDERS)
def erasure_answer(request: HttpRequest, pk: int) -> HttpResponse:
    """The second person's answer to the erasure of a job that waits for one."""

    def act(job: Job) -> str:
        waiting = ErasureRequest.objects.filter(job=job).waiting().first()
        if waiting is None:
            raise Refused("No erasure of this job waits for an answer.")
        agreed = request.POST.get("decision") == "agree"
        answer_request(waiting, agreed, request.user, request.POST.get("answer", ""))
        return "Erased." if agreed else "It is kept."

    return _act(request, pk, act)


@require_POST
@page_for(*DECIDERS)
def hold(request: HttpRequest, pk: int) -> HttpResponse:
    """Place a legal hold, or lift the one that is open."""

    def act(job: Job) -> str:
        reason = request.POST.get("hold-reason", "")
        if request.POST.get("decision") == "lift":
            placed = LegalHold.objects.open().filter(job=job).select_related("job").first()
            if placed is None:
                raise Refused("This job is not on hold.")
            lift_hold(placed, reason, request.user)
            return "The hold is lifted."
        place_hold(job, reason, request.user)
        return "On hold: nothing of this job is erased by one person alone."

    return _act(request, pk, act)


def personal_section(job: Job, user: User) -> dict[str, Any] | None:
    """On a job's page: what is held on its household and where to see to it."""
    if user.role not in DECIDERS:
        return None
    return {
        "erasures": Erasure.objects.filter(job=job).count(),
        "on_hold": LegalHold.objects.open().filter(job=job).exists(),
        "may_erase": user.role == Role.COMPLIANCE_OFFICER,
    }


def register() -> None:
    """Join the story of a job. Called once, when the app is ready."""
    template = "compliance/personal/story_section.html"
    register_story_section(
        StorySection("personal", "Personal data", 85, template, personal_section)
    )


urlpatterns = [
    path("proof/jobs/<int:pk>/personal/", personal_data, name="personal_data"),
    path("proof/jobs/<int:pk>/personal/household.zip", personal_export, name="personal_export"),
    path("proof/jobs/<int:pk>/personal/erase/", erase, name="erase"),
    path("proof/jobs/<int:pk>/personal/answer/", erasure_answer, name="erasure_answer"),
    path("proof/jobs/<int:pk>/personal/hold/", hold, name="legal_hold"),
]
