"""What a phone asks the office for: who is signed in, what to keep, the worker and its shell."""

from __future__ import annotations

import gzip
import json
import re
from collections.abc import Callable

import pytest
from django.db.backends.postgresql.psycopg_any import DateTimeTZRange
from django.test import Client
from django.utils import timezone

from jobs.evidence.phone_rules import phone_rules
from jobs.evidence.site_record import site_record_of
from tests.factories import UserFactory
from tests.jobs.on_site_scene import Scene, booked_scene, scene_on_site

pytestmark = pytest.mark.django_db


def today(make: Callable[..., Scene] = booked_scene) -> Scene:
    midnight = timezone.localtime().replace(hour=0, minute=0, second=0, microsecond=0)
    return make(during=DateTimeTZRange(midnight.replace(hour=8), midnight.replace(hour=17)))


def signed_in(scene: Scene) -> Client:
    client = Client()
    client.force_login(scene.installer)
    return client


def test_a_stranger_is_told_to_sign_in_and_that_nothing_is_lost(client: Client) -> None:
    answer = client.get("/on-site/phone/")

    assert answer.status_code == 401
    assert answer["Content-Type"] == "application/problem+json"
    assert "What is on this phone stays on it" in answer.json()["detail"]


def test_an_installer_is_told_what_to_keep_for_the_day() -> None:
    scene = today()
    told = signed_in(scene).get("/on-site/phone/").json()

    assert told["person"]["id"] == scene.installer.pk
    assert len(told["csrf"]) == 64
    visit = f"/on-site/visits/{scene.visit.pk}/"
    day = timezone.localdate().isoformat()
    crew = scene.visit.crew_id
    assert {
        "/on-site/",
        "/on-site/kept/",
        visit,
        f"{visit}layers/",
        f"/load-lists/{crew}/{day}/",
        f"/rounds/{crew}/{day}/",
    } == set(told["pages"])


def test_every_page_to_keep_opens() -> None:
    client = signed_in(today())
    for page in client.get("/on-site/phone/").json()["pages"]:
        assert client.get(page).status_code == 200, page


def test_the_office_has_nothing_to_keep(client: Client) -> None:
    client.force_login(UserFactory(role="planner"))
    assert client.get("/on-site/phone/").json()["pages"] == []


def test_the_worker_names_nobody_and_may_serve_every_page(client: Client) -> None:
    answer = client.get("/on-site-worker.js")

    assert answer["Content-Type"].startswith("text/javascript")
    assert answer["Service-Worker-Allowed"] == "/"
    assert "no-store" in answer["Cache-Control"]
    settings = json.loads(re.search(r"begin\((.*)\);", answer.content.decode())[1])  # type: ignore[index]
    assert "/on-site/no-signal/" in settings["shell"]
    assert settings["signInAndOut"] == ["/account/sign-in/", "/account/sign-out/"]
    signed = signed_in(today()).get("/on-site-worker.js")
    assert signed.content == answer.content


def test_the_page_without_signal_names_nobody() -> None:
    page = signed_in(today()).get("/on-site/no-signal/").content.decode()
    assert "data-person" not in page


def test_a_page_says_whose_it_is_and_of_when() -> None:
    scene = today()
    page = signed_in(scene).get(f"/on-site/visits/{scene.visit.pk}/").content.decode()

    assert f'data-person="{scene.installer.pk}"' in page
    assert f'data-visit="{scene.visit.pk}"' in page
    assert re.search(r'data-made-at="\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d', page)


def test_the_page_of_readings_brings_the_rule_as_data() -> None:
    scene = today(scene_on_site)
    page = signed_in(scene).get(f"/on-site/visits/{scene.visit.pk}/readings/").content.decode()

    found = re.search(r'<script id="depth-rules" type="application/json">(.*?)</script>', page)
    assert found
    rules = json.loads(found[1])
    assert rules["min_depth_mm"] == 270
    assert [area["name"] for area in rules["areas"]] == [scene.area.name]
    assert rules["readings"] == []


def test_there_is_no_rule_to_bring_before_the_survey() -> None:
    scene = today()
    scene.survey.delete()
    assert phone_rules(site_record_of(scene.visit)) is None


def test_on_site_pages_go_compressed_and_the_office_s_do_not() -> None:
    scene = today()
    client = signed_in(scene)
    client.defaults["HTTP_ACCEPT_ENCODING"] = "gzip"
    page = client.get("/on-site/")

    assert page["Content-Encoding"] == "gzip"
    assert b"Your visits" in gzip.decompress(page.content)
    assert "Content-Encoding" not in client.get("/account/password/change/")
