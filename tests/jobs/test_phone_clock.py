"""A phone's clock is told and corrected, never trusted; pages say where a time comes from."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from jobs.evidence.checks import record_pre_start_check
from jobs.evidence.clock import (
    PLAUSIBLE_DELAY,
    ToldTime,
    phone_ahead,
    span_words,
    told_time,
)
from jobs.evidence.readings import ReadingRow, record_readings
from jobs.models import PreStartCheck
from tests.factories import PreStartCheckFactory, UserFactory
from tests.jobs.on_site_scene import ALL_SAFE, booked_scene, scene_on_site

SENT = datetime(2026, 11, 30, 9, 0, tzinfo=UTC)
SEVEN = timedelta(minutes=7)


@pytest.mark.parametrize(
    ("received_after", "ahead", "why"),
    [
        (timedelta(0), timedelta(0), "the same moment"),
        (timedelta(seconds=20), timedelta(0), "a slow network says nothing against the clock"),
        (PLAUSIBLE_DELAY, timedelta(0), "just about the network still"),
        (timedelta(seconds=31), -timedelta(seconds=31), "longer than a network takes: behind"),
        (-timedelta(seconds=1), timedelta(seconds=1), "before it was sent: ahead for sure"),
        (-SEVEN, SEVEN, "seven minutes ahead"),
        (timedelta(days=20_000), -timedelta(days=20_000), "a battery died: it says 1972"),
    ],
)
def test_how_far_a_phone_is_off_follows_from_when_it_said_it_sent(received_after, ahead, why):
    assert phone_ahead(SENT, SENT + received_after) == ahead, why


@pytest.mark.django_db
def test_a_fast_phones_check_is_kept_as_said_and_corrected_by_the_database():
    scene, now = booked_scene(), timezone.now()
    said = now - timedelta(minutes=3) + SEVEN

    check = record_pre_start_check(
        scene.visit, ALL_SAFE, scene.installer, said, phone_sent_at=now + SEVEN
    )

    check = PreStartCheck.objects.get(pk=check.pk)
    assert check.checked_at == said
    assert abs(check.corrected_at - (now - timedelta(minutes=3))) < timedelta(seconds=20)
    scene.visit.refresh_from_db()
    assert scene.visit.arrived_at == check.corrected_at


@pytest.mark.django_db
def test_records_line_up_by_the_corrected_time_not_by_what_phones_say():
    scene, now = scene_on_site(), timezone.now()
    fast = ReadingRow(4000, 3000, 285, now + SEVEN, phone_sent_at=now + SEVEN)
    true = ReadingRow(3000, 2000, 285, now + timedelta(minutes=2), phone_sent_at=now)

    first, second = record_readings(scene.visit, [fast, true], scene.installer)

    assert first.measured_at > second.measured_at
    assert first.corrected_at < second.corrected_at


@pytest.mark.django_db
def test_a_record_that_tells_no_sending_time_is_left_as_it_was_said():
    check = PreStartCheckFactory()

    check.refresh_from_db()

    assert check.phone_ahead is None
    assert check.corrected_at == check.checked_at
    assert told_time(check, "checked_at").words == "phone clock, not compared with ours"


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("ahead", "words"),
    [
        (SEVEN, "phone clock 7 min ahead, corrected"),
        (-timedelta(hours=3), "phone clock 3 h behind, corrected"),
        (timedelta(0), "phone clock"),
    ],
)
def test_a_page_says_the_source_and_how_far_it_was_off(ahead, words):
    received = SENT
    check = PreStartCheckFactory(
        checked_at=SENT + ahead, received_at=received, phone_sent_at=SENT + ahead, phone_ahead=ahead
    )

    told = told_time(check, "checked_at")

    assert (told.at, told.words) == (SENT, words)


@pytest.mark.django_db
def test_without_a_phones_word_it_is_our_own_clock():
    check = PreStartCheckFactory(checked_at=SENT, received_at=SENT)

    assert told_time(check, "checked_at").words == "our clock"


@pytest.mark.django_db
def test_a_clock_set_right_before_sending_is_told_and_nothing_is_made_after_it_came():
    """Made seven minutes ahead, sent by a clock that is right again."""
    scene, now = booked_scene(), timezone.now()

    check = record_pre_start_check(
        scene.visit, ALL_SAFE, scene.installer, now + SEVEN, phone_sent_at=now
    )

    check = PreStartCheck.objects.get(pk=check.pk)
    told = told_time(check, "checked_at")
    assert check.checked_at == now + SEVEN
    assert told.at == check.corrected_at <= check.received_at
    assert "The phone's clock was changed between making and sending" in told.doubt
    client = Client()
    client.force_login(UserFactory(company=scene.job.company))
    page = client.get(reverse("job", args=[scene.job.pk])).content.decode()
    assert "The phone&#x27;s clock was changed" in page


def test_exif_names_itself():
    told = ToldTime(SENT, "EXIF", SENT + SEVEN, SEVEN)

    assert told.words == "EXIF 7 min ahead, corrected"


@pytest.mark.parametrize(
    ("length", "words"),
    [
        (timedelta(seconds=40), "40 s"),
        (timedelta(minutes=7), "7 min"),
        (timedelta(hours=5), "5 h"),
        (timedelta(days=12), "12 days"),
    ],
)
def test_a_stretch_of_time_is_told_in_its_largest_unit(length, words):
    assert span_words(length) == words
