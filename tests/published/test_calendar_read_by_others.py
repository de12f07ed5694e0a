"""A crew's calendar, fetched over HTTP and read by vobject, a general-purpose reader of iCalendar.

vobject (PyPI, Apache 2.0) is neither what writes the calendar nor written for this project. What it
must find is what RFC 5545 says of folded lines (3.1), TEXT (3.3.11), VTIMEZONE (3.6.5), UID
(3.8.4.7), SEQUENCE (3.8.7.4) and STATUS (3.8.1.11); ETag and If-None-Match are RFC 9110, 8.8.3 and
13.1.2. Summer time begins on the last Sunday of March and ends on that of October (directive
2000/84/EC, kept by the Summer Time Order 2002).
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime, time, timedelta
from http.client import HTTPConnection, HTTPResponse

import pytest
import vobject
from django.core.cache import cache
from django.core.servers.basehttp import WSGIRequestHandler, WSGIServer
from django.core.signals import request_finished, request_started
from django.core.wsgi import get_wsgi_application
from django.db import close_old_connections
from django.utils import timezone

from jobs.planning.booking import cancel_visit, move_visit
from jobs.rounds.feeds import renew_feed
from tests.jobs.loading.yard import Yard, a_yard

pytestmark = pytest.mark.django_db
PLACE = "12, Long Meadow; the house \\ behind Öland Yard by the old mill pond"


def asked(port: int, path: str, headers: dict[str, str]) -> tuple[HTTPResponse, bytes]:
    connection = HTTPConnection("127.0.0.1", port, timeout=60)
    connection.request("GET", path, headers=headers)
    answer = connection.getresponse()
    body = answer.read()
    connection.close()
    return answer, body


@pytest.fixture(autouse=True)
def _one_connection():
    """Requests end without closing the connection that the test's transaction is on."""
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


def fetched(path: str, **headers: str) -> tuple[HTTPResponse, bytes]:
    """One request through a socket; served here, where the test's transaction is, asked beside."""
    server = WSGIServer(("127.0.0.1", 0), WSGIRequestHandler)
    server.set_app(get_wsgi_application())
    with server, ThreadPoolExecutor(1) as pool:
        coming = pool.submit(asked, server.server_port, path, headers)
        server.handle_request()
        return coming.result()


def next_last_sunday(month: int) -> date:
    """The next last Sunday of a month that has 31 days, not sooner than in ten days."""
    year = timezone.localdate().year
    ends = (date(each, month, 31) for each in range(year, year + 3))
    sundays = (end - timedelta(days=end.isoweekday() % 7) for end in ends)
    return next(day for day in sundays if day > timezone.localdate() + timedelta(days=10))


def at_eight(day: date) -> datetime:
    return timezone.make_aware(datetime.combine(day, time(8)))


@pytest.fixture
def yard(settings) -> Yard:
    settings.ALLOWED_HOSTS = ["127.0.0.1"]
    cache.clear()
    return a_yard()


@pytest.fixture
def path(yard) -> str:
    _, token = renew_feed(yard.crew, yard.planner)
    return f"/calendars/{token}.ics"


def booked(yard: Yard, day: date):
    job = yard.planned_job({"W170": 2})
    job.property.address_line_1 = PLACE
    job.property.save()
    return yard.visit(job, at_eight(day))


def read(content: bytes) -> list:
    """The events in order of time. The zone gets a name that no list of zones knows, so that the
    hours can come from the file's own rules alone."""
    text = content.decode().replace("Europe/London", "As-the-file-says")
    events = vobject.readOne(text, validate=True).vevent_list
    return sorted(events, key=lambda event: event.dtstart.value)


@pytest.mark.parametrize(("month", "utc_hours"), [(3, (8, 7)), (10, (7, 8))])
def test_hours_are_right_on_both_sides_of_a_change_of_the_clock(yard, path, month, utc_hours):
    change = next_last_sunday(month)
    for day in (change - timedelta(days=2), change + timedelta(days=1)):
        booked(yard, day)

    answer, body = fetched(path)
    before, after = read(body)

    assert (answer.status, answer.headers["Content-Type"]) == (200, "text/calendar; charset=utf-8")
    assert [each.dtstart.value.astimezone(UTC).hour for each in (before, after)] == [*utc_hours]
    assert [each.dtstart.value.hour for each in (before, after)] == [8, 8]
    lasts = {event.dtend.value - event.dtstart.value for event in (before, after)}
    assert lasts == {visit.during.upper - visit.during.lower for visit in yard.crew.visits.all()}


def test_folded_lines_and_escaped_text_read_back_as_they_were(yard, path):
    booked(yard, next_last_sunday(3) - timedelta(days=2))
    _, body = fetched(path)
    (event,) = read(body)

    assert b"\r\n " in body
    assert event.summary.value == f"Fitting visit: {PLACE}"
    assert event.location.value == yard.crew.visits.get().job.property.address


def test_a_moved_and_a_cancelled_visit_are_the_same_events_later(yard, path):
    day = next_last_sunday(3) - timedelta(days=2)
    visit = booked(yard, day)
    first, body = fetched(path)
    (event,) = read(body)
    same, nothing = fetched(path, **{"If-None-Match": first.headers["ETag"]})
    assert (same.status, nothing) == (304, b"")

    visit = move_visit(
        visit, by=yard.planner, version=visit.version, starts_at=at_eight(day + timedelta(days=3))
    )
    second, body = fetched(path, **{"If-None-Match": first.headers["ETag"]})
    (moved,) = read(body)
    assert second.status == 200
    assert moved.dtstart.value - event.dtstart.value == timedelta(days=3)

    cancel_visit(visit, "householder away", yard.planner)
    third, body = fetched(path, **{"If-None-Match": second.headers["ETag"]})
    (gone,) = read(body)
    assert third.status == 200
    assert [each.status.value for each in (event, moved, gone)] == [
        "CONFIRMED", "CONFIRMED", "CANCELLED",
    ]  # fmt: skip
    assert {each.uid.value for each in (event, moved, gone)} == {event.uid.value}
    sequence = [int(each.sequence.value) for each in (event, moved, gone)]
    assert sequence == sorted(set(sequence))
    tags = {answer.headers["ETag"] for answer in (first, second, third)}
    assert len(tags) == 3
