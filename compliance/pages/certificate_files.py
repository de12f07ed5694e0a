"""The signed PDF, to people who may see the job."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import path

from compliance.certificates.storage import read_pdf
from compliance.evidence_access import note_access
from compliance.models import Certificate
from compliance.pages.roles import VERDICT_READERS
from jobs.pages.access import page_for


@page_for(*VERDICT_READERS)
def certificate_pdf(request: HttpRequest, code: str) -> HttpResponse:
    visible = Certificate.objects.visible_to(request.user).select_related("job")
    certificate = get_object_or_404(visible, code=code)
    note_access(certificate.job, request.user, f"certificate {certificate.code}")
    return pdf_answer(certificate)


def pdf_answer(certificate: Certificate) -> HttpResponse:
    """The stored file; a browser shows it, and saves it under its code."""
    answer = HttpResponse(read_pdf(certificate.pdf_name), content_type="application/pdf")
    answer["Content-Disposition"] = f'inline; filename="certificate-{certificate.code}.pdf"'
    answer["Cache-Control"] = "private, no-store"
    return answer


urlpatterns = [path("certificates/<slug:code>.pdf", certificate_pdf, name="certificate_pdf")]
