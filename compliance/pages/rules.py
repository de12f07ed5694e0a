"""Depth rules: what each nation asks, proposing a new one, and the second person's approval."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_POST

from compliance.models import DepthRule
from compliance.pages.roles import RULE_KEEPERS, RULE_READERS
from compliance.rule_approval import approve_rule
from compliance.rules import PROPOSED_FIELDS, may_approve, propose_rule
from jobs.errors import Refused
from jobs.models import Nation, Role, User
from jobs.pages.access import page_for
from jobs.pages.day_inputs import DayInput
from jobs.pages.refusals import show_refusal


class RuleForm(forms.ModelForm):
    class Meta:
        model = DepthRule
        fields = PROPOSED_FIELDS
        labels = {
            "starts_on": "In force from",
            "min_depth_mm": "Least depth mm",
            "conductivity_w_mk": "Stated for a conductivity of",
            "greatest_u_value_w_m2k": "Or a U-value of at most",
            "m2_per_reading": "Floor to a reading",
            "least_readings_per_area": "Readings an area, at least",
            "least_before_photos": "Photos before, at least",
            "least_after_photos": "Photos after, at least",
            "photos_at_points": "Photos at every photo point, before and after",
            "source_kind": "Kind of source",
        }
        widgets = {"starts_on": DayInput()}
        help_texts = {
            "photos_at_points": "",
            "source": "Document, edition and clause, or who says so.",
            "starts_on": "Lofts handed over from this day on are judged by it. After today.",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("nation", "source_kind"):
            choices = [choice for choice in self.fields[name].choices if choice[0]]  # type: ignore[attr-defined]
            self.fields[name].choices = [("", "Choose"), *choices]  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        """Each value by its field's own limits, so that all that is wrong is told at once."""
        for name, value in list(self.cleaned_data.items()):
            try:
                if value is not None:
                    DepthRule._meta.get_field(name).run_validators(value)  # type: ignore[union-attr]
            except forms.ValidationError as wrong:
                self.add_error(name, wrong)
        return self.cleaned_data

    def _post_clean(self) -> None:
        """The database and `propose_rule` check the rule; a half-filled one is not looked at."""


@page_for(*RULE_READERS)
def rule_list(request: HttpRequest) -> HttpResponse:
    today = timezone.localdate()
    rules = DepthRule.objects.select_related("proposed_by", "approved_by")
    context = {
        "nations": [_nation(nation, rules, today, request.user) for nation in Nation],
        "today": today,
        "page_title": "Depth rules",
        "page_lead": "What each nation asks of a loft, from when, and who says so. A rule that "
        "was used is never edited: a new one begins on a later day.",
        "page_actions": _actions(request.user),
    }
    return render(request, "compliance/rules/rule_list.html", context)


def _nation(nation: Nation, rules: Any, today: Any, user: User) -> dict[str, Any]:
    """A nation's rules, the newest first, with what each is today."""
    mine = [rule for rule in rules if rule.nation == nation]
    in_force = next((r for r in mine if r.approved_at and r.starts_on <= today), None)
    return {
        "label": nation.label,
        "rules": [
            {
                "rule": r,
                "state": _state(r, in_force, today),
                "may_approve": may_approve(r, user),
                "proposer": _named(r.proposed_by, user),
                "approver": _named(r.approved_by, user),
            }
            for r in mine
        ],
    }


def _named(person: User | None, to: User) -> str:
    """A person's name within the company and to the platform admin; to others the role alone."""
    if person is None:
        return ""
    if to.role == Role.PLATFORM_ADMIN or (person.company_id and person.company_id == to.company_id):
        return str(person)
    return f"{person.get_role_display().lower()}" + (
        " of another company" if person.company_id and to.company_id else ""
    )


def _state(rule: DepthRule, in_force: DepthRule | None, today: Any) -> str:
    if rule.approved_at is None:
        return "Proposed"
    if rule == in_force:
        return "In force"
    return "To come" if rule.starts_on > today else "Past"


def _actions(user: User) -> list[dict[str, Any]]:
    if user.role not in RULE_KEEPERS:
        return []
    return [{"url": "/proof/rules/new/", "label": "Propose a rule", "primary": True}]


@page_for(*RULE_KEEPERS)
def rule_propose(request: HttpRequest) -> HttpResponse:
    form = RuleForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            rule = propose_rule(request.user, form.cleaned_data)
            messages.success(request, f"Proposed: {rule}. A second person approves it.")
            return redirect("rule_list")
        except Refused as refusal:
            show_refusal(form, refusal)
    context = {"form": form, "page_title": "Propose a depth rule"}
    return render(request, "compliance/rules/rule_form.html", context)


@require_POST
@page_for(*RULE_KEEPERS)
def rule_approve(request: HttpRequest, pk: int) -> HttpResponse:
    rule = get_object_or_404(DepthRule.objects.select_related("proposed_by"), pk=pk)
    try:
        messages.success(request, f"Approved: {approve_rule(rule, request.user)}.")
    except Refused as refusal:
        messages.error(request, str(refusal))
        return redirect("rule", pk=pk)
    return redirect("rule_list")


urlpatterns = [
    path("proof/rules/", rule_list, name="rule_list"),
    path("proof/rules/new/", rule_propose, name="rule_propose"),
    path("proof/rules/<int:pk>/approve/", rule_approve, name="rule_approve"),
]
