from __future__ import annotations

from typing import Any
from uuid import uuid4

import pytest
from django.contrib.auth import get_user_model
from django.contrib.auth.hashers import identify_hasher, make_password
from django.test import Client

from deploy.demo import SIGN_INS
from deploy.settings import base
from tests.factories import UserFactory

pytestmark = pytest.mark.django_db

FORM = {"email": "stranger@example.org", "password1": "a-long-enough-password-9"}


def test_a_stranger_can_not_open_an_account(client: Client) -> None:
    response = client.post("/account/closed/", FORM)
    assert response.status_code == 200
    assert not get_user_model().objects.filter(email=FORM["email"]).exists()


def test_passwords_are_kept_as_argon2(settings: Any) -> None:
    settings.PASSWORD_HASHERS = base.PASSWORD_HASHERS
    assert identify_hasher(make_password("a-long-enough-password-9")).algorithm == "argon2"


def test_guessing_a_password_is_stopped(client: Client, settings: Any) -> None:
    settings.ACCOUNT_RATE_LIMITS = {"login_failed": "100/m/ip,3/5m/key"}
    guess = {"login": f"{uuid4()}@example.org", "password": "a-wrong-password"}
    answers = [client.post("/account/sign-in/", guess) for _ in range(4)]
    assert "Too many failed" not in answers[0].content.decode()
    assert "Too many failed" in answers[-1].content.decode()


def test_a_link_to_a_new_password_leads_to_our_address_whatever_host_was_named(
    client: Client, settings: Any, mailoutbox: list[Any]
) -> None:
    settings.ALLOWED_HOSTS = [".eavesbook.example"]
    settings.PUBLIC_ADDRESS = "https://our.eavesbook.example"
    UserFactory(email="ada@example.test")

    asked = {"email": "ada@example.test"}
    client.post("/account/password/reset/", asked, headers={"host": "other.eavesbook.example"})

    (mail,) = mailoutbox
    assert "https://our.eavesbook.example/account/password/reset/key/" in mail.body
    assert "other." not in mail.body + mail.subject


def test_the_sign_in_page_shows_no_demo_passwords_by_default(client: Client) -> None:
    assert "demo-heading" not in client.get("/account/sign-in/").content.decode()


def test_the_demo_people_are_shown_where_that_is_asked_for(client: Client, settings: Any) -> None:
    settings.SHOW_DEMO_SIGN_INS = True
    demo = next(one for one in SIGN_INS if one.role == "platform_admin")
    get_user_model().objects.create(email=demo.email, role=demo.role)
    page = client.get("/account/sign-in/").content.decode()
    assert demo.email in page
    assert "platform admin" in page
    # Those who aren't in the database can't sign in.
    assert SIGN_INS[0].email not in page
