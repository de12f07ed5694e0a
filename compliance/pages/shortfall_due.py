"""By when a shortfall is put right, on the page of its verdict."""

from __future__ import annotations

from datetime import date

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import path
from django.views.decorators.http import require_POST

from compliance.models import Shortfall
from compliance.pages.roles import SENDERS
from compliance.shortfalls import set_due_date
from jobs.errors import Refused
from jobs.models import Job
from jobs.pages.access import page_for


@require_POST
@page_for(*SENDERS)
def set_due(request: HttpRequest, pk: int) -> HttpResponse:
    job = get_object_or_404(Job.objects.visible_to(request.user), pk=pk)
    shortfall = Shortfall.objects.open().select_related("job").filter(job=job).first()
    try:
        if shortfall is None:
            raise Refused("This job has no open shortfall.")
        due_on = date.fromisoformat(request.POST.get("due_on", ""))
        set_due_date(shortfall, due_on, request.user)
        messages.success(request, f"Due on {due_on:%-d %b %Y}.")
    except ValueError:
        messages.error(request, "Give a day, such as 2027-03-01.")
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect("verdict", pk=job.pk)


urlpatterns = [path("proof/jobs/<int:pk>/due/", set_due, name="shortfall_due")]
