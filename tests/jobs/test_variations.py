"""Variations: told with their reason, seen by the office and by whoever judges the loft."""

from __future__ import annotations

from uuid import uuid4

import pytest
from django.urls import reverse
from django.utils import timezone

from jobs.errors import Refused
from jobs.evidence.phone_told import Told
from jobs.evidence.variations import Differs, record_variation
from jobs.models import Variation
from jobs.pages.registry import attention_for
from tests.factories import UserFactory
from tests.jobs.on_site_scene import Scene, scene_on_site, stored
from tests.pictures import loft_jpeg

pytestmark = pytest.mark.django_db


def vary(scene: Scene, told: Told | None = None, **fields) -> Variation:
    differs = {"kind": "deck_found", "meaning": "less_depth", "reason": "boards under carpet"}
    return record_variation(
        scene.visit, Differs(**{**differs, **fields}), scene.installer, told or Told(timezone.now())
    )


def told_to(user) -> list[str]:
    return [item.url for item in attention_for(user) if "other than planned" in item.sentence]


def test_a_variation_is_kept_with_its_place_and_reaches_the_office():
    scene = scene_on_site()

    variation = vary(scene, area=scene.area.name, depth_mm=150)

    assert (variation.area, variation.depth_mm) == (scene.area, 150)
    for role in ("planner", "compliance_officer"):
        person = UserFactory(role=role, company=scene.job.company)
        assert told_to(person) == [reverse("job", args=[scene.job.pk])]
    assert told_to(UserFactory()) == []


def test_a_photo_may_arrive_after_the_variation_that_names_it():
    scene, key = scene_on_site(), uuid4()
    vary(scene, photo_key=key)
    assert Variation.objects.with_photo().get().photo_pk is None

    photo = stored(scene, loft_jpeg(2), moment="other", point_label="", client_key=key)

    assert Variation.objects.with_photo().get().photo_pk == photo.pk


def test_a_photo_of_another_job_is_not_named():
    photo = stored(scene_on_site(), loft_jpeg(2))
    vary(scene_on_site(), photo_key=photo.client_key)

    assert Variation.objects.with_photo().get().photo_pk is None


def test_a_variation_told_wrongly_is_replaced():
    scene = scene_on_site()
    first = vary(scene)

    second = vary(scene, reason="boards, and a pipe", replaces=first.pk)

    assert list(Variation.objects.current()) == [second]
    with pytest.raises(Refused, match="corrected before"):
        vary(scene, replaces=first.pk)


def test_the_same_variation_sent_twice_is_stored_once():
    scene, told = scene_on_site(), Told(timezone.now(), client_key=uuid4())

    assert vary(scene, told) == vary(scene, told)
    assert Variation.objects.count() == 1


@pytest.mark.parametrize(
    ("fields", "field", "why"),
    [
        ({"kind": "ghost"}, "kind", "no such kind"),
        ({"meaning": "nothing"}, "meaning", "no such meaning"),
        ({"reason": " "}, "reason", "no reason"),
        ({"reason": "x" * 301}, "reason", "a novel"),
        ({"area": "Cellar"}, "area", "no such area"),
        ({"depth_mm": -1}, "depth_mm", "beneath the ceiling"),
        ({"depth_mm": 1501}, "depth_mm", "above the ridge"),
        ({"kind": "depth_reduced"}, "depth_mm", "thinner, but how thin"),
        ({"replaces": 10**9}, "replaces", "nothing to replace"),
    ],
)
def test_a_variation_that_cannot_be_is_refused_by_name(fields, field, why):
    with pytest.raises(Refused) as refusal:
        vary(scene_on_site(), **fields)

    assert refusal.value.field == field, why
    assert refusal.value.remedy


def test_the_page_stores_it_and_lists_it(client):
    scene = scene_on_site()
    client.force_login(scene.installer)
    address = reverse("on_site_variations", args=[scene.visit.pk])

    sent = {"kind": "other_roll", "meaning": "same_depth", "reason": "150 for 170", "area": ""}
    answer = client.post(address, {**sent, "client_key": uuid4()})

    assert answer.status_code == 302
    assert "150 for 170" in client.get(address).content.decode()


def test_the_jobs_page_and_its_filter_show_it(client):
    scene = scene_on_site()
    vary(scene)
    client.force_login(UserFactory(company=scene.job.company))

    page = client.get(reverse("job", args=[scene.job.pk])).content.decode()
    listed = client.get(reverse("job_list"), {"only": "varied"}).content.decode()

    assert "Other than planned" in page and "boards under carpet" in page
    assert scene.job.reference in listed
