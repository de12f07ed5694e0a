"""What a rule would change, and judging anew once it holds: piece by piece, none twice."""

from __future__ import annotations

import threading
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import connection, connections, transaction
from django.test import Client
from django.utils import timezone

from calculations.drawing import photo_points
from calculations.loft import loft_from_dict
from compliance import rule_approval, rule_runs, tasks
from compliance.assess import assess_job, latest_assessment, rerun_agrees
from compliance.gather import gather_evidence
from compliance.judging import Evidence, judge_evidence
from compliance.models import DepthRule, RuleRun, RuleRunJob
from compliance.rule_approval import approve_rule, changed_since, note_preview_seen
from compliance.rule_effects import OTHERS, effects_of
from compliance.rule_runs import asked_by, begin_due_reassessments, begin_preview, move_on
from compliance.rule_verdicts import verdicts_under
from jobs.errors import Conflict
from jobs.models import Role, Stage
from jobs.stages import move_job
from tests.compliance.scene import SHORT_DEPTHS, Scene, bare, fitted, measure
from tests.factories import HandoverFactory, PhotoFactory, UserFactory

pytestmark = pytest.mark.django_db

DEEP = (310.0, 320.0, 315.0)
BETWEEN = (285.0, 290.0, 280.0)


def rule_from(days: int, depth_mm: float = 300, **fields: Any) -> DepthRule:
    return DepthRule.objects.create(
        nation="england",
        starts_on=timezone.localdate() + timedelta(days=days),
        min_depth_mm=depth_mm,
        source="Invented for a test",
        source_kind="common_practice",
        **fields,
    )


def admin() -> Any:
    return UserFactory(role=Role.PLATFORM_ADMIN)


def judged(scene: Scene) -> Scene:
    assess_job(scene.job.pk)
    return scene


def due_under(rule: DepthRule) -> list[RuleRun]:
    """What is begun today under that rule, whichever of those that ship have begun meanwhile."""
    return [run for run in begin_due_reassessments(timezone.localdate()) if run.rule == rule]


def walk(run: RuleRun) -> RuleRun:
    while move_on(run.pk):
        pass
    run.refresh_from_db()
    return run


def some_of_each() -> list[Scene]:
    """Lofts that are deep, in between, short, without photos, measured in part, and bare."""
    scenes = [fitted(DEEP), fitted(BETWEEN), fitted(SHORT_DEPTHS), bare()]
    measured = bare()
    measure(measured, DEEP)
    half = fitted(BETWEEN)
    return [judged(scene) for scene in [*scenes, measured, half]]


@pytest.mark.parametrize("photos_at_points", [False, True])
@pytest.mark.parametrize("depth_mm", [200.0, 270.0, 288.0, 400.0])
def test_many_at_once_get_the_verdicts_of_one_by_one(depth_mm: float, photos_at_points: bool):
    evidence = [gather_evidence(scene.job) for scene in some_of_each()]
    evidence += [
        replace(evidence[0], readings=evidence[0].readings[:2]),
        replace(evidence[0], readings=[]),
        replace(evidence[0], stray_readings=1),
        replace(evidence[0], handover=None),
        replace(evidence[0], loft=None),
    ]
    asked = asked_by(rule_from(90, depth_mm, photos_at_points=photos_at_points))

    together = verdicts_under(asked, evidence)

    assert together == [judge_evidence(asked.of(one)).verdict for one in evidence]
    assert len(set(together)) > 1


def test_a_preview_says_what_would_change_and_changes_nothing():
    deep, between, short = (judged(fitted(d)) for d in (DEEP, BETWEEN, SHORT_DEPTHS))
    rule = rule_from(90)
    before = {s.job.pk: latest_assessment(s.job) for s in (deep, between, short)}

    run = walk(begin_preview(rule, admin()))

    changed = run.jobs.changed().values_list("job_id", "before", "after")
    assert list(changed) == [(between.job.pk, "meets", "short")]
    assert (run.done, run.total, run.percent) == (3, 3, 100)
    assert {s.job.pk: latest_assessment(s.job) for s in (deep, between, short)} == before


