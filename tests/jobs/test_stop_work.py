"""Stopped work freezes the visit, in the database too, and tells the office."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.core import mail
from django.db import IntegrityError, connection, transaction
from django.urls import reverse
from django.utils import timezone

from jobs.errors import Conflict, Refused
from jobs.evidence.checks import record_pre_start_check
from jobs.evidence.leaving import HowLeft, record_leave
from jobs.evidence.phone_told import Told
from jobs.evidence.readings import ReadingRow, record_readings
from jobs.evidence.stopping import hazards, stop_work, tell_office, untold_stop_ids
from jobs.evidence.variations import Differs, record_variation
from jobs.models import Leave, Photo, StopNotice, StopWork
from tests.factories import (
    ArrivalFactory,
    DepthReadingFactory,
    HandoverFactory,
    PhotoFactory,
    PreStartCheckFactory,
    UserFactory,
    VariationFactory,
    WorkStepFactory,
)
from tests.jobs.on_site_scene import ALL_SAFE, Scene, booked_scene, scene_on_site, stored
from tests.pictures import loft_jpeg

pytestmark = pytest.mark.django_db

STOPPED = timezone.now() - timedelta(minutes=10)
EARLIER, LATER = STOPPED - timedelta(minutes=5), STOPPED + timedelta(minutes=5)


def stopped_scene(**fields: Any) -> Scene:
    scene = scene_on_site()
    stop_work(scene.visit, "wasps' nest", scene.installer, STOPPED, **fields)
    scene.visit.refresh_from_db()
    return scene


def test_stopping_is_a_fact_with_what_was_found_and_whom_to_call():
    scene = stopped_scene(found=["damaged_wiring", "asbestos"])

    stop = scene.visit.stop_work

    assert stop.found == ["asbestos", "damaged_wiring"]
    assert "licensed asbestos contractor" in stop.to_call
    assert "electrician" in stop.to_call


def test_a_hazard_of_the_check_is_found_by_name():
    scene = booked_scene()

    record_pre_start_check(
        scene.visit, {**ALL_SAFE, "bats_or_birds": "yes"}, scene.installer, STOPPED, "at the ridge"
    )

    stop = StopWork.objects.get()
    assert stop.found == ["bats_or_birds"]
    assert "at the ridge" in stop.reason
    assert "nature conservation body" in stop.to_call


def test_what_is_said_when_stopping_again_is_kept_once():
    scene = scene_on_site()
    first = stop_work(scene.visit, "Wasps at the hatch", scene.installer, timezone.now())
    again = uuid4()

    for _ in range(2):
        stop = stop_work(
            scene.visit, "A scorched box too", scene.installer, timezone.now(), client_key=again
        )

    scene.visit.refresh_from_db()
    assert stop == first and StopWork.objects.count() == 1
    assert scene.visit.note.count("A scorched box too") == 1


def test_a_hazard_nobody_knows_is_refused():
    scene = scene_on_site()

    with pytest.raises(Refused, match="no hazard"):
        stop_work(scene.visit, "help", scene.installer, STOPPED, ["dragons"])


RECORDS = (
    (PreStartCheckFactory, "checked_at"),
    (ArrivalFactory, "arrived_at"),
    (WorkStepFactory, "done_at"),
    (VariationFactory, "found_at"),
    (HandoverFactory, "signed_at"),
)


@pytest.mark.parametrize(("factory", "field"), RECORDS)
def test_the_database_refuses_what_was_recorded_after_the_stop(factory, field):
    scene = stopped_scene()

    with pytest.raises(IntegrityError, match="Work on this visit was stopped"):
        factory(visit=scene.visit, **{field: LATER})


@pytest.mark.parametrize(("factory", "field"), RECORDS)
def test_what_was_recorded_before_the_stop_and_sent_after_it_is_not_lost(factory, field):
    scene = stopped_scene()

    assert factory(visit=scene.visit, **{field: EARLIER}).pk


def test_a_fast_clock_does_not_make_an_earlier_record_a_later_one():
    scene = stopped_scene()
    ahead = timedelta(minutes=20)

    reading = DepthReadingFactory(
        visit=scene.visit,
        area=scene.area,
        measured_at=EARLIER + ahead,
        phone_sent_at=timezone.now() + ahead,
        phone_ahead=ahead,
    )

    assert reading.pk


def test_raw_sql_gets_no_reading_onto_a_stopped_visit_either():
    scene = stopped_scene()
    DepthReadingFactory(visit=scene.visit, area=scene.area, measured_at=EARLIER)

    with pytest.raises(IntegrityError, match="stopped"), connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO jobs_depthreading (visit_id, area_id, x_mm, y_mm, depth_mm, allowance, "
            "measured_by_id, measured_at, received_at, client_key, correction_reason, "
            "salt, words_hashed) "
            "SELECT visit_id, area_id, x_mm, y_mm, 285, '', measured_by_id, now(), now(), "
            "gen_random_uuid(), '', gen_random_uuid(), true FROM jobs_depthreading"
        )


def test_the_refusal_reads_as_a_sentence():
    scene = stopped_scene()
    row = ReadingRow(4000, 3000, 285, LATER)

    with pytest.raises(Conflict, match="Nothing is recorded on it any more"):
        record_readings(scene.visit, [row], scene.installer)
    with pytest.raises(Conflict, match="Nothing is recorded on it any more"):
        record_variation(
            scene.visit, Differs("other", "left_out", "bees"), scene.installer, Told(LATER)
        )


def test_photos_of_the_danger_and_leaving_are_still_taken():
    scene = stopped_scene()

    photo = stored(scene, loft_jpeg(4), moment="other", point_label="", phone_taken_at=LATER)
    record_leave(scene.visit, HowLeft(True, True), scene.installer, Told(LATER))

    assert photo.pk
    assert Leave.objects.get().because == "stopped"


def test_an_after_photo_taken_after_the_stop_is_refused():
    scene = stopped_scene()

    with pytest.raises(IntegrityError, match="stopped"), transaction.atomic():
        PhotoFactory(visit=scene.visit, moment="after", phone_taken_at=LATER)
    assert not Photo.objects.exists()


def test_the_planners_are_mailed_once():
    scene = scene_on_site()
    planners = {UserFactory(company=scene.job.company).email, scene.visit.booked_by.email}
    UserFactory(role="surveyor", company=scene.job.company)
    UserFactory()
    stop = stop_work(scene.visit, "wasps' nest", scene.installer, STOPPED, ["wet_timber"])

    assert tell_office(stop.pk)
    assert not tell_office(stop.pk)

    (letter,) = mail.outbox
    assert set(letter.to) == planners
    assert scene.job.reference in letter.subject
    for words in (
        "wasps' nest",
        "Wet timber",
        "rotten timber",
        reverse("job", args=[scene.job.pk]),
    ):
        assert words in letter.body


def test_the_word_goes_out_when_the_stop_is_committed(
    django_capture_on_commit_callbacks, monkeypatch
):
    sent: list[int] = []
    monkeypatch.setattr("jobs.tasks.tell_office_of_stop.delay", sent.append)
    scene = scene_on_site()

    with django_capture_on_commit_callbacks(execute=True):
        stop = stop_work(scene.visit, "wasps", scene.installer, STOPPED)

    assert sent == [stop.pk]


def test_a_stop_nobody_was_told_of_is_found_again():
    scene = scene_on_site()
    stop = StopWork.objects.create(
        visit=scene.visit,
        reason="wasps",
        stopped_at=STOPPED,
        received_at=STOPPED,
        recorded_by=scene.installer,
    )
    assert untold_stop_ids() == [stop.pk]

    StopNotice.objects.create(stop=stop, told=[])

    assert untold_stop_ids() == []


def test_the_stop_page_says_whom_to_call_without_asking_anything_first(client):
    scene = scene_on_site()
    client.force_login(scene.installer)

    html = client.get(reverse("on_site_stop", args=[scene.visit.pk])).content.decode()

    for question in hazards():
        assert question.short in html and question.call in html


def test_the_stopped_visit_says_so_and_offers_only_photos_and_leaving(client):
    scene = stopped_scene(found=["asbestos"])
    client.force_login(scene.installer)

    html = client.get(reverse("on_site_visit", args=[scene.visit.pk])).content.decode()

    assert "Work is stopped" in html and "licensed asbestos contractor" in html
    assert reverse("on_site_photos", args=[scene.visit.pk, "other"]) in html
    assert reverse("on_site_leave", args=[scene.visit.pk]) in html
    assert reverse("on_site_readings", args=[scene.visit.pk]) not in html
    assert reverse("on_site_variations", args=[scene.visit.pk]) not in html
