"""Arriving: who came, who let them in, whether the loft is empty and safe."""

from __future__ import annotations

from uuid import uuid4

import pytest
from django.db import IntegrityError, connection, transaction
from django.urls import reverse
from django.utils import timezone

from jobs.errors import Conflict, Refused
from jobs.evidence.arrival import WhoCame, record_arrival
from jobs.evidence.phone_told import Position, Told
from jobs.models import Arrival
from tests.factories import OperativeFactory
from tests.jobs.on_site_scene import Scene, arrived, booked_scene

pytestmark = pytest.mark.django_db
HERE = Position(True, 52.61, -1.13, 12.0)


def came(scene: Scene, **fields) -> WhoCame:
    crew = list(scene.visit.crew.operatives.values_list("pk", flat=True))
    return WhoCame(**{"operative_ids": crew, "let_in_by": "a son", "loft_ready": True, **fields})


def arrive(scene: Scene, told: Told | None = None, position=HERE, **fields) -> Arrival:
    told = told or Told(timezone.now())
    return record_arrival(scene.visit, came(scene, **fields), scene.installer, told, position)


def test_an_arrival_says_who_came_and_sets_the_visits_time():
    scene = booked_scene()

    arrival = arrive(scene)

    scene.visit.refresh_from_db()
    assert scene.visit.arrived_at == arrival.corrected_at
    assert scene.visit.status == "booked", "the check lets the work begin, not the arrival"
    assert len(arrival.operative_ids) == 1


def test_a_loft_that_is_cleared_later_is_told_by_a_second_arrival():
    scene = booked_scene()
    first = arrive(scene, loft_ready=False, note="boxes up there")

    second = arrive(scene)

    assert second.replaces == first
    assert scene.visit.arrivals.current().get() == second


def test_the_same_arrival_sent_twice_is_stored_once():
    scene, told = booked_scene(), Told(timezone.now(), client_key=uuid4())

    assert arrive(scene, told) == arrive(scene, told)
    assert Arrival.objects.count() == 1


def test_the_position_is_kept_only_with_consent():
    with_consent, without = (
        arrive(booked_scene()),
        arrive(booked_scene(), position=Position(False, 52.61, -1.13, 12.0)),
    )

    assert (with_consent.latitude_deg, with_consent.position_accuracy_m) == (52.61, 12.0)
    assert (without.latitude_deg, without.has_position) == (None, False)


def test_the_database_refuses_a_position_nobody_agreed_to():
    arrive(booked_scene(), position=Position())

    with (
        pytest.raises(IntegrityError, match="arrival_position_whole_and_agreed"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(
            "INSERT INTO jobs_arrival (visit_id, operative_ids, let_in_by, loft_ready, note, "
            "arrived_at, recorded_by_id, received_at, client_key, salt, words_hashed, "
            "position_agreed, latitude_deg, longitude_deg) "
            "SELECT visit_id, operative_ids, let_in_by, true, '', "
            "arrived_at, recorded_by_id, received_at, gen_random_uuid(), gen_random_uuid(), "
            "true, false, 52, 1 FROM jobs_arrival"
        )


@pytest.mark.parametrize(
    ("fields", "field", "why"),
    [
        ({"operative_ids": []}, "operative_ids", "nobody came"),
        ({"operative_ids": [10**9]}, "operative_ids", "a stranger came"),
        ({"let_in_by": "  "}, "let_in_by", "nobody opened"),
        ({"let_in_by": "x" * 121}, "let_in_by", "too long"),
        ({"loft_ready": False}, "note", "not ready without saying why"),
        ({"note": "x" * 301}, "note", "a novel"),
    ],
)
def test_what_is_missing_is_named_and_nothing_is_stored(fields, field, why):
    with pytest.raises(Refused) as refusal:
        arrive(booked_scene(), **fields)

    assert refusal.value.field == field, why
    assert not Arrival.objects.exists()


def test_another_crews_operative_did_not_come():
    scene = booked_scene()
    other = OperativeFactory(company=scene.job.company)

    with pytest.raises(Refused, match="not of this crew"):
        arrive(scene, operative_ids=[other.pk])


@pytest.mark.parametrize("fields", [{"status": "done"}, {"kind": "survey"}])
def test_nobody_arrives_at_a_visit_that_is_over_or_lays_nothing(fields):
    with pytest.raises(Conflict):
        arrive(booked_scene(**fields))


def test_the_page_stores_the_arrival_and_the_check_does_not_ask_again(client):
    scene = booked_scene()
    client.force_login(scene.installer)

    answer = client.post(reverse("on_site_arrival", args=[scene.visit.pk]), arrived(scene))

    assert answer.status_code == 302
    check = client.get(reverse("on_site_check", args=[scene.visit.pk])).content.decode()
    assert 'name="loft_empty" value="yes" id="id_loft_empty_0" checked' in check


def test_the_page_names_what_is_missing(client):
    scene = booked_scene()
    client.force_login(scene.installer)

    sent = arrived(scene, loft_ready="no")
    answer = client.post(reverse("on_site_arrival", args=[scene.visit.pk]), sent)

    assert answer.status_code == 422
    assert "Say what keeps the loft from being ready." in answer.content.decode()