def test_it_goes_in_pieces_and_is_taken_up_where_it_stopped(monkeypatch: Any):
    scenes = [judged(fitted(BETWEEN)) for _ in range(5)]
    monkeypatch.setattr(rule_runs, "PREVIEW_PIECE", 2)
    run = begin_preview(rule_from(90), admin())
    assert move_on(run.pk)

    def killed(*_: Any) -> Any:
        raise RuntimeError("killed")

    with monkeypatch.context() as broken:
        broken.setattr(rule_runs, "previewed", killed)
        with pytest.raises(RuntimeError):
            move_on(run.pk)
    run.refresh_from_db()
    assert (run.done, run.ended_at) == (2, None)

    walk(run)
    assert not move_on(run.pk)
    assert run.jobs.count() == len(scenes)
    run.refresh_from_db()
    assert run.done == 5


def test_a_run_that_lost_its_task_is_taken_up_by_the_beat():
    judged(fitted(BETWEEN))
    run = begin_preview(rule_from(90), admin())
    RuleRun.objects.filter(pk=run.pk).update(moved_at=timezone.now() - timedelta(minutes=9))

    tasks.look_after_rules()

    run.refresh_from_db()
    assert run.ended_at is not None


def test_one_preview_at_a_time_and_the_next_replaces_it():
    judged(fitted())
    rule = rule_from(90)
    first = begin_preview(rule, admin())
    with pytest.raises(Conflict, match="under way"), transaction.atomic():
        begin_preview(rule, admin())
    walk(first)

    second = walk(begin_preview(rule, admin()))

    assert list(RuleRun.objects.filter(rule=rule)) == [second]


def seen_preview(rule: DepthRule) -> tuple[RuleRun, Any]:
    """A preview that was worked out half an hour ago, and the admin who read it."""
    person = admin()
    run = walk(begin_preview(rule, person))
    earlier = timezone.now() - timedelta(minutes=30)
    RuleRun.objects.filter(pk=run.pk).update(begun_at=earlier, ended_at=earlier)
    run.refresh_from_db()
    note_preview_seen(run, person)
    return run, person


def test_what_was_judged_since_and_changes_nothing_lets_the_approval_stand():
    judged(fitted(BETWEEN))
    rule = rule_from(90)
    run, person = seen_preview(rule)
    judged(fitted(DEEP))

    assert (changed_since(run).otherwise, changed_since(run).holds) == (0, True)
    assert approve_rule(rule, person).approved_by == person


def test_nobody_approves_on_numbers_that_hold_no_more(monkeypatch: Any):
    first, second = (judged(fitted(BETWEEN)) for _ in range(2))
    rule = rule_from(90)
    run, person = seen_preview(rule)
    judged(fitted(BETWEEN))

    with pytest.raises(Conflict, match="no longer what you saw"):
        approve_rule(rule, person)
    run, person = seen_preview(rule)
    for scene in (first, second):
        move_job(scene.job, Stage.CERTIFIED)
    assert (changed_since(run).otherwise, changed_since(run).holds) == (2, False)

    monkeypatch.setattr(rule_approval, "MOST_JUDGED_SINCE", 0)
    assert changed_since(run).too_many
    rule.refresh_from_db()
    assert rule.approved_at is None


def begun_rule(**fields: Any) -> DepthRule:
    """A rule that was approved in time and holds from today."""
    long_ago = timezone.now() - timedelta(days=9)
    return rule_from(0, approved_by=admin(), approved_at=long_ago, **fields)


def handed_over(at: datetime) -> Scene:
    scene = bare()
    measure(scene, BETWEEN)
    HandoverFactory(visit=scene.visit, taken_by=scene.installer, signed_at=at)
    return scene


def test_once_it_holds_lofts_not_handed_over_are_judged_by_it():
    open_still = bare()
    measure(open_still, BETWEEN)
    now = timezone.now()
    finished, earlier = handed_over(now), handed_over(now - timedelta(days=1))
    for scene in (open_still, finished, earlier):
        judged(scene)
    rule = begun_rule()
    (run,) = due_under(rule)
    walk(run)

    assert latest_assessment(open_still.job).rule == rule
    assert latest_assessment(finished.job).rule == rule
    assert latest_assessment(earlier.job).rule != rule
    assert rerun_agrees(latest_assessment(open_still.job))


def test_a_rule_is_looked_after_once_and_not_before_its_day():
    judged(bare())
    coming = rule_from(5, approved_by=admin(), approved_at=timezone.now())
    assert due_under(coming) == []
    begun = begun_rule()

    assert len(due_under(begun)) == 1
    assert due_under(begun) == due_under(coming) == []


