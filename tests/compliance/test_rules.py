"""Depth rules: in force by nation and day, approved by a second person, kept once used."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction
from django.utils import timezone

from compliance.assess import assess_job
from compliance.models import DepthRule
from compliance.rule_approval import approve_rule, note_preview_seen
from compliance.rule_runs import begin_preview, move_on
from compliance.rules import propose_rule, rule_in_force
from jobs.errors import Conflict, Refused
from jobs.models import Role, User
from jobs.targets import depth_target
from tests.compliance.scene import fitted
from tests.factories import JobFactory, UserFactory

pytestmark = pytest.mark.django_db

TODAY = date(2026, 11, 25)


def officer(**fields: Any) -> Any:
    return UserFactory(role=Role.COMPLIANCE_OFFICER, **fields)


def values(**changed: Any) -> dict[str, Any]:
    given = {
        "nation": "wales",
        "starts_on": date(2027, 3, 1),
        "min_depth_mm": 300.0,
        "source": "Invented for a test",
        "source_kind": "common_practice",
    }
    return given | changed


@pytest.mark.parametrize(
    ("nation", "depth_mm"),
    [("england", 270), ("wales", 270), ("northern_ireland", 270), ("scotland", 350)],
)
def test_each_nation_has_its_depth(nation: str, depth_mm: float):
    """270 and 350 mm: common practice, no published source."""
    rule = rule_in_force(nation, TODAY)

    assert (rule.min_depth_mm, rule.source_kind) == (depth_mm, "common_practice")
    assert "no published table" in rule.source


def test_englands_next_rule_knows_the_u_value_route_and_asks_nothing_else_anew():
    """0.16 W/m2K: Approved Document L, volume 1 (2021), as transcribed by a third party."""
    rules = DepthRule.objects.filter(nation="england").order_by("starts_on")
    shipped, coming = rules

    assert (shipped.greatest_u_value_w_m2k, coming.greatest_u_value_w_m2k) == (None, 0.16)
    assert (coming.min_depth_mm, coming.m2_per_reading) == (270, shipped.m2_per_reading)
    assert coming.starts_on > timezone.localdate(coming.approved_at)
    assert "Approved Document L" in coming.source
    assert not DepthRule.objects.exclude(nation="england").filter(greatest_u_value_w_m2k__gt=0)


def test_before_the_first_rule_there_is_none_and_the_error_says_what_to_do():
    with pytest.raises(Refused, match="second person approve") as refusal:
        rule_in_force("scotland", date(2019, 12, 31))
    assert refusal.value.field == "nation"


def test_a_plan_takes_its_depth_from_the_rule():
    job = JobFactory(property__nation="scotland", property__postcode="EH1 1AA")

    target = depth_target(job)

    assert target.depth_mm == 350
    assert "Scotland" in target.source


def seen_by(person: User, rule: DepthRule) -> User:
    """The person, once it read a preview of the rule that was worked out to its end."""
    run = begin_preview(rule, person)
    while move_on(run.pk):
        pass
    run.refresh_from_db()
    note_preview_seen(run, person)
    return person


def test_a_proposed_rule_holds_only_once_a_second_person_approved_it():
    rule = propose_rule(officer(), values(), today=TODAY)
    assert rule_in_force("wales", date(2027, 4, 1)).min_depth_mm == 270

    approve_rule(rule, seen_by(UserFactory(role=Role.PLATFORM_ADMIN), rule), today=TODAY)

    assert rule_in_force("wales", date(2027, 2, 28)).min_depth_mm == 270
    assert rule_in_force("wales", date(2027, 3, 1)).min_depth_mm == 300


def test_nobody_approves_their_own_rule_nor_a_colleagues():
    proposer = officer()
    rule = propose_rule(proposer, values(), today=TODAY)

    with pytest.raises(Refused, match="second person"):
        approve_rule(rule, proposer, today=TODAY)
    with pytest.raises(Refused, match="proposer's own company"):
        approve_rule(rule, officer(company=proposer.company), today=TODAY)
    assert approve_rule(rule, seen_by(officer(), rule), today=TODAY).approved_at


def test_a_rule_is_approved_once():
    rule = propose_rule(officer(), values(), today=TODAY)
    admin = seen_by(UserFactory(role=Role.PLATFORM_ADMIN), rule)
    approve_rule(rule, admin, today=TODAY)

    with pytest.raises(Conflict, match="approved already"):
        approve_rule(rule, admin, today=TODAY)


def test_nobody_approves_what_they_have_not_looked_at_as_things_stand_today():
    rule = propose_rule(officer(), values(), today=TODAY)
    admin, other = (UserFactory(role=Role.PLATFORM_ADMIN) for _ in range(2))
    seen_by(other, rule)

    with pytest.raises(Refused, match="looked first at what it would change"):
        approve_rule(rule, admin, today=TODAY)
    with pytest.raises(Refused, match="counts for a day"):
        approve_rule(rule, other, today=TODAY, now=timezone.now() + timedelta(days=2))
    with pytest.raises(Exception, match="looked first"), transaction.atomic():
        DepthRule.objects.filter(pk=rule.pk).update(approved_by=admin, approved_at=timezone.now())
    assert approve_rule(rule, other, today=TODAY).approved_by == other


def test_a_rule_whose_day_has_come_is_not_approved_any_more():
    rule = propose_rule(officer(), values(), today=TODAY)

    with pytest.raises(Refused, match="not in the future"):
        approve_rule(rule, UserFactory(role=Role.PLATFORM_ADMIN), today=date(2027, 3, 1))


BAD = [
    ({"starts_on": TODAY}, "starts_on", "begins today"),
    ({"starts_on": date(2020, 1, 1)}, "starts_on", "begins in the past"),
    ({"min_depth_mm": 20.0}, "min_depth_mm", "thinner than any rule"),
    ({"nation": "atlantis"}, "nation", "no such nation"),
    ({"source": ""}, "source", "no source"),
    ({"m2_per_reading": 0.0}, "m2_per_reading", "a reading for no floor"),
    ({"conductivity_w_mk": 4.4}, "conductivity_w_mk", "a slip of the decimal point"),
    ({"conductivity_w_mk": 0.0}, "conductivity_w_mk", "wool that lets nothing through"),
]


@pytest.mark.parametrize(("changed", "field", "reason"), BAD, ids=[row[2] for row in BAD])
def test_a_rule_that_cannot_be_is_refused_at_its_field(changed, field: str, reason: str):
    with pytest.raises(Refused) as refusal:
        propose_rule(officer(), values(**changed), today=TODAY)
    assert refusal.value.field == field


def test_two_rules_of_a_nation_cannot_begin_on_one_day():
    propose_rule(officer(), values(), today=TODAY)

    with pytest.raises(Conflict, match="already has a rule from that day"):
        propose_rule(officer(), values(), today=TODAY)


@pytest.mark.parametrize("role", [Role.PLANNER, Role.AUDITOR, Role.INSTALLER])
def test_others_do_not_propose(role: str):
    with pytest.raises(Refused, match="Only a compliance officer"):
        propose_rule(UserFactory(role=role), values(), today=TODAY)


@pytest.mark.parametrize(
    "statement",
    ["UPDATE compliance_depthrule SET min_depth_mm = 100", "DELETE FROM compliance_depthrule"],
)
def test_raw_sql_cannot_touch_a_rule_that_was_used(statement: str):
    assess_job(fitted().job.pk)

    with (
        pytest.raises(IntegrityError, match="used is never changed"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(statement)


def test_raw_sql_cannot_approve_for_the_proposer():
    rule = propose_rule(officer(), values(), today=TODAY)

    with (
        pytest.raises(IntegrityError, match="second_person"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(
            "UPDATE compliance_depthrule SET approved_by_id = proposed_by_id WHERE id = %s",
            [rule.pk],
        )


def test_an_unused_rule_may_still_be_mended():
    rule = propose_rule(officer(), values(starts_on=timezone.localdate() + timedelta(days=90)))

    assert DepthRule.objects.filter(pk=rule.pk).update(min_depth_mm=310) == 1
