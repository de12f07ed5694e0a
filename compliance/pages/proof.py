"""Proof: the compliance officer's home, and the lists of verdicts, shortfalls, certificates."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path, reverse
from django.utils import timezone

from compliance.models import Certificate, Seal, Shortfall
from compliance.pages.proof_filters import (
    NOT_LISTED,
    CertificateFilter,
    ShortfallFilter,
    VerdictFilter,
)
from compliance.pages.roles import DECIDERS, PROOF_READERS
from compliance.standing import latest_assessments, shortfall_counts, verdict_counts
from jobs.models import User
from jobs.pages.access import page_for
from jobs.pages.paging import LatePages
from jobs.pages.registry import attention_for

ROWS_A_PAGE = 50
ON_HOME = 6


@page_for(*DECIDERS)
def proof(request: HttpRequest) -> HttpResponse:
    today = timezone.localdate()
    user = request.user
    context = {
        "items": attention_for(user),
        "figures": _figures(user),
        "shortfalls": Shortfall.objects.visible_to(user).open().with_place()[:ON_HOME],
        "verdicts": _newest_verdicts(user),
        "seal": Seal.objects.first(),
        "today": today,
        "page_title": "Proof",
        "page_kicker": f"Verdicts and certificates of {user.company}",
    }
    return render(request, "compliance/proof/home.html", context)


def _newest_verdicts(user: User) -> Any:
    return latest_assessments(user).defer(*NOT_LISTED).order_by("-made_at", "-pk")[:ON_HOME]


def _figures(user: User) -> list[dict[str, Any]]:
    verdicts = verdict_counts(user)
    shortfalls = shortfall_counts(user, timezone.localdate())
    certificates = Certificate.objects.visible_to(user).current().count()
    return [
        {"label": "Meet their rule", "value": verdicts["meets"]},
        {"label": "Short", "value": verdicts["short"]},
        {"label": "Unproven", "value": verdicts["unproven"]},
        {"label": "Shortfalls open", "value": shortfalls["open"]},
        {"label": "Valid certificates", "value": certificates},
    ]


@page_for(*PROOF_READERS)
def verdict_list(request: HttpRequest) -> HttpResponse:
    shown = VerdictFilter(request.GET, user=request.user)
    rows = shown.rows(request.GET.get("order", ""))
    return _list(request, shown, rows, "Verdicts", "verdicts", "verdict_list")


@page_for(*PROOF_READERS)
def shortfall_list(request: HttpRequest) -> HttpResponse:
    shown = ShortfallFilter(request.GET, user=request.user)
    return _list(request, shown, shown.rows(), "Shortfalls", "shortfalls", "shortfall_list")


@page_for(*PROOF_READERS)
def certificate_list(request: HttpRequest) -> HttpResponse:
    shown = CertificateFilter(request.GET, user=request.user)
    actions = []
    if request.user.role in DECIDERS:
        actions = [{"url": reverse("issue_runs"), "label": "Issue many"}]
    return _list(
        request, shown, shown.rows(), "Certificates", "certificates", "certificate_list", actions
    )


def _list(
    request: HttpRequest,
    shown: Any,
    rows: Any,
    title: str,
    noun: str,
    url_name: str,
    actions: Sequence[dict[str, Any]] = (),
) -> HttpResponse:
    context = {
        "filter": shown,
        "page": LatePages(rows, ROWS_A_PAGE).get_page(request.GET.get("page")),
        "noun": noun,
        "list_url": reverse(url_name),
        "today": timezone.localdate(),
        "page_title": title,
        "page_actions": actions,
    }
    return render(request, f"compliance/proof/{url_name}.html", context)


urlpatterns = [
    path("proof/", proof, name="proof"),
    path("proof/verdicts/", verdict_list, name="verdict_list"),
    path("proof/shortfalls/", shortfall_list, name="shortfall_list"),
    path("proof/certificates/", certificate_list, name="certificate_list"),
]
