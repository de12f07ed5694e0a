"""Reaching a verdict again from what its assessment kept."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path, reverse

from compliance.assess import rerun as rerun_assessment
from compliance.models import Assessment
from compliance.pages.roles import VERDICT_READERS
from jobs.pages.access import page_for


@page_for(*VERDICT_READERS)
def rerun(request: HttpRequest, pk: int, number: int) -> HttpResponse:
    seen = Assessment.objects.visible_to(request.user).select_related("job__property", "rule")
    assessment = get_object_or_404(seen, job=pk, number=number)
    again = rerun_assessment(assessment)
    verdict = assessment.get_verdict_display()
    context = {
        "again": again,
        "facts": [
            {"label": "Verdict on record", "value": verdict},
            {"label": "Engine then", "value": again.engine_then},
            {"label": "Engine used again", "value": again.engine_now},
            {"label": "Same verdict", "value": "yes" if again.same_verdict else "no"},
            {"label": "Same arithmetic", "value": "yes" if again.same_arithmetic else "no"},
            {"label": "SHA-256 of the inputs", "value": assessment.inputs_sha256},
        ],
        "page_title": "Reached again",
        "page_kicker": f"{assessment.job.reference} · {assessment.job.property} · "
        f"assessment {number}",
        "page_actions": [
            {"url": reverse("verdict_number", args=[pk, number]), "label": "The verdict"}
        ],
    }
    return render(request, "compliance/proof/rerun.html", context)


urlpatterns = [
    path("proof/jobs/<int:pk>/assessments/<int:number>/again/", rerun, name="rerun"),
]
