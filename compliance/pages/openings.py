"""Who opened the evidence of a job, and when: for the company, the household and the scheme."""

from __future__ import annotations

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path, reverse

from compliance.models import EvidenceAccess
from compliance.pages.roles import DECIDERS
from jobs.models import Job
from jobs.pages.access import page_for

ROWS_A_PAGE = 100


@page_for(*DECIDERS)
def openings(request: HttpRequest, pk: int) -> HttpResponse:
    job = get_object_or_404(Job.objects.visible_to(request.user).with_place(), pk=pk)
    rows = EvidenceAccess.objects.filter(job=job).select_related("person").order_by("-id")
    context = {
        "job": job,
        "page": Paginator(rows, ROWS_A_PAGE).get_page(request.GET.get("page")),
        "page_title": "Who opened the evidence",
        "page_kicker": f"{job.reference} · {job.property}",
        "page_lead": "Every photo, record, verdict, certificate and pack that somebody was shown "
        "or took away, by pages and over the API. Nobody can change this list.",
        "page_actions": [{"url": reverse("verdict", args=[job.pk]), "label": "The verdict"}],
    }
    return render(request, "compliance/personal/openings.html", context)


urlpatterns = [path("proof/jobs/<int:pk>/openings/", openings, name="openings")]
