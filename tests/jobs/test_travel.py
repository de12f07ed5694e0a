"""Drives by the great-circle rule, and by a road-routing server that is asked once."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pytest
from django.db import connection

from jobs.models import TravelLeg
from jobs.planning.road_router import BLOCK, STRAIGHT, RoadRouter
from jobs.planning.travel import (
    Drive,
    GreatCircle,
    TravelRule,
    drive_between,
    known_roads,
    travel_matrix,
)

LEICESTER, LOUGHBOROUGH = (52.6345, -1.1297), (52.7721, -1.2062)


# --- The rule


def test_the_rule_is_distance_by_road_factor_and_speed_and_something_at_the_ends():
    rule = TravelRule(road_factor=1.5, speed_km_h=60.0, at_the_ends_s=60)
    drive = drive_between((52.0, -1.0), (53.0, -1.0), rule)
    assert drive.km == pytest.approx(111.195 * 1.5, rel=1e-4)
    assert drive.minutes == pytest.approx(drive.km + 1, rel=1e-6)


def test_no_drive_leads_from_a_place_to_itself():
    assert drive_between(LEICESTER, LEICESTER).minutes == 0
    found = GreatCircle(TravelRule()).matrices([LEICESTER, LOUGHBOROUGH, LEICESTER])
    assert found.seconds[0, 2] == 0
    assert not found.seconds.diagonal().any()


def test_the_matrix_says_what_the_single_drive_says():
    found = GreatCircle(TravelRule()).matrices([LEICESTER, LOUGHBOROUGH])
    drive = drive_between(LEICESTER, LOUGHBOROUGH, TravelRule())
    assert found.seconds[0, 1] == found.seconds[1, 0] == round(drive.minutes * 60)
    assert found.metres[0, 1] == round(drive.km * 1000)


def test_no_places_make_an_empty_matrix():
    assert GreatCircle(TravelRule()).matrices([]).seconds.shape == (0, 0)


@pytest.mark.parametrize(
    ("values", "named"),
    [
        ({"road_factor": 0.9}, "road_factor"),
        ({"speed_km_h": 3}, "speed_km_h"),
        ({"at_the_ends_s": -1}, "at_the_ends_s"),
    ],
)
def test_a_rule_that_cannot_be_is_refused(values, named):
    with pytest.raises(ValueError, match=named):
        TravelRule(**values)


@pytest.mark.django_db
def test_a_thousand_places_are_worked_out_without_the_database(django_assert_num_queries):
    places = [(50 + n / 200, -2 + (n % 40) / 20) for n in range(1040)]
    with django_assert_num_queries(0):
        found = travel_matrix(places)
    assert found.seconds.shape == (1040, 1040)
    assert np.array_equal(found.seconds, found.seconds.T)


# --- A server


class Roads(BaseHTTPRequestHandler):
    """The table service on loopback: a drive takes its straight distance, twice as long back."""

    asked: list[str] = []
    answer: Any = None
    status = 200
    dies_after: int | None = None
    drips_s = 0.0

    def do_GET(self) -> None:
        Roads.asked.append(self.path)
        parts = urlsplit(self.path)
        query = {name: value[0] for name, value in parse_qs(parts.query).items()}
        where = parts.path.removeprefix("/table/v1/driving/").split(";")
        places = [tuple(map(float, place.split(","))) for place in where]
        chosen = {n: [int(i) for i in query[n].split(";")] for n in ("sources", "destinations")}
        rows = [
            [self._seconds(places[a], places[b]) for b in chosen["destinations"]]
            for a in chosen["sources"]
        ]
        body = self.answer or {"code": "Ok", "durations": rows, "distances": rows}
        told = body if isinstance(body, bytes) else json.dumps(body).encode()
        dead = self.dies_after is not None and len(self.asked) > self.dies_after
        self.send_response(500 if dead else self.status)
        self.end_headers()
        while self.drips_s > 0:
            self.drips_s -= 0.05
            self.wfile.write(b" ")
            time.sleep(0.05)
        self.wfile.write(told)

    @staticmethod
    def _seconds(a: tuple[float, ...], b: tuple[float, ...]) -> float | None:
        if 61.0 in (a[1], b[1]):  # an island without a road
            return None
        south = 2 if b[1] < a[1] else 1
        return (abs(a[0] - b[0]) + abs(a[1] - b[1])) * 10_000 * south

    def log_message(self, *args: Any) -> None:
        pass


@pytest.fixture
def roads() -> Iterator[str]:
    """The address of a routing server that runs for the test alone."""
    Roads.asked, Roads.answer, Roads.status = [], None, 200
    Roads.dies_after, Roads.drips_s = None, 0.0
    server = ThreadingHTTPServer(("127.0.0.1", 0), Roads)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.server_address[1]}"
    server.shutdown()
    server.server_close()


def router(address: str) -> RoadRouter:
    return RoadRouter(address, GreatCircle(TravelRule()), timeout_s=5.0)


@pytest.mark.django_db
def test_the_server_is_asked_for_longitude_first_and_its_answer_kept(roads):
    found = router(roads).matrices([LEICESTER, LOUGHBOROUGH])
    assert "/table/v1/driving/-1.1297,52.6345;-1.2062,52.7721" in Roads.asked[0]
    assert (found.seconds[0, 1], found.seconds[1, 0]) == (2141, 4282)
    assert TravelLeg.objects.count() == 2
    assert found.notes == ("Drives are from the road-routing server 127.0.0.1.",)


@pytest.mark.django_db
def test_what_is_known_is_not_asked_again(roads, django_assert_num_queries):
    first = router(roads).matrices([LEICESTER, LOUGHBOROUGH])
    asked = len(Roads.asked)
    with django_assert_num_queries(1):
        again = router(roads).matrices([LOUGHBOROUGH, LEICESTER])
    assert len(Roads.asked) == asked
    assert again.seconds[1, 0] == first.seconds[0, 1]


@pytest.mark.django_db
def test_only_what_is_missing_is_asked_for(roads):
    router(roads).matrices([LEICESTER, LOUGHBOROUGH])
    router(roads).matrices([LEICESTER, LOUGHBOROUGH, (52.5, -1.0)])
    assert TravelLeg.objects.count() == 6


@pytest.mark.django_db
def test_many_places_are_asked_for_in_blocks(roads):
    places = [(52.0 + n / 1000, -1.0) for n in range(BLOCK + 10)]
    found = router(roads).matrices(places)
    assert len(Roads.asked) == 4
    assert TravelLeg.objects.count() == len(places) * (len(places) - 1)
    assert found.seconds[0, BLOCK + 9] == pytest.approx((BLOCK + 9) * 10, abs=1)


@pytest.mark.django_db
def test_where_there_is_no_road_the_rule_stands_in_and_says_so(roads):
    found = router(roads).matrices([LEICESTER, (61.0, -1.0)])
    assert (
        found.seconds[0, 1]
        == GreatCircle(TravelRule()).matrices([LEICESTER, (61.0, -1.0)]).seconds[0, 1]
    )
    assert "2 have no road" in found.notes[0]


@pytest.mark.django_db
@pytest.mark.parametrize(
    "answer",
    [
        b"<html>not found</html>",
        {"code": "InvalidUrl"},
        {"code": "Ok", "durations": [[0]], "distances": [[0]]},
        {"code": "Ok", "durations": [[0, -5], [5, 0]], "distances": [[0, 5], [5, 0]]},
        {"code": "Ok", "durations": [[0, "x"], [5, 0]], "distances": [[0, 5], [5, 0]]},
        {"code": "Ok", "durations": [[0, float("nan")], [5, 0]], "distances": [[0, 5], [5, 0]]},
        {"code": "Ok", "durations": [[0, float("inf")], [5, 0]], "distances": [[0, 5], [5, 0]]},
        {"code": "Ok", "durations": [[0, 1e18], [5, 0]], "distances": [[0, 5], [5, 0]]},
        b"[" * 100_000,
        b"\xff\xfe",
        [],
    ],
)
def test_an_answer_that_makes_no_sense_is_refused_whole(roads, answer):
    Roads.answer = answer or [None]
    found = router(roads).matrices([LEICESTER, LOUGHBOROUGH])
    assert not TravelLeg.objects.exists()
    assert found.seconds[0, 1] == rough([LEICESTER, LOUGHBOROUGH])[0, 1]
    assert found.notes[0].endswith(STRAIGHT)


def rough(places: list[Any]) -> Any:
    """Drives by the rule alone [s]."""
    return GreatCircle(TravelRule()).matrices(places).seconds


@pytest.mark.django_db
def test_a_server_that_dies_midway_keeps_what_it_answered_and_the_plan_says_so(roads):
    places = [(52.0 + n / 1000, -1.0) for n in range(BLOCK + 10)]
    Roads.dies_after = 2
    found = router(roads).matrices(places)
    kept = BLOCK * (BLOCK + 9)
    assert TravelLeg.objects.count() == kept
    assert found.seconds[BLOCK, BLOCK + 1] == rough(places)[BLOCK, BLOCK + 1]
    (note,) = found.notes
    assert "failed meanwhile: it answered with the error 500." in note
    assert f"{60 * 59 - kept:,} of {60 * 59:,} drives are from straight distances" in note


@pytest.mark.django_db
def test_a_server_that_only_drips_is_given_up(roads):
    Roads.drips_s = 0.6
    found = RoadRouter(roads, GreatCircle(TravelRule()), timeout_s=0.2).matrices(
        [LEICESTER, LOUGHBOROUGH]
    )
    assert "is no help: it took too long." in found.notes[0]


@pytest.mark.django_db
def test_a_server_that_is_down_is_replaced_by_the_rule_and_it_is_told(settings, roads):
    Roads.status = 500
    settings.TRAVEL_ROUTER_URL = roads
    found = travel_matrix([LEICESTER, LOUGHBOROUGH])
    assert "it answered with the error 500" in found.notes[0]
    assert (
        found.seconds[0, 1]
        == GreatCircle(TravelRule()).matrices([LEICESTER, LOUGHBOROUGH]).seconds[0, 1]
    )


@pytest.mark.django_db
def test_a_server_by_the_settings_is_asked(settings, roads):
    settings.TRAVEL_ROUTER_URL = roads
    assert travel_matrix([LEICESTER, LOUGHBOROUGH]).seconds[0, 1] == 2141


@pytest.mark.django_db
def test_pages_draw_the_drives_that_the_server_told_plans(settings, roads):
    rule = drive_between(LEICESTER, LOUGHBOROUGH).minutes
    settings.TRAVEL_ROUTER_URL = roads
    travel_matrix([LEICESTER, LOUGHBOROUGH])
    with known_roads([[None, LEICESTER, LOUGHBOROUGH, (61.0, -1.0)]]):
        there, back = (
            drive_between(*way).minutes
            for way in ((LEICESTER, LOUGHBOROUGH), (LOUGHBOROUGH, LEICESTER))
        )
        assert drive_between(LEICESTER, (61.0, -1.0)).km > 300  # no road: by the rule
    assert (round(there * 60), round(back * 60)) == (2141, 4282)
    assert drive_between(LEICESTER, LOUGHBOROUGH).minutes == rule


@pytest.mark.django_db
def test_a_page_asks_once_for_drives_that_nobody_planned(settings, roads):
    """A visit put between two others by hand: its drives are told by road, and kept."""
    settings.TRAVEL_ROUTER_URL = roads
    travel_matrix([LEICESTER, LOUGHBOROUGH])
    moved, island = (52.7, -1.15), (61.0, -1.0)
    for _ in range(2):
        with known_roads([[LEICESTER, moved, LOUGHBOROUGH], [LEICESTER, None, island]]):
            drives = [drive_between(LEICESTER, moved), drive_between(moved, LOUGHBOROUGH)]
            without_road = drive_between(LEICESTER, island)
        assert [(round(d.minutes * 60), d.straight) for d in drives] == [
            (858, False),
            (1283, False),
        ]
        assert without_road.straight
        assert len(Roads.asked) == 2  # the matrix, and one request of the page
    assert {leg.seconds for leg in TravelLeg.objects.all()} >= {858, 1283, 2141}


@pytest.mark.django_db
def test_a_page_goes_on_without_a_slow_server_and_has_it_asked_later(
    settings, roads, monkeypatch, django_capture_on_commit_callbacks
):
    settings.TRAVEL_ROUTER_URL = roads
    monkeypatch.setattr("jobs.planning.page_drives.PAGE_BUDGET_S", 0.2)
    Roads.drips_s = 0.6
    with django_capture_on_commit_callbacks(execute=True):  # the task asks as long as it takes
        for _ in range(2):
            with known_roads([[LEICESTER, LOUGHBOROUGH]]):
                assert drive_between(LEICESTER, LOUGHBOROUGH).straight
    assert len(Roads.asked) == 2  # by the first page and the task; the second page left it alone
    with known_roads([[LEICESTER, LOUGHBOROUGH]]):
        assert drive_between(LEICESTER, LOUGHBOROUGH) == Drive(2141 / 60, 2.141)


@pytest.mark.django_db
def test_a_leg_is_kept_once():
    sql = """INSERT INTO jobs_travelleg (provider, from_latitude_e4, from_longitude_e4,
        to_latitude_e4, to_longitude_e4, seconds, metres, asked_at)
        VALUES ('x', 1, 2, 3, 4, 5, 6, now())"""
    with connection.cursor() as cursor:
        cursor.execute(sql)
        with pytest.raises(Exception, match="travel_leg_once"):
            cursor.execute(sql)
