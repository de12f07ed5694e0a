"""POST /api/v1/token/"""

from __future__ import annotations

from uuid import uuid4

import pytest
from allauth.account.app_settings import PASSWORD_RESET_TOKEN_GENERATOR
from allauth.account.utils import user_pk_to_url_str
from django.test import RequestFactory
from rest_framework.test import APIClient
from rest_framework.throttling import ScopedRateThrottle

from tests.factories import PASSWORD, UserFactory
from tests.jobs.account_scene import OWN_PASSWORD, set_password, signs_in
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
    sent, address = {"email": "guess@example.test", "password": "x"}, f"2001:db8::{uuid4().hex[:4]}"

    answers = [APIClient().post(URL, sent, REMOTE_ADDR=address) for _ in range(3)]

    assert [answer.status_code for answer in answers] == [400, 400, 429]
    assert int(answers[-1]["Retry-After"]) > 0


def test_wrong_passwords_count_for_the_account_wherever_they_come_from(settings):
    settings.ACCOUNT_RATE_LIMITS = {"login_failed": "100/m/ip,2/5m/key"}
    planner = UserFactory(email=f"{uuid4()}@example.test")  # attempts are remembered for minutes

    answers = [
        APIClient().post(URL, {"email": planner.email, "password": told}, REMOTE_ADDR=address)
        for told, address in (
            ("guess", "203.0.113.1"),
            ("guess", "203.0.113.2"),
            (PASSWORD, "203.0.113.3"),
        )
    ]

    assert [answer.status_code for answer in answers] == [400, 400, 429]
    assert "Wait a few minutes" in answers[-1].json()["detail"]


def test_an_address_that_a_sender_says_itself_does_not_hide_it():
    one, other = (
        ScopedRateThrottle().get_ident(
            RequestFactory().get("/", REMOTE_ADDR="203.0.113.9", HTTP_X_FORWARDED_FOR=claimed)
        )
        for claimed in ("198.51.100.1", "198.51.100.2")
    )

    assert one == other == "203.0.113.9"


@pytest.mark.parametrize("way", ["changed", "forgotten"])
def test_a_token_ends_with_the_password_it_was_given_for(way):
    planner = an_office().planner
    token = APIClient().post(URL, {"email": planner.email, "password": PASSWORD}).json()["token"]

    if way == "changed":
        form = {"oldpassword": PASSWORD, "password1": OWN_PASSWORD, "password2": OWN_PASSWORD}
        signs_in(planner, PASSWORD).post("/account/password/change/", form)
    else:
        key = PASSWORD_RESET_TOKEN_GENERATOR().make_token(planner)
        set_password(f"/account/password/reset/key/{user_pk_to_url_str(planner)}-{key}/")

    planner.refresh_from_db()
    assert planner.check_password(OWN_PASSWORD)
    client = APIClient(headers={"Authorization": f"Token {token}"})
    assert client.get("/api/v1/schemes/").status_code == 401


def test_only_post_is_taken():
    assert APIClient().get(URL).status_code == 405
