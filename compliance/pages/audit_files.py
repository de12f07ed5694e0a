"""What an auditor takes away of a round: the report, and the pack that anybody can check."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect
from django.urls import path
from django.utils import timezone

from compliance.audits.pack import round_scope
from compliance.audits.report import report_pdf
from compliance.models import AuditRound
from compliance.packs.sending import pack_answer
from jobs.errors import Refused
from jobs.models import Role
from jobs.pages.access import page_for
from jobs.pages.loading import pdf_answer


@page_for(Role.AUDITOR)
def round_report(request: HttpRequest, pk: int) -> HttpResponseBase:
    """The report as a tagged PDF, as the round stands now."""
    record = get_object_or_404(AuditRound.objects.visible_to(request.user), pk=pk)
    try:
        content = report_pdf(record, request.user, made_at=timezone.now())
    except Refused as refusal:
        return _back(request, pk, refusal)
    return pdf_answer(content, f"audit-round-{record.pk}-report.pdf")


@page_for(Role.AUDITOR)
def round_pack(request: HttpRequest, pk: int) -> HttpResponseBase:
    """The pack as a zip, sent while it is made; that it was taken is recorded for every job."""
    record = get_object_or_404(AuditRound.objects.visible_to(request.user), pk=pk)
    try:
        scope = round_scope(record, request.user, without_photos="without_photos" in request.GET)
    except Refused as refusal:
        return _back(request, pk, refusal)
    return pack_answer(request, scope, request.user)


def _back(request: HttpRequest, pk: int, refusal: Refused) -> HttpResponse:
    messages.error(request, str(refusal))
    return redirect("audit_round", pk=pk)


urlpatterns = [
    path("audit/rounds/<int:pk>/report.pdf", round_report, name="round_report"),
    path("audit/rounds/<int:pk>/pack.zip", round_pack, name="round_pack"),
]
