"""Waiving a shortfall, on the page of its verdict: the reason, and the second person's answer."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import path, reverse
from django.views.decorators.http import require_POST

from compliance.models import Shortfall, Waiver
from compliance.pages.roles import DECIDERS, WAIVER_ANSWERERS
from compliance.second_people import who_can
from compliance.waivers import answer_waiver, may_answer, newest_waiver, record_waiver
from jobs.errors import Refused
from jobs.models import Job, User
from jobs.pages.access import page_for
from jobs.pages.refusals import tell
from jobs.pages.registry import Attention, register_attention


class WaiverForm(forms.Form):
    reason = forms.CharField(
        max_length=600,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Why it is left as it is, such as a ceiling that may not be loaded. No names.",
    )


class AnswerForm(forms.Form):
    note = forms.CharField(
        max_length=600,
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="Needed when you turn it down. No names.",
    )


def waiver_parts(job: Job, user: User, shortfall: Shortfall | None) -> dict[str, Any]:
    """What the verdict page shows of waivers to this person."""
    newest = newest_waiver(job)
    waits = newest is not None and not hasattr(newest, "answer") and shortfall is not None
    may_record = user.role in DECIDERS and shortfall is not None and not waits
    able = _who_can(job, user, newest if waits else None, may_record)
    return {
        "waivers": Waiver.objects.filter(job=job).with_people(),
        "waiver_form": WaiverForm() if may_record else None,
        "waiver_to_answer": newest if waits and may_answer(newest, user) else None,
        "who_can": able,
        "answer_form": AnswerForm(),
        "waive_text": "A second person must agree. The loft stays short and gets no certificate; "
        f"your reason is kept with it. {able}",
    }


def _who_can(job: Job, user: User, waits: Waiver | None, may_record: bool) -> str:
    """Who can be the second person, told to the office, which has to ask them."""
    if user.role not in WAIVER_ANSWERERS:
        return ""
    if waits is not None:
        return who_can(job.pk, waits.recorded_by_id)
    return who_can(job.pk, user) if may_record else ""


@require_POST
@page_for(*DECIDERS)
def waive(request: HttpRequest, pk: int) -> HttpResponse:
    """Record why the open shortfall of a job is left as it is."""
    job = get_object_or_404(Job.objects.visible_to(request.user), pk=pk)
    shortfall = Shortfall.objects.open().select_related("job").filter(job=job).first()

    def act() -> str:
        if shortfall is None:
            raise Refused("This job has no open shortfall.")
        record_waiver(shortfall, request.POST.get("reason", ""), request.user)
        return "Recorded. It counts once a second person agrees."

    tell(request, act)
    return redirect("verdict", pk=job.pk)


@require_POST
@page_for(*WAIVER_ANSWERERS)
def waiver_answer(request: HttpRequest, pk: int) -> HttpResponse:
    """The second person's answer to the waiver of a job that waits for one."""
    job = get_object_or_404(Job.objects.visible_to(request.user), pk=pk)
    waiver = newest_waiver(job)
    agreed = request.POST.get("answer") == "agree"

    def act() -> str:
        if waiver is None:
            raise Refused("This job has no waiver.")
        answer_waiver(waiver, agreed, request.user, request.POST.get("note", ""))
        return "The shortfall is waived." if agreed else "Turned down."

    tell(request, act)
    return redirect("verdict", pk=job.pk)


def waiver_attention(user: User) -> list[Attention]:
    """Waivers that wait for this person as the second one."""
    waiting = Waiver.objects.visible_to(user).waiting_for(user)
    count = waiting.count()
    first = waiting.order_by("pk").first()
    words = "waiver waits" if count == 1 else "waivers wait"
    url = reverse("verdict", args=[first.job_id]) if first else ""
    return [Attention(count, f"{words} for a second person", url)]


def register() -> None:
    """Join the shared pages. Called once, when the app is ready."""
    register_attention(frozenset(WAIVER_ANSWERERS), waiver_attention)


urlpatterns = [
    path("proof/jobs/<int:pk>/waive/", waive, name="waive"),
    path("proof/jobs/<int:pk>/waiver-answer/", waiver_answer, name="waiver_answer"),
]
