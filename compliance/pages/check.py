"""The public check of a certificate: valid or not and why, what was found, cautions. No names."""

from __future__ import annotations

from typing import Any

from allauth.account.adapter import get_adapter
from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path

from compliance.certificates.cautions import HOUSEHOLDER_CAUTIONS
from compliance.certificates.code import read_code
from compliance.certificates.key_records import key_of
from compliance.certificates.lookups import WINDOW_S, may_look_up
from compliance.models import Certificate, CertificateKey
from jobs.errors import Refused
from jobs.pages.access import open_page
from jobs.pages.refusals import show_refusal


class CodeForm(forms.Form):
    code = forms.CharField(
        label="Code of the certificate",
        max_length=40,
        help_text="Twelve letters and figures, printed under the square on its first page.",
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


@open_page
def check_key(request: HttpRequest, fingerprint: str) -> HttpResponse:
    """The public certificate of a key, so that files it signed stay verifiable without us."""
    key = get_object_or_404(CertificateKey, fingerprint=fingerprint)
    answer = HttpResponse(key.pem, content_type="application/x-pem-file")
    answer["Content-Disposition"] = f'attachment; filename="key-{fingerprint[:16]}.pem"'
    return answer


def _told(certificate: Certificate) -> dict[str, Any]:
    """What a stranger with the code is told: nothing that names a person or a home."""
    printed = certificate.contents
    newer = Certificate.objects.in_place_of(certificate)
    key = key_of(certificate)
    return {
        "certificate": certificate,
        "state": "valid" if certificate.is_current else "superseded" if newer else "withdrawn",
        "newer": newer,
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
        ],
        "file_facts": [
            {"label": "SHA-256 of the file", "value": certificate.pdf_sha256},
            {"label": "Signed with", "value": _key_words(key)},
            {"label": "SHA-256 of the key’s certificate", "value": key.fingerprint},
        ],
        "key": key,
        "cautions": HOUSEHOLDER_CAUTIONS,
    }


def _key_words(key: CertificateKey) -> str:
    valid = f"valid from {key.valid_from:%-d %b %Y} to {key.valid_until:%-d %b %Y}"
    return f"{key.subject}; {key.algorithm}; {valid}; {_use(key)}"


def _use(key: CertificateKey) -> str:
    newest = CertificateKey.objects.last()
    if newest is None or newest.fingerprint == key.fingerprint:
        return "the key in use"
    return "an earlier key, kept so that this file can still be checked"


urlpatterns = [
    path("check/", check, name="check"),
    path("check/keys/<slug:fingerprint>.pem", check_key, name="check_key"),
    path("check/<str:code>/", check_certificate, name="check_certificate"),
]
