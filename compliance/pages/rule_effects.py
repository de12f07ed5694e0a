"""One depth rule: what it would change among open jobs, its approval, and judging anew."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from compliance import tasks
from compliance.models import DepthRule, RuleRun, RuleRunJob
from compliance.pages.roles import RULE_KEEPERS, RULE_READERS
from compliance.rule_approval import changed_since, note_preview_seen, preview_seen
from compliance.rule_effects import Effects, effects_of
from compliance.rule_runs import begin_preview
from compliance.rules import may_approve
from jobs.errors import Refused
from jobs.pages.access import page_for

ROWS_A_PAGE = 50


def _rule(pk: int) -> DepthRule:
    return get_object_or_404(DepthRule.objects.select_related("proposed_by", "approved_by"), pk=pk)


@page_for(*RULE_READERS)
def rule(request: HttpRequest, pk: int) -> HttpResponse:
    record = _rule(pk)
    effects = effects_of(record, request.user)
    note_preview_seen(effects.run, request.user)
    approving = may_approve(record, request.user)
    seen = preview_seen(record, request.user, timezone.now()) if approving else None
    context = {
        "rule": record,
        "facts": _facts(record),
        "effects": effects,
        "page": Paginator(_changed(effects, request), ROWS_A_PAGE).get_page(
            request.GET.get("page")
        ),
        "may_approve": approving,
        "seen": seen,
        "since": changed_since(seen) if seen else None,
        "may_preview": request.user.role in RULE_KEEPERS and record.approved_at is None,
        "page_title": str(record),
        "page_kicker": "Depth rule",
        "page_actions": _actions(record, request),
    }
    return render(request, "compliance/rules/rule.html", context)


def _actions(record: DepthRule, request: HttpRequest) -> list[dict[str, str]]:
    links = [{"url": reverse("rule_list"), "label": "All rules"}]
    if request.user.role in RULE_KEEPERS:  # type: ignore[union-attr]
        links.append({"url": reverse("rule_edits", args=[record.pk]), "label": "History"})
    return links


def _changed(effects: Effects, request: HttpRequest) -> Any:
    """Jobs of this person whose verdict changes."""
    if effects.run is None:
        return RuleRunJob.objects.none()
    rows = RuleRunJob.objects.visible_to(request.user).filter(run=effects.run).changed()
    return rows.select_related("job__property")


@require_POST
@page_for(*RULE_KEEPERS)
def rule_preview(request: HttpRequest, pk: int) -> HttpResponse:
    """Begin to work out what a proposed rule would change."""
    try:
        run = begin_preview(_rule(pk), request.user)
        transaction.on_commit(partial(tasks.walk_for_rule.delay, run.pk), robust=True)
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect("rule", pk=pk)


@page_for(*RULE_READERS)
def rule_progress(request: HttpRequest, pk: int) -> HttpResponse:
    """How far the newest run is; once it has ended, the page shows what it found."""
    run = RuleRun.objects.filter(rule=_rule(pk)).first()
    answer = render(request, "compliance/rules/run_progress.html", {"run": run, "rule_pk": pk})
    if run is None or run.ended_at is not None:
        answer["HX-Refresh"] = "true"
    return answer


def _depth(record: DepthRule) -> str:
    said = f"{record.min_depth_mm:g} mm of wool of {record.conductivity_w_mk:g} W/mK"
    if record.greatest_u_value_w_m2k is None:
        return said
    return (
        f"{said}, or what the wool laid needs for {record.greatest_u_value_w_m2k:g} W/m²K "
        "(ISO 6946), if that is less"
    )


def _facts(record: DepthRule) -> list[dict[str, Any]]:
    photos = f"{record.least_before_photos} before, {record.least_after_photos} after"
    if record.photos_at_points:
        photos += ", and at every photo point"
    return [
        {"label": "Nation", "value": record.get_nation_display()},
        {"label": "In force from", "value": f"{record.starts_on:%-d %b %Y}"},
        {"label": "Least depth", "value": _depth(record)},
        {
            "label": "Readings",
            "value": f"one to each {record.m2_per_reading:g} m², at least "
            f"{record.least_readings_per_area} an area",
        },
        {"label": "Photos", "value": photos},
        {
            "label": "Source",
            "value": f"{record.source} ({record.get_source_kind_display().lower()})",
        },
    ]


urlpatterns = [
    path("proof/rules/<int:pk>/", rule, name="rule"),
    path("proof/rules/<int:pk>/preview/", rule_preview, name="rule_preview"),
    path("proof/rules/<int:pk>/progress/", rule_progress, name="rule_progress"),
]
