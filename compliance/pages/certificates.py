"""One certificate: how it stands, which key signed it, and making it again to compare."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.views.decorators.http import require_POST

from compliance.certificates.key_records import key_of
from compliance.evidence_access import note_access
from compliance.models import Certificate, CertificateKey
from compliance.pages.roles import VERDICT_READERS
from jobs.errors import Refused
from jobs.pages.access import page_for


def _certificate(request: HttpRequest, code: str) -> Certificate:
    visible = Certificate.objects.visible_to(request.user).with_place()
    found: Certificate = get_object_or_404(visible, code=code)
    return found


@page_for(*VERDICT_READERS)
def certificate(request: HttpRequest, code: str) -> HttpResponse:
    record = _certificate(request, code)
    note_access(record.job, request.user, f"certificate {code}")
    key = key_of(record)
    newer = Certificate.objects.in_place_of(record)
    context = {
        "certificate": record,
        "newer": newer,
        "facts": _facts(record, newer),
        "key_facts": _key_facts(key),
        "key": key,
        "photos": record.contents.get("photos_shown", []),
        "page_title": f"Certificate {code}",
        "page_kicker": f"{record.job.reference} · {record.job.property}",
        "page_actions": [
            {"url": reverse("verdict", args=[record.job_id]), "label": "The verdict"},
            {"url": reverse("certificate_pdf", args=[code]), "label": "PDF", "primary": True},
        ],
    }
    return render(request, "compliance/proof/certificate.html", context)


@require_POST
@page_for(*VERDICT_READERS)
def certificate_again(request: HttpRequest, code: str) -> HttpResponse:
    """Make it again from its record and say how it compares with the file."""
    # The typesetter and the signer are half a second of imports that few pages need.
    from compliance.certificates.again import compare

    record = _certificate(request, code)
    try:
        made = compare(record)
    except Refused as refusal:
        messages.error(request, str(refusal))
    else:
        tell = messages.success if made.same_document else messages.error
        tell(request, made.words)
    return redirect("certificate", code=code)


def _facts(record: Certificate, newer: Certificate | None) -> list[dict[str, Any]]:
    facts = [
        {"label": "Issued", "value": f"{record.issued_at:%-d %b %Y}"},
        {"label": "By", "value": str(record.issued_by) if record.issued_by else "on assessment"},
        {"label": "Assessment", "value": f"number {record.assessment.number} of this job"},
        {
            "label": "Public check page",
            "value": record.code,
            "url": reverse("check_certificate", args=[record.code]),
        },
        {"label": "Set on", "value": _sheet(record.contents)},
        {"label": "SHA-256 of the file", "value": record.pdf_sha256},
    ]
    if not record.is_current:
        taken = record.withdrawal
        facts.insert(
            1,
            {
                "label": "Withdrawn",
                "value": f"{taken.withdrawn_at:%-d %b %Y}: {taken.reason} ({taken.public_reason})",
            },
        )
    if newer is not None:
        url = reverse("certificate", args=[newer.code])
        facts.insert(2, {"label": "In its place", "value": newer.code, "url": url})
    return facts


def _sheet(contents: dict[str, Any]) -> str:
    typesetter = contents.get("typesetter", "")
    return f"edition {contents.get('sheet', 1)} of the sheet" + (
        f", by {typesetter}" if typesetter else ""
    )


def _key_facts(key: CertificateKey) -> list[dict[str, Any]]:
    return [
        {"label": "Whose", "value": key.subject},
        {"label": "Vouched for by", "value": "itself" if key.issuer == key.subject else key.issuer},
        {"label": "Kind", "value": f"{key.algorithm}, {key.get_kind_display()}"},
        {
            "label": "Valid",
            "value": f"{key.valid_from:%-d %b %Y} to {key.valid_until:%-d %b %Y}",
        },
        {"label": "SHA-256 of its certificate", "value": key.fingerprint},
    ]


urlpatterns = [
    path("proof/certificates/<slug:code>/", certificate, name="certificate"),
    path("proof/certificates/<slug:code>/again/", certificate_again, name="certificate_again"),
]
