"""By when a shortfall is put right, on the page of its verdict."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import path
from django.views.decorators.http import require_POST

from compliance.pages.proof_forms import DueForm
from compliance.pages.roles import SENDERS
from compliance.pages.verdict_page import act_with_form, owed_shortfall
from compliance.shortfalls import set_due_date
from jobs.models import Job
from jobs.pages.access import page_for


@require_POST
@page_for(*SENDERS)
def set_due(request: HttpRequest, pk: int) -> HttpResponse:
    def act(job: Job, given: Mapping[str, Any]) -> str:
        set_due_date(owed_shortfall(job), given["due_on"], request.user)
        return f"Due on {given['due_on']:%-d %b %Y}."

    return act_with_form(request, pk, act, due_form=DueForm(request.POST))


urlpatterns = [path("proof/jobs/<int:pk>/due/", set_due, name="shortfall_due")]
