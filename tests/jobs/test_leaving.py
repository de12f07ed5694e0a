"""Leaving: the loft shut, nothing left behind; for good, for another day, or stopped."""

from __future__ import annotations

from uuid import uuid4

import pytest
from django.urls import reverse
from django.utils import timezone

from jobs.errors import Conflict, Refused
from jobs.evidence.leaving import HowLeft, record_leave
from jobs.evidence.phone_told import Told
from jobs.models import Leave
from tests.factories import HandoverFactory, VisitFactory
from tests.jobs.on_site_scene import ALL_CLEAR, Scene, booked_scene, scene_on_site

pytestmark = pytest.mark.django_db


def leave(scene: Scene, how: HowLeft | None = None, told: Told | None = None) -> Leave:
    return record_leave(
        scene.visit, how or HowLeft(True, True), scene.installer, told or Told(timezone.now())
    )


def test_leaving_after_the_handover_ends_nothing_more():
    scene = booked_scene(status="done")
    HandoverFactory(visit=scene.visit)

    left = leave(scene)

    scene.visit.refresh_from_db()
    assert (left.because, scene.visit.status) == ("handed_over", "done")
    assert scene.visit.left_at == left.corrected_at


def test_leaving_for_another_day_ends_the_visit():
    scene = scene_on_site()
    VisitFactory(job=scene.job)

    left = leave(scene)

    scene.visit.refresh_from_db()
    assert left.because == "another_day"
    assert (scene.visit.status, scene.visit.left_at) == ("done", left.corrected_at)


def test_the_same_leaving_sent_twice_is_stored_once():
    scene, told = scene_on_site(), Told(timezone.now(), client_key=uuid4())
    VisitFactory(job=scene.job)

    assert leave(scene, told=told) == leave(scene, told=told)
    assert Leave.objects.count() == 1


@pytest.mark.parametrize("how", [HowLeft(False, True), HowLeft(True, False)])
def test_what_is_left_open_or_behind_needs_its_reason(how):
    with pytest.raises(Refused) as refusal:
        leave(booked_scene(status="done"), how)

    assert refusal.value.field == "note"


def test_nobody_leaves_where_nobody_began():
    with pytest.raises(Conflict, match="booked"):
        leave(booked_scene())


def test_the_page_says_when_nothing_is_handed_over(client):
    scene = scene_on_site()
    client.force_login(scene.installer)
    address = reverse("on_site_leave", args=[scene.visit.pk])

    assert "Nothing is handed over yet" in client.get(address).content.decode()
    answer = client.post(address, {**ALL_CLEAR, "client_key": uuid4()})

    assert answer.status_code == 422
    assert "No further visit is booked" in answer.content.decode()
