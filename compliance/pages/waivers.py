"""Waiving a shortfall, on the page of its verdict: the reason, and the second person's answer."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import path, reverse
from django.views.decorators.http import require_POST

from compliance.models import Waiver
from compliance.pages.roles import DECIDERS, WAIVER_ANSWERERS
from compliance.pages.verdict_page import act_with_form, owed_shortfall
from compliance.pages.waiver_parts import AnswerForm, WaiverForm
from compliance.waivers import answer_waiver, newest_waiver, record_waiver
from jobs.errors import Refused
from jobs.models import Job, User
from jobs.pages.access import page_for
from jobs.pages.registry import Attention, register_attention


@require_POST
@page_for(*DECIDERS)
def waive(request: HttpRequest, pk: int) -> HttpResponse:
    """Record why the open shortfall of a job is left as it is."""

    def act(job: Job, given: Mapping[str, Any]) -> str:
        record_waiver(owed_shortfall(job), given["reason"], request.user)
        return "Recorded. It counts once a second person agrees."

    return act_with_form(request, pk, act, waiver_form=WaiverForm(request.POST))


@require_POST
@page_for(*WAIVER_ANSWERERS)
def waiver_answer(request: HttpRequest, pk: int) -> HttpResponse:
    """The second person's answer to the waiver of a job that waits for one."""
    answer = request.POST.get("answer")
    agreed = answer == "agree"

    def act(job: Job, given: Mapping[str, Any]) -> str:
        waiver = newest_waiver(job)
        if waiver is None:
            raise Refused("This job has no waiver.")
        if answer not in ("agree", "no"):
            raise Refused("Say whether you agree to the waiver or turn it down.")
        answer_waiver(waiver, agreed, request.user, given["note"])
        return "The shortfall is waived." if agreed else "Turned down."

    return act_with_form(request, pk, act, answer_form=AnswerForm(request.POST))


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
