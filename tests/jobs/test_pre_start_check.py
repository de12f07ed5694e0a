"""The pre-start check lets the crew begin, holds it until something is mended, or stops it."""

from __future__ import annotations

from uuid import uuid4

import pytest

from jobs.announce import evidence_changed
from jobs.errors import Conflict, Refused
from jobs.evidence.checks import record_pre_start_check
from jobs.evidence.questions import QUESTIONS, question_of, weigh
from jobs.evidence.stopping import stop_work
from jobs.models import Job, PreStartCheck
from tests.jobs.on_site_scene import ALL_SAFE, ARRIVED, Scene, booked_scene, scene_on_site

pytestmark = pytest.mark.django_db


def check(scene: Scene, note: str = "", key=None, **answers: str) -> PreStartCheck:
    return record_pre_start_check(
        scene.visit, {**ALL_SAFE, **answers}, scene.installer, ARRIVED, note, key
    )


def refreshed(scene: Scene) -> tuple[str, str]:
    scene.visit.refresh_from_db()
    scene.job.refresh_from_db()
    return scene.visit.status, scene.job.stage


def test_safe_answers_put_visit_and_job_on_site():
    scene = booked_scene()

    stored = check(scene)

    assert stored.safe_to_start
    assert refreshed(scene) == ("on_site", "on_site")
    assert scene.visit.arrived_at == ARRIVED


def test_downlights_and_cables_need_not_be_there():
    scene = booked_scene()

    assert check(scene, downlights="n-a", cables="n-a").safe_to_start


@pytest.mark.parametrize("code", [q.code for q in QUESTIONS if q.stops_work])
def test_a_hazard_stops_the_work_and_sends_the_job_back_to_be_planned(code):
    scene = booked_scene()

    stored = check(scene, "seen at the chimney", **{code: "yes"})

    assert not stored.safe_to_start
    assert refreshed(scene) == ("stopped", "to_plan")
    assert question_of(code).short in scene.visit.stop_reason
    assert "seen at the chimney" in scene.visit.stop_reason
    assert question_of(code).call


@pytest.mark.parametrize("code", [q.code for q in QUESTIONS if not q.stops_work])
def test_what_can_be_mended_holds_the_work_until_the_next_check(code):
    scene = booked_scene()

    first = check(scene, **{code: "no"})
    assert refreshed(scene) == ("booked", "booked")
    second = check(scene)

    assert refreshed(scene) == ("on_site", "on_site")
    assert second.replaces == first
    assert list(scene.visit.pre_start_checks.current()) == [second]


def test_the_same_check_sent_twice_is_stored_once():
    scene, key = booked_scene(), uuid4()

    assert check(scene, key=key) == check(scene, key=key)
    assert PreStartCheck.objects.count() == 1


def test_a_key_of_another_visit_is_refused():
    key = uuid4()
    check(booked_scene(), key=key)

    with pytest.raises(Conflict, match="another visit"):
        check(booked_scene(), key=key)


@pytest.mark.parametrize(
    ("answers", "field", "why"),
    [
        ({**ALL_SAFE, "ppe": None}, "answers.ppe", "left open"),
        ({**ALL_SAFE, "ppe": "n-a"}, "answers.ppe", "protective equipment always applies"),
        ({**ALL_SAFE, "asbestos": "maybe"}, "answers.asbestos", "no such word"),
        ({**ALL_SAFE, "asbestos": ["no"]}, "answers.asbestos", "not a word at all"),
        ({**ALL_SAFE, "wasps": "no"}, "answers.wasps", "no such question"),
        ({}, "answers.ppe", "nothing answered"),
    ],
)
def test_answers_that_cannot_be_are_refused_by_name(answers, field, why):
    with pytest.raises(Refused) as refusal:
        weigh(answers)

    assert refusal.value.field == field, why
    assert refusal.value.remedy


def test_nothing_is_stored_when_an_answer_is_refused():
    scene = booked_scene()

    with pytest.raises(Refused):
        check(scene, ppe="perhaps")

    assert not PreStartCheck.objects.exists()
    assert refreshed(scene) == ("booked", "booked")


def test_the_installer_stops_work_with_a_reason():
    scene = scene_on_site()

    stop_work(scene.visit, " wasps' nest ", scene.installer, ARRIVED)

    assert refreshed(scene) == ("stopped", "to_plan")
    assert (scene.visit.stop_reason, scene.visit.left_at) == ("wasps' nest", ARRIVED)


def test_stopping_twice_does_nothing_more():
    scene = scene_on_site()
    stop_work(scene.visit, "wasps", scene.installer, ARRIVED)

    stop_work(scene.visit, "other words", scene.installer, ARRIVED)

    assert refreshed(scene) == ("stopped", "to_plan")
    assert scene.visit.stop_reason == "wasps"


def test_stopping_needs_a_reason():
    with pytest.raises(Refused, match="Say why") as refusal:
        stop_work(scene_on_site().visit, "  ", None, ARRIVED)

    assert refusal.value.field == "stop_reason"


def test_a_stopped_call_back_leaves_the_job_as_short_as_it_was():
    scene = scene_on_site(kind="call_back")

    stop_work(scene.visit, "wasps", scene.installer, ARRIVED)

    assert refreshed(scene) == ("stopped", "short")


def test_a_call_back_booked_from_an_unproven_job_goes_back_to_be_assessed():
    scene = booked_scene(kind="call_back")
    for stage in ("to_plan", "booked", "on_site", "to_assess", "booked", "on_site"):
        Job.objects.filter(pk=scene.job.pk).update(stage=stage)

    stop_work(scene.visit, "wasps", scene.installer, ARRIVED)

    assert refreshed(scene) == ("stopped", "to_assess")


def test_a_stopped_visit_takes_no_further_check():
    scene = booked_scene()
    check(scene, asbestos="yes")

    with pytest.raises(Conflict, match="stopped"):
        check(scene)


def test_a_survey_visit_takes_no_check():
    with pytest.raises(Conflict, match="nothing is laid"):
        check(booked_scene(kind="survey"))


def test_a_check_is_announced(monkeypatch):
    heard: list[Job] = []

    def listener(sender, job, **kwargs):
        heard.append(job)

    evidence_changed.connect(listener)
    scene = booked_scene()
    check(scene)
    evidence_changed.disconnect(listener)

    assert heard == [scene.job]
