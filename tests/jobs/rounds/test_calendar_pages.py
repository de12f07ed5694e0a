"""Calendar addresses: shown once, renewed, revoked, asked for politely."""

from __future__ import annotations

import hashlib
import re

import pytest
from django.core.cache import cache
from django.urls import reverse

from jobs.models import CalendarFeed
from jobs.planning.booking import move_visit
from jobs.rounds import feeds
from tests.jobs.loading.yard import a_yard, next_monday, on
from tests.jobs.planner_scene import api_for, signed_in

pytestmark = pytest.mark.django_db


@pytest.fixture
def yard():
    cache.clear()
    yard = a_yard()
    yard.visit(yard.planned_job({"W170": 2}), next_monday())
    return yard


def made(yard) -> str:
    """A new address for the crew, as the page shows it once; its path."""
    page = signed_in(yard.planner).post(reverse("crew_calendar_renew", args=[yard.crew.pk]))
    return re.search(r"http://testserver(/calendars/[\w-]+\.ics)", page.text)[1]


def test_the_address_is_shown_once_and_only_its_hash_is_kept(yard):
    path = made(yard)
    token = path.removeprefix("/calendars/").removesuffix(".ics")

    assert len(token) >= 43  # 32 bytes in base64
    assert CalendarFeed.objects.get().token_sha256 == hashlib.sha256(token.encode()).hexdigest()
    again = signed_in(yard.planner).get(reverse("crew_calendar", args=[yard.crew.pk]))
    assert token not in again.text
    assert "no-store" in again["Cache-Control"]


def test_anybody_who_knows_the_address_reads_the_calendar_without_an_account(yard, client):
    answer = client.get(made(yard))

    assert answer.status_code == 200
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    assert answer.content.startswith(b"BEGIN:VCALENDAR\r\n")
    assert CalendarFeed.objects.get().last_read_at is not None


def test_renewing_ends_the_former_address_and_revoking_ends_the_last(yard, client):
    first = made(yard)
    second = made(yard)
    assert client.get(first).status_code == 404
    assert client.get(second).status_code == 200

    signed_in(yard.planner).post(reverse("crew_calendar_revoke", args=[yard.crew.pk]))
    assert client.get(second).status_code == 404


def test_asked_again_it_says_not_modified_until_a_visit_changes(yard, client):
    path = made(yard)
    etag = client.get(path)["ETag"]
    assert client.get(path, headers={"If-None-Match": etag}).status_code == 304

    visit = yard.crew.visits.get()
    move_visit(visit, by=yard.planner, version=1, starts_at=on(next_monday(), 11))

    answer = client.get(path, headers={"If-None-Match": etag})
    assert answer.status_code == 200
    assert answer["ETag"] != etag


def test_who_asks_too_often_waits(yard, client, monkeypatch):
    monkeypatch.setattr(feeds, "READS_AN_HOUR", 2)
    path = made(yard)
    assert [client.get(path).status_code for _ in range(3)] == [200, 200, 429]


def test_who_guesses_too_often_waits(client, monkeypatch):
    cache.clear()
    monkeypatch.setattr(feeds, "MISSES_A_MINUTE", 2)
    guess = reverse("calendar_feed", args=["x" * 43])
    assert [client.get(guess).status_code for _ in range(3)] == [404, 404, 429]


def test_the_log_does_not_tell_the_secret(yard, client, caplog):
    path = made(yard)
    with caplog.at_level("INFO", logger="eavesbook.requests"):
        client.get(path)
    assert "/calendars/..." in caplog.text
    assert path not in caplog.text


def test_another_companys_crew_has_no_page(yard):
    other = a_yard()
    for name, method in (("crew_calendar", "get"), ("crew_calendar_renew", "post")):
        answer = getattr(signed_in(other.planner), method)(reverse(name, args=[yard.crew.pk]))
        assert answer.status_code == 404
    assert not CalendarFeed.objects.exists()


def test_one_visit_has_a_file_for_who_may_see_it(yard):
    visit = yard.crew.visits.get()
    address = reverse("visit_calendar", args=[visit.pk])

    mine = signed_in(yard.installer()).get(address)
    assert mine.content.count(b"BEGIN:VEVENT") == 1
    stranger = yard.installer(crew=yard.office.crew())
    assert signed_in(stranger).get(address).status_code == 404


def test_a_program_makes_an_address_and_stops_it(yard):
    api, address = api_for(yard.planner), f"/api/v1/crews/{yard.crew.pk}/calendar/"
    assert api.get(address).data == {"made_at": None, "last_read_at": None, "address": ""}

    told = api.post(address)
    assert told.status_code == 201
    assert told.data["address"].startswith("http://testserver/calendars/")
    assert api.get(address).data["address"] == ""
    assert api.delete(address).status_code == 204
    assert not CalendarFeed.objects.filter(revoked_at=None).exists()


def test_the_calendar_takes_as_many_queries_for_many_visits_as_for_one(
    yard, client, django_assert_max_num_queries
):
    path = made(yard)
    for hour in (9, 11, 13):
        yard.visit(yard.planned_job({"W170": 1}), next_monday(2), hour, hours=1.0)
    with django_assert_max_num_queries(4):
        answer = client.get(path)
    assert answer.content.count(b"BEGIN:VEVENT") == 4
