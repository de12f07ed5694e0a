"""POST /api/v1/token/"""

from __future__ import annotations

import pytest
from rest_framework.test import APIClient
from rest_framework.throttling import ScopedRateThrottle

from tests.factories import PASSWORD
from tests.jobs.planner_scene import an_office

pytestmark = pytest.mark.django_db
URL = "/api/v1/token/"


def test_a_token_is_given_and_opens_the_api():
    office, client = an_office(), APIClient()

    answer = client.post(URL, {"email": office.planner.email.upper(), "password": PASSWORD})

    assert answer.status_code == 200
    client.credentials(HTTP_AUTHORIZATION=f"Token {answer.json()['token']}")
    assert client.get("/api/v1/schemes/").json()["results"][0]["id"] == office.scheme.pk


@pytest.mark.parametrize(
    ("sent", "reason"),
    [
        ({"email": "nobody@example.test", "password": PASSWORD}, "nobody of that address"),
        ({"password": PASSWORD}, "no address"),
        ({"email": "nobody@example.test"}, "no password"),
        ({"email": "not an address", "password": "x"}, "no e-mail address"),
    ],
)
def test_no_token_without_the_right_answers(sent, reason):
    answer = APIClient().post(URL, sent)

    assert answer.status_code == 400
    assert answer["Content-Type"] == "application/problem+json"


def test_a_wrong_password_and_a_wrong_address_are_answered_alike():
    planner = an_office().planner

    wrong = APIClient().post(URL, {"email": planner.email, "password": "wrong"}).json()
    unknown = APIClient().post(URL, {"email": "no@example.test", "password": "wrong"}).json()

    assert wrong == unknown


def test_somebody_who_left_gets_no_token():
    planner = an_office().planner
    planner.is_active = False
    planner.save()

    assert APIClient().post(URL, {"email": planner.email, "password": PASSWORD}).status_code == 400


def test_guessing_is_slowed_down(monkeypatch):
    monkeypatch.setattr(ScopedRateThrottle, "THROTTLE_RATES", {"sign_in": "2/min"})
    sent = {"email": "guess@example.test", "password": "x"}

    answers = [APIClient().post(URL, sent, REMOTE_ADDR="203.0.113.9") for _ in range(3)]

    assert [answer.status_code for answer in answers] == [400, 400, 429]
    assert int(answers[-1]["Retry-After"]) > 0


def test_only_post_is_taken():
    assert APIClient().get(URL).status_code == 405
