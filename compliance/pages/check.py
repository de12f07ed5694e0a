"""The public check of a certificate: valid or not, what was found, what to mind. No names."""

from __future__ import annotations

from typing import Any

from allauth.account.adapter import get_adapter
from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path

from compliance.certificates.cautions import HOUSEHOLDER_CAUTIONS
from compliance.certificates.code import read_code
from compliance.certificates.lookups import WINDOW_S, may_look_up
from compliance.models import Certificate
from jobs.errors import Refused
from jobs.pages.access import open_page
from jobs.pages.refusals import show_refusal


class CodeForm(forms.Form):
    code = forms.CharField(
        label="Code of the certificate",
        max_length=40,
        help_text="Twelve letters and figures, printed beside the square on its first page.",
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters"}),
    )


@open_page
def check(request: HttpRequest) -> HttpResponse:
    """Type a code; the answer has an address of its own."""
    form = CodeForm(request.GET if "code" in request.GET else None)
    if form.is_bound and form.is_valid():
        try:
            return redirect("check_certificate", read_code(form.cleaned_data["code"]))
        except Refused as refusal:
            show_refusal(form, refusal)
    return render(request, "compliance/check/check.html", {"form": form})


@open_page
def check_certificate(request: HttpRequest, code: str) -> HttpResponse:
    """What a code stands for. What cannot be a code costs nothing and is not counted."""
    try:
        code = read_code(code)
    except Refused:
        return _not_found(request, code)
    if not may_look_up(get_adapter(request).get_client_ip(request)):
        answer = render(request, "compliance/check/too_often.html", status=429)
        answer["Retry-After"] = str(WINDOW_S)
        return answer
    certificate = Certificate.objects.with_place().filter(code=code).first()
    if certificate is None:
        return _not_found(request, code)
    return render(request, "compliance/check/answer.html", _told(certificate))


def _not_found(request: HttpRequest, code: str) -> HttpResponse:
    context = {"form": CodeForm({"code": code}), "not_found": True}
    return render(request, "compliance/check/check.html", context, status=404)


def _told(certificate: Certificate) -> dict[str, Any]:
    """What a stranger with the code is told: nothing that names a person or a home."""
    printed = certificate.contents
    newer = Certificate.objects.current().filter(job=certificate.job_id).exists()
    return {
        "certificate": certificate,
        "valid": certificate.is_current,
        "newer": newer and not certificate.is_current,
        "invented": printed["invented"],
        "figures": [
            {"label": "Asked by the rule", "value": printed["min_depth_mm"], "unit": "mm"},
            {"label": "Mean depth", "value": printed["mean_depth_mm"], "unit": "mm", "places": 0},
            {"label": "Least reading", "value": printed["least_depth_mm"], "unit": "mm"},
            {"label": "Readings", "value": printed["reading_count"]},
        ],
        "facts": [
            {"label": "Rule", "value": printed["rule"]},
            {"label": "Source", "value": printed["rule_source"]},
            {"label": "Scheme", "value": printed["scheme"]},
            {"label": "Company", "value": printed["company"]},
            {"label": "SHA-256 of the file", "value": certificate.pdf_sha256},
        ],
        "cautions": HOUSEHOLDER_CAUTIONS,
    }


urlpatterns = [
    path("check/", check, name="check"),
    path("check/<str:code>/", check_certificate, name="check_certificate"),
]
