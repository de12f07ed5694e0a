"""The company's side of an audit: findings on its jobs, and its answers."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path

from compliance.audits.findings import answer_finding
from compliance.models import Finding
from compliance.pages.audit_forms import AnswerForm
from jobs.errors import Refused
from jobs.models import Role
from jobs.pages.access import page_for

PAGE_ROWS = 40
READS = (Role.COMPLIANCE_OFFICER, Role.PLANNER)


@page_for(*READS)
def findings(request: HttpRequest) -> HttpResponse:
    """Findings on the company's jobs, unanswered and earliest due first."""
    rows = Finding.objects.visible_to(request.user).with_answers().defects().unanswered_first()
    page = Paginator(rows, PAGE_ROWS).get_page(request.GET.get("page"))
    return render(
        request,
        "compliance/audits/findings.html",
        {"page": page, "page_title": "Findings of auditors"},
    )


@page_for(*READS)
def finding(request: HttpRequest, pk: int) -> HttpResponse:
    record = get_object_or_404(
        Finding.objects.visible_to(request.user).with_answers().defects(), pk=pk
    )
    may_answer = request.user.role == Role.COMPLIANCE_OFFICER
    form = AnswerForm(request.POST or None)
    if request.method == "POST" and may_answer and form.is_valid():
        try:
            answer_finding(record, request.user, form.cleaned_data["text"])
            messages.success(request, "Answered. The auditor sees it now.")
            return redirect("finding", pk=record.pk)
        except Refused as refusal:
            form.add_error(refusal.field or None, str(refusal))
    return render(
        request,
        "compliance/audits/finding.html",
        {
            "finding": record,
            "form": form if may_answer else None,
            "page_kicker": record.drawn_job.job.reference,
            "page_title": f"{record.get_severity_display()} finding",
        },
    )


urlpatterns = [
    path("findings/", findings, name="findings"),
    path("findings/<int:pk>/", finding, name="finding"),
]
