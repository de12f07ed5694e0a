"""The steps of the laying are recorded, not guessed from a photo."""

from __future__ import annotations

from uuid import uuid4

import pytest
from django.urls import reverse
from django.utils import timezone

from jobs.errors import Conflict, Refused
from jobs.evidence.order_of_work import order_of_work
from jobs.evidence.phone_told import Told
from jobs.evidence.site_record import site_record_of
from jobs.evidence.work_points import POINTS, points_of
from jobs.evidence.work_steps import StepDone, record_work_step
from jobs.models import WorkStep
from jobs.surveying.quantities import make_layer_plan
from jobs.surveying.step_sheets import PARTS, step_sheet
from tests.factories import ArrivalFactory, PreStartCheckFactory
from tests.jobs.on_site_scene import ALL_SAFE, Scene, booked_scene, scene_on_site, step_done, stored
from tests.pictures import loft_jpeg

pytestmark = pytest.mark.django_db
STEPS = WorkStep.Kind.values


def in_order(step: str) -> dict[str, str]:
    return {point.code: "yes" for point in points_of(step)}


def record(scene: Scene, step: str = "eaves", told: Told | None = None, **fields) -> WorkStep:
    went = StepDone(**{"step": step, "outcome": "done", "answers": in_order(step), **fields})
    return record_work_step(scene.visit, went, scene.installer, told or Told(timezone.now()))


def state_of(scene: Scene, key: str) -> tuple[str, str]:
    steps = order_of_work(site_record_of(scene.visit)).steps
    return next((step.state, step.detail) for step in steps if step.key == key)


def test_every_step_of_the_trade_has_points_to_look_at():
    assert {point.step for point in POINTS} == set(STEPS) == set(PARTS)


@pytest.mark.parametrize("step", STEPS)
def test_a_step_done_is_done(step):
    scene = scene_on_site()
    ArrivalFactory(visit=scene.visit)

    record(scene, step)

    assert state_of(scene, step) == ("done", "recorded")


def test_an_after_photo_no_longer_stands_for_the_laying():
    scene = scene_on_site()
    ArrivalFactory(visit=scene.visit)
    stored(scene, loft_jpeg(1, moment="after"), moment="after")

    assert state_of(scene, "first_layer") == ("open", "not recorded")


def test_a_visit_of_the_time_before_counts_as_laid_by_its_photos():
    scene = scene_on_site()
    PreStartCheckFactory(visit=scene.visit, answers=ALL_SAFE)
    stored(scene, loft_jpeg(1, moment="after"), moment="after")

    assert state_of(scene, "first_layer") == ("done", "laid, not recorded step by step")
    assert state_of(scene, "arrival")[0] == "done"


def test_a_step_left_undone_holds_nothing_up_and_stays_missing():
    scene = scene_on_site()
    ArrivalFactory(visit=scene.visit)
    record(scene, "eaves", outcome="not_done", answers={}, note="bird's nest, come back in spring")

    work = order_of_work(site_record_of(scene.visit))

    assert state_of(scene, "eaves")[0] == "left"
    assert work.next is not None and work.next.key != "eaves"
    assert any("come back in spring" in words for words in work.missing)


def test_a_second_record_of_a_step_replaces_the_first():
    scene = scene_on_site()
    first = record(scene, note="trays short")

    second = record(scene)

    assert second.replaces == first
    assert list(scene.visit.work_steps.current()) == [second]


def test_the_same_step_sent_twice_is_stored_once():
    scene, told = scene_on_site(), Told(timezone.now(), client_key=uuid4())

    assert record(scene, told=told) == record(scene, told=told)
    assert WorkStep.objects.count() == 1


@pytest.mark.parametrize(
    ("fields", "field", "why"),
    [
        ({"step": "attic", "answers": {}}, "step", "no such step"),
        ({"outcome": "fine"}, "outcome", "no such outcome"),
        ({"answers": {}}, "answers.trays", "done with a point left open"),
        ({"answers": {**in_order("eaves"), "wasps": "no"}}, "answers.wasps", "no such point"),
        ({"answers": {**in_order("eaves"), "trays": "maybe"}}, "answers.trays", "no such word"),
        ({"answers": {**in_order("eaves"), "air_gap": "n-a"}}, "answers.air_gap", "always asked"),
        ({"answers": {**in_order("eaves"), "air_gap": "no"}}, "note", "a no without its reason"),
        ({"outcome": "not_done", "answers": {}}, "note", "left undone without its reason"),
    ],
)
def test_a_step_that_cannot_be_is_refused_by_name(fields, field, why):
    with pytest.raises(Refused) as refusal:
        record(scene_on_site(), **fields)

    assert refusal.value.field == field, why
    assert refusal.value.remedy
    assert not WorkStep.objects.exists()


def test_nothing_is_laid_before_the_check():
    with pytest.raises(Conflict, match="booked"):
        record(booked_scene())


def test_each_strip_of_the_plan_is_laid_at_exactly_one_step():
    scene = scene_on_site()
    plan = make_layer_plan(scene.job, seconds=0.1)

    numbers = [
        strip.number
        for step in STEPS
        for layer in step_sheet(plan, step).layers
        for strip in layer.strips
    ]

    assert sorted(numbers) == sorted(strip["number"] for strip in plan.quantities["strips"])


def test_the_page_shows_the_steps_own_drawing_and_stores_it(client):
    scene = scene_on_site()
    make_layer_plan(scene.job, seconds=0.1)
    client.force_login(scene.installer)
    address = reverse("on_site_step", args=[scene.visit.pk, "cross_layers"])

    html = client.get(address).content.decode()
    answer = client.post(address, step_done("cross_layers"))

    assert "Cut list of this step" in html and "<svg" in html
    assert answer.status_code == 302
    assert scene.visit.work_steps.get().step == "cross_layers"


def test_a_no_without_a_note_is_asked_back_on_the_page(client):
    scene = scene_on_site()
    client.force_login(scene.installer)
    address = reverse("on_site_step", args=[scene.visit.pk, "eaves"])

    answer = client.post(address, step_done("eaves", air_gap="no"))

    assert answer.status_code == 422
    assert "is answered no" in answer.content.decode()
    assert client.get(reverse("on_site_step", args=[scene.visit.pk, "attic"])).status_code == 404
