"""Evidence packs: choose, see how much it is, take it away."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import path, reverse

from compliance.ledger.seals import public_bytes, seal_key
from compliance.packs.choosing import PackFigures, PackWish, figures_of, wished_scope
from compliance.packs.scope import PackScope
from compliance.packs.sending import pack_answer
from compliance.pages.roles import PACK_TAKERS
from jobs.errors import Refused
from jobs.models import Role, User
from jobs.pages.access import page_for
from jobs.pages.day_inputs import day_field
from jobs.pages.refusals import show_refusal
from jobs.pages.registry import NavigationItem, register_navigation


class PackForm(forms.Form):
    job = forms.CharField(
        label="One job", required=False, help_text="Its number, such as J-000123."
    )
    first_day = day_field(label="Or all judged from", required=False)
    last_day = day_field(label="To", required=False)
    without_photos = forms.BooleanField(label="Leave the photos out", required=False)
    seal = forms.IntegerField(
        label="Number of a Seal you kept",
        required=False,
        min_value=1,
        help_text="So that the pack can be checked against it.",
    )

    def scope(self, user: User) -> PackScope | None:
        """What was chosen, or None with the reason shown in the form."""
        if not self.is_bound or not self.is_valid():
            return None
        try:
            return wished_scope(user, PackWish(**self.cleaned_data))
        except Refused as refusal:
            show_refusal(self, refusal)
            return None


@page_for(*PACK_TAKERS)
def packs(request: HttpRequest) -> HttpResponse:
    form = PackForm(request.GET or None)
    scope = form.scope(request.user)
    context = {
        "form": form,
        "scope": scope,
        "figures": _shown(figures_of(scope)) if scope else [],
        "take_url": f"{reverse('evidence_pack')}?{request.GET.urlencode()}",
        "key": public_bytes(seal_key().public_key()).hex(),
        "page_title": "Evidence packs",
        "page_lead": "Everything recorded of some jobs in one file, which anybody can check "
        "without us: checks, photos, readings, handovers, verdicts, certificates, and the "
        "proofs that none of it was changed.",
    }
    return render(request, "compliance/packs/packs.html", context)


@page_for(*PACK_TAKERS)
def evidence_pack(request: HttpRequest) -> HttpResponseBase:
    """The zip of what the query chooses."""
    scope = PackForm(request.GET).scope(request.user)
    if scope is None:
        return redirect(f"{reverse('packs')}?{request.GET.urlencode()}")
    return pack_answer(request, scope, request.user)


def _shown(figures: PackFigures) -> list[dict[str, Any]]:
    return [
        {"label": "Jobs", "value": figures.jobs},
        {"label": "Photos", "value": figures.photos},
        {"label": "Their size", "value": figures.photo_bytes / 1e6, "unit": "MB", "places": 1},
        {"label": "Certificates", "value": figures.certificates},
    ]


def register() -> None:
    """Join the shared pages. Called once, when the app is ready."""
    takers = frozenset(PACK_TAKERS)
    register_navigation(NavigationItem("Packs", "packs", takers, 75))
    register_navigation(NavigationItem("Ledger", "ledger", frozenset({Role.AUDITOR}), 80))


urlpatterns = [
    path("proof/packs/", packs, name="packs"),
    path("proof/packs/evidence.zip", evidence_pack, name="evidence_pack"),
]
