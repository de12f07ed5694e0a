"""Depth rules: which one holds for a loft on a day, and how a new one comes into force."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from django.utils import timezone

from calculations.depths import DepthRequirement
from compliance.models import DepthRule
from jobs.errors import Refused, refusals_explained, refuse_invalid
from jobs.models import Job, Nation, Role, User
from jobs.targets import DepthTarget, register_target_source

PROPOSERS = (Role.COMPLIANCE_OFFICER, Role.PLATFORM_ADMIN)
PROPOSED_FIELDS = (
    "nation",
    "starts_on",
    "min_depth_mm",
    "conductivity_w_mk",
    "greatest_u_value_w_m2k",
    "m2_per_reading",
    "least_readings_per_area",
    "least_before_photos",
    "least_after_photos",
    "photos_at_points",
    "source",
    "source_kind",
)
LIKELY_CONDUCTIVITY_W_MK = (0.015, 0.1)
"""Declared conductivities of insulation products lie well within: common practice, no published
source. Further out it is a slip of the decimal point, and no depth could be judged by it."""


def rule_in_force(nation: str, on: date) -> DepthRule:
    """The approved rule of `nation` that began last by `on`.

    Raises:
        Refused: the nation has none by that day.
    """
    rule = DepthRule.objects.in_force(nation, on).first()
    if rule is None:
        raise Refused(
            f"No depth rule of {Nation(nation).label} is in force on {on:%-d %b %Y}.",
            field="nation",
            remedy="Propose one on the rules page and have a second person approve it.",
        )
    return rule


def requirement_of(rule: DepthRule) -> DepthRequirement:
    """What the engine asks of readings under this rule."""
    return DepthRequirement(
        min_depth_mm=rule.min_depth_mm,
        m2_per_reading=rule.m2_per_reading,
        least_readings_per_area=rule.least_readings_per_area,
    )


def rule_in_words(rule: DepthRule) -> str:
    """One line for a drawing, plan or certificate."""
    return (
        f"{rule.get_nation_display()}: at least {rule.min_depth_mm:g} mm from "
        f"{rule.starts_on:%-d %b %Y} ({rule.get_source_kind_display().lower()})"
    )


def target_from_rules(job: Job) -> DepthTarget | None:
    """The depth a job is planned to today; None where no rule is in force."""
    rule = DepthRule.objects.in_force(job.property.nation, timezone.localdate()).first()
    if rule is None:
        return None
    return DepthTarget(rule.min_depth_mm, rule_in_words(rule), requirement_of(rule))


def offer_targets() -> None:
    """Tell `jobs` where the depth of a plan comes from."""
    register_target_source(target_from_rules)


def propose_rule(by: User, values: Mapping[str, Any], *, today: date | None = None) -> DepthRule:
    """A rule that waits for a second person. `values` holds the fields of PROPOSED_FIELDS.

    Raises:
        Refused: a value cannot be, or the day is not in the future.
        Conflict: the nation already has a rule from that day.
    """
    if by.role not in PROPOSERS:
        raise Refused("Only a compliance officer or the platform admin proposes a depth rule.")
    rule = DepthRule(proposed_by=by, **{f: values[f] for f in PROPOSED_FIELDS if f in values})
    refuse_invalid(rule)
    _refuse_conductivity(rule)
    refuse_past(rule, today or timezone.localdate())
    with refusals_explained():
        rule.save()
    return rule


def _refuse_conductivity(rule: DepthRule) -> None:
    """Raises Refused for a conductivity that no insulation is sold with: a typing slip."""
    least, most = LIKELY_CONDUCTIVITY_W_MK
    if not least <= rule.conductivity_w_mk <= most:
        raise Refused(
            f"{rule.conductivity_w_mk:g} W/mK is no conductivity of loft insulation.",
            field="conductivity_w_mk",
            remedy=f"Give one from {least} to {most} W/mK, such as 0.044.",
        )


def may_approve(rule: DepthRule, by: User) -> bool:
    """Whether the approve button is shown to this person."""
    try:
        refuse_second_person(rule, by)
    except Refused:
        return False
    return rule.approved_at is None


def refuse_second_person(rule: DepthRule, by: User) -> None:
    """Raises Refused for whoever may not approve this rule, whatever they have read."""
    if by.role not in PROPOSERS:
        raise Refused("Only a compliance officer or the platform admin approves a depth rule.")
    proposer = rule.proposed_by
    if proposer is None:
        return
    if proposer.pk == by.pk:
        raise Refused(
            "A rule is approved by a second person, not by the one who proposed it.",
            remedy="Ask the platform admin, or a compliance officer of another company.",
        )
    if proposer.company_id is not None and proposer.company_id == by.company_id:
        raise Refused(
            "A rule binds every company, so nobody of the proposer's own company approves it.",
            remedy="Ask the platform admin, or a compliance officer of another company.",
        )


def refuse_past(rule: DepthRule, today: date) -> None:
    """Raises Refused once the rule's day has come."""
    if rule.starts_on <= today:
        raise Refused(
            f"A rule cannot begin on {rule.starts_on:%-d %b %Y}, which is not in the future: "
            "lofts already fitted would be judged by a rule that nobody knew.",
            field="starts_on",
            remedy="Choose a day after today.",
        )