@pytest.mark.django_db(transaction=True)
def test_two_workers_do_not_take_the_same_piece():
    judged(fitted())
    run = begin_preview(rule_from(90), admin())
    answers: list[bool] = []

    def other() -> None:
        try:
            answers.append(move_on(run.pk))
        finally:
            connections.close_all()

    with transaction.atomic():
        RuleRun.objects.select_for_update().get(pk=run.pk)
        thread = threading.Thread(target=other)
        thread.start()
        thread.join(20)

    assert answers == [False]
    assert not RuleRunJob.objects.exists()
    assert connection.in_atomic_block is False


def test_photos_at_every_point_are_asked_for_by_name():
    scene = fitted(DEEP)
    rule = begun_rule(depth_mm=300, photos_at_points=True)
    asked = asked_by(rule)
    evidence = replace(gather_evidence(scene.job), photos=[])

    judgement = judge_evidence(asked.of(evidence))

    said = next(s for s in judgement.missing if s.startswith("A photo taken before the work is"))
    assert "P1" in said and "P2" in said
    assert judgement.verdict == "unproven"


def test_photos_at_every_point_suffice():
    scene = fitted(DEEP)
    evidence = gather_evidence(scene.job)
    for point in photo_points(loft_from_dict(evidence.loft)):
        for moment in ("before", "after"):
            PhotoFactory(visit=scene.visit, moment=moment, point_label=point.label)
    begun_rule(photos_at_points=True)
    asked = asked_by(DepthRule.objects.get(photos_at_points=True))
    photos = [
        {"id": p.pk, "moment": p.moment, "sha256": p.sha256, "point": p.point_label}
        for p in scene.job.photos.all()  # type: ignore[attr-defined]
    ]

    assert judge_evidence(asked.of(replace(evidence, photos=photos))).verdict == "meets"


def test_evidence_of_older_rules_keeps_its_hash():
    """A requirement that a rule does not make leaves no trace in what is hashed."""
    evidence = gather_evidence(fitted().job)

    assert "photos_at_points" not in evidence.to_dict()
    assert Evidence.from_dict(evidence.to_dict()).sha256 == evidence.sha256


def test_other_companies_are_told_as_numbers_alone():
    mine, other = judged(fitted(BETWEEN)), judged(fitted(BETWEEN))
    rule = rule_from(90)
    walk(begin_preview(rule, admin()))

    told = effects_of(rule, mine.person("compliance_officer"))
    told_admin = effects_of(rule, admin())

    assert {(c.company, c.jobs) for c in told.by_company} == {
        (mine.company.name, 1),
        (OTHERS, 1),
    }
    assert {c.company for c in told_admin.by_company} == {mine.company.name, other.company.name}


def test_the_page_works_it_out_and_lists_ones_own(
    client: Client, django_capture_on_commit_callbacks: Any
):
    mine, other = judged(fitted(BETWEEN)), judged(fitted(BETWEEN))
    rule = rule_from(90, proposed_by=admin())
    client.force_login(mine.person("compliance_officer"))

    with django_capture_on_commit_callbacks(execute=True):
        client.post(f"/proof/rules/{rule.pk}/preview/")
    page = client.get(f"/proof/rules/{rule.pk}/").content.decode()

    assert mine.job.reference in page
    assert other.job.reference not in page
    assert "Other companies" in page
    assert 'href="#approve"' in page
    judged(fitted(BETWEEN))
    page = client.get(f"/proof/rules/{rule.pk}/").content.decode()
    assert "Have it worked out again, and read it anew." in page
    assert 'href="#approve"' not in page


def test_what_was_worked_out_before_approval_is_not_told_as_done(client: Client):
    mine = judged(fitted(BETWEEN))
    rule = rule_from(90, proposed_by=admin())
    _, person = seen_preview(rule)
    approve_rule(rule, person)
    client.force_login(mine.person("compliance_officer"))

    page = client.get(f"/proof/rules/{rule.pk}/").content.decode()

    assert "What it would change" in page
    assert "What it changed" not in page


def test_the_api_tells_the_same(client: Client, django_capture_on_commit_callbacks: Any):
    mine = judged(fitted(BETWEEN))
    rule = rule_from(90)
    client.force_login(mine.person("compliance_officer"))
    address = f"/api/v1/depth-rules/{rule.pk}/preview/"

    with django_capture_on_commit_callbacks(execute=True):
        assert client.post(address).status_code == 202
    told = client.get(address).json()

    assert told["changing"] == told["looked_at"] == 1
    assert told["by_company"] == [
        {"company": mine.company.name, "before": "meets", "after": "short", "jobs": 1}
    ]
