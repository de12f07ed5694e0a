"""Personal data of one job's household: what is held, exporting, erasing, holding on."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
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
from jobs.pages.refusals import REFUSED, put_back, tried
from jobs.pages.registry import StorySection, register_story_section

PAGE = "compliance/personal/personal.html"


class EraseForm(forms.Form):
    kinds = forms.MultipleChoiceField(
        label="What is erased",
        choices=CHOICES,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Choose at least one kind."},
    )
    reason = forms.CharField(
        max_length=300,
        error_messages={"required": "Say why it is erased, without names."},
        help_text="Such as “asked by letter of 3 May”. No names: it stays.",
    )


class HoldForm(forms.Form):
    reason = forms.CharField(
        max_length=300,
        error_messages={"required": "Say what it is held for."},
        help_text="Such as “claim about damp”. No names.",
    )


class LiftForm(forms.Form):
    reason = forms.CharField(
        max_length=300,
        error_messages={"required": "Say why it is held no longer."},
        help_text="Such as “the claim was settled”. No names.",
    )


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
    return render(request, PAGE, _context(request, _job(request, pk)))


def _context(request: HttpRequest, job: Job) -> dict[str, Any]:
    waiting = ErasureRequest.objects.filter(job=job).waiting().first()
    may_answer = waiting is not None and may_answer_request(waiting, request.user)  # type: ignore[arg-type]
    return {
        "job": job,
        "waiting": waiting,
        "waiting_kinds": labels_of(waiting.kinds) if waiting else "",
        # As things stand now: a hold may have been placed since it was asked for.
        "waiting_against": stands_against(job, waiting.kinds) if waiting else [],
        "answer_form": AnswerForm() if may_answer else None,
        "erasures": [_told(row) for row in Erasure.objects.filter(job=job).with_people()],
        "page_title": "Personal data",
        "page_kicker": f"{job.reference} · {job.property}",
        "page_actions": _actions(job),
        **_held(job, waiting),
    }


def _held(job: Job, waiting: ErasureRequest | None) -> dict[str, Any]:
    hold = LegalHold.objects.open().filter(job=job).first()
    return {
        "tables": tables_of(job.property),
        "kinds": [_kind(job, period) for period in periods_of(job.company)],
        "against": stands_against(job, [kind.code for kind in KINDS]),
        "erase_form": None if waiting else EraseForm(),
        "plain": plain_in_ledger(job),
        "plain_verdicts": plain_in_verdicts(job),
        "hold": hold,
        "hold_form": HoldForm(prefix="hold") if hold is None else None,
        "lift_form": LiftForm(prefix="hold") if hold else None,
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


def _actions(job: Job) -> list[dict[str, Any]]:
    return [
        {
            "url": reverse("personal_export", args=[job.pk]),
            "label": "Download all that is held (ZIP)",
        },
        {"url": reverse("openings", args=[job.pk]), "label": "Who opened the evidence"},
    ]


@page_for(*DECIDERS)
def personal_export(request: HttpRequest, pk: int) -> HttpResponseBase:
    """Everything held on the household of a job, sent while it is made."""
    job = _job(request, pk)
    opened([job.pk], request.user, "export of what is held on the household")
    name = export_name(job.property, timezone.now())
    return zip_answer(request, household_zip(job.property), name)


def _act(
    request: HttpRequest,
    pk: int,
    act: Callable[[Job, Mapping[str, Any]], str],
    **forms: forms.Form,
) -> HttpResponse:
    """Do what one form of the page asks for; refused, the page comes back with all of it."""
    job = _job(request, pk)
    ((_, form),) = forms.items()
    if tried(request, form, lambda given: act(job, given)):
        return redirect("personal_data", pk=job.pk)
    return render(request, PAGE, put_back(_context(request, job), **forms), status=REFUSED)


@require_POST
@page_for(*DECIDERS)
def erase(request: HttpRequest, pk: int) -> HttpResponse:
    def act(job: Job, given: Mapping[str, Any]) -> str:
        done = ask_erasure(job, given["kinds"], given["reason"], request.user)
        if isinstance(done, Erasure):
            return f"Erased: {labels_of(done.kinds)}."
        return "Asked for. It is erased once a second person agrees."

    return _act(request, pk, act, erase_form=EraseForm(request.POST))


@require_POST
@page_for(*DECIDERS)
def erasure_answer(request: HttpRequest, pk: int) -> HttpResponse:
    """The second person's answer to the erasure of a job that waits for one."""

    def act(job: Job, given: Mapping[str, Any]) -> str:
        waiting = ErasureRequest.objects.filter(job=job).waiting().first()
        if waiting is None:
            raise Refused("No erasure of this job waits for an answer.")
        decision = request.POST.get("decision")
        if decision not in ("agree", "keep"):
            raise Refused("Say whether it is erased or kept.")
        answer_request(waiting, decision == "agree", request.user, given["answer"])
        return "Erased." if decision == "agree" else "It is kept."

    return _act(request, pk, act, answer_form=AnswerForm(request.POST))


@require_POST
@page_for(*DECIDERS)
def hold(request: HttpRequest, pk: int) -> HttpResponse:
    """Place a legal hold, or lift the one that is open."""
    if request.POST.get("decision") == "lift":
        lifting = LiftForm(request.POST, prefix="hold")
        return _act(request, pk, partial(_lift, by=request.user), lift_form=lifting)
    placing = HoldForm(request.POST, prefix="hold")
    return _act(request, pk, partial(_place, by=request.user), hold_form=placing)


def _place(job: Job, given: Mapping[str, Any], by: User) -> str:
    place_hold(job, given["reason"], by)
    return "On hold: nothing of this job is erased by one person alone."


def _lift(job: Job, given: Mapping[str, Any], by: User) -> str:
    placed = LegalHold.objects.open().filter(job=job).select_related("job").first()
    if placed is None:
        raise Refused("This job is not on hold.")
    lift_hold(placed, given["reason"], by)
    return "The hold is lifted."


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
