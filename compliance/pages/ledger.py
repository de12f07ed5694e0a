"""The ledger as a page: its Seals, and how to check everything."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.views.decorators.http import require_POST

from compliance.ledger.seals import LedgerRewritten, make_seal
from compliance.models import LedgerEntry, Seal
from compliance.pages.roles import LEDGER_READERS, LEDGER_SEALERS
from jobs.pages.access import page_for

SEALS_A_PAGE = 30


@page_for(*LEDGER_READERS)
def ledger(request: HttpRequest) -> HttpResponse:
    last = Seal.objects.first()
    context = {
        "seals": Paginator(Seal.objects.all(), SEALS_A_PAGE).get_page(request.GET.get("page")),
        "last": last,
        "figures": [
            {"label": "Entries", "value": LedgerEntry.objects.count()},
            {"label": "Under the last Seal", "value": last.tree_size if last else 0},
            {"label": "Seals", "value": Seal.objects.count()},
        ],
        "may_seal": request.user.role in LEDGER_SEALERS,
        "page_title": "Ledger",
        "page_lead": "Every check, photo, reading, handover, verdict and certificate is an entry, "
        "and so is every edit. Keep a Seal, and you notice any later change of what it covers.",
    }
    return render(request, "compliance/ledger/ledger.html", context)


@require_POST
@page_for(*LEDGER_SEALERS)
def ledger_seal(request: HttpRequest) -> HttpResponse:
    """A Seal now, over everything committed."""
    try:
        seal = make_seal()
        messages.success(request, f"{seal}, made {seal.made_at:%-d %b %Y %H:%M} UTC.")
    except LedgerRewritten as refusal:
        messages.error(request, str(refusal))
    return redirect("ledger")


urlpatterns = [
    path("proof/ledger/", ledger, name="ledger"),
    path("proof/ledger/seal/", ledger_seal, name="ledger_seal"),
]
