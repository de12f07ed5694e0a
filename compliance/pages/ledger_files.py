"""What anybody may keep of the ledger: the public key of its Seals, and each Seal as a file."""

from __future__ import annotations

from cryptography.hazmat.primitives import serialization
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import path

from compliance.ledger.seals import seal_key
from compliance.models import Seal
from compliance.verify.layout import signed_file
from jobs.pages.access import open_page


@open_page
def ledger_key(request: HttpRequest) -> HttpResponse:
    """The key in use, as PEM."""
    pem = (
        seal_key()
        .public_key()
        .public_bytes(serialization.Encoding.PEM, serialization.PublicFormat.SubjectPublicKeyInfo)
    )
    return _file(pem.decode(), "seal-key.pem", "application/x-pem-file")


@open_page
def seal_file(request: HttpRequest, pk: int) -> HttpResponse:
    """A Seal to keep: its signed text, with key and signature beneath."""
    seal = get_object_or_404(Seal, pk=pk)
    text = signed_file(seal.signed_text, bytes(seal.public_key).hex(), bytes(seal.signature).hex())
    return _file(text, f"seal-{seal.pk}.txt", "text/plain; charset=utf-8")


def _file(text: str, name: str, media_type: str) -> HttpResponse:
    answer = HttpResponse(text, content_type=media_type)
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer


urlpatterns = [
    path("ledger/key.pem", ledger_key, name="ledger_key"),
    path("ledger/seals/<int:pk>.txt", seal_file, name="seal_file"),
]
