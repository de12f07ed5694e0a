"""Another e-mail address to sign in with: asked for, confirmed by its link, told to the former."""

from __future__ import annotations

import re

import pytest
from django.test import Client
from rest_framework.authtoken.models import Token

from jobs.models import User
from jobs.platform.people import Capacity, Name, close_account, open_account
from tests.factories import PASSWORD, UserFactory
from tests.jobs.account_scene import is_let_in, link_in, set_password, signs_in
from tests.jobs.planner_scene import an_office, api_for, signed_in

pytestmark = pytest.mark.django_db

NEW = "Ada.New@Example.test"


@pytest.fixture
def mails(mailoutbox, django_capture_on_commit_callbacks):
    """Do something and hand over what was mailed for it, by who it went to."""

    def of(act):
        mailoutbox.clear()
        with django_capture_on_commit_callbacks(execute=True):
            act()
        return {mail.to[0]: mail.body for mail in mailoutbox}

    return of


@pytest.fixture
def office():
    return an_office()


@pytest.fixture
def person(office) -> User:
    return UserFactory(role="installer", company=office.company, email="ada@example.test")


def asks(asker: User, person: User, email: str = NEW):
    """A planner on the page of an account; anybody on the page of their own."""
    address = "/account/address/" if asker == person else f"/people/{person.pk}/address/"
    return signed_in(asker).post(address, {"email": email}, follow=True)


def confirming_link(mail: str) -> str:
    found = re.search(r"http://[^/\s]+(/account/address/confirm/[^\s]+)", mail)
    assert found, mail
    return found[1]


@pytest.mark.parametrize("who", ["the planner", "the person"])
def test_an_address_counts_once_its_link_is_opened_with_the_password(office, person, mails, who):
    phone, token = signs_in(person, PASSWORD), Token.objects.create(user=person)
    asker = office.planner if who == "the planner" else person

    asked = mails(lambda: asks(asker, person))

    assert asked.keys() == {"ada.new@example.test", "ada@example.test"}
    assert "Nothing changes until" in asked["ada@example.test"]
    assert (str(office.planner) in asked["ada@example.test"]) == (who == "the planner")
    link, stranger = confirming_link(asked["ada.new@example.test"]), Client()
    assert "not the password" in stranger.post(link, {"password": "another-one-77"}).text
    person.refresh_from_db()
    assert person.email == "ada@example.test"

    done = mails(lambda: stranger.post(link, {"password": PASSWORD}))

    person.refresh_from_db()
    assert person.email == "ada.new@example.test"
    assert done.keys() == {"ada@example.test"}
    assert "no longer with this address" in done["ada@example.test"]
    assert is_let_in(phone)
    assert Token.objects.filter(pk=token.pk).exists()
    assert is_let_in(signs_in(person, PASSWORD))
    assert not is_let_in(signs_in(User(email="ada@example.test"), PASSWORD))
    assert "This link no longer works" in stranger.post(link, {"password": PASSWORD}).text
    history = signed_in(office.planner).get(f"/people/{person.pk}/history/").text
    assert "ada@example.test" in history
    assert "ada.new@example.test" in history
    assert link.split("/")[-2] not in history


@pytest.mark.parametrize("what", ["another is asked for", "the account is closed", "cut short"])
def test_a_link_ends_when(office, person, mails, what):
    first = confirming_link(mails(lambda: asks(office.planner, person))["ada.new@example.test"])
    if what == "another is asked for":
        asks(office.planner, person, "ada.newer@example.test")
    elif what == "the account is closed":
        close_account(person, by=office.planner)
    else:
        first = f"{first[:-4]}/"

    answer = Client().post(first, {"password": PASSWORD})

    person.refresh_from_db()
    assert "This link no longer works" in answer.text
    assert person.email == "ada@example.test"


def test_an_invitation_that_went_astray_goes_to_the_right_address_at_once(office, mails):
    made = []
    sent = mails(
        lambda: made.append(
            open_account("adda@example.test", Name("Ada"), Capacity("installer"), by=office.planner)
        )
    )
    astray = link_in(sent["adda@example.test"])

    sent = mails(lambda: asks(office.planner, made[0], "ada@example.test"))

    assert "no longer works" in sent["adda@example.test"]
    assert "This link no longer works" in set_password(astray)[1]
    set_password(link_in(sent["ada@example.test"]))
    assert User.objects.get(email="ada@example.test").has_usable_password()


def test_an_address_that_is_taken_is_refused_in_any_case_of_letters(office, person, mails):
    free = mails(lambda: asks(person, person))
    UserFactory(email="ada.new@example.test")
    taken = mails(lambda: asks(person, person))

    assert set(free) == {"ada@example.test", "ada.new@example.test"}
    # Nor is it told that there is an account: the person's own mailbox gets the same word.
    assert taken == {"ada@example.test": free["ada@example.test"]}
    refused = asks(office.planner, person)
    by_api = api_for(office.planner).post(f"/api/v1/people/{person.pk}/address/", {"email": NEW})

    assert refused.status_code == 422
    assert "has an account already" in refused.text
    assert f'value="{NEW}"' in refused.text
    assert (by_api.status_code, by_api.json()["errors"][0]["field"]) == (409, "email")


def test_an_address_that_was_taken_meanwhile_does_not_count(office, person, mails):
    link = confirming_link(mails(lambda: asks(person, person))["ada.new@example.test"])
    UserFactory(email="ada.new@example.test")

    answer = Client().post(link, {"password": PASSWORD})

    person.refresh_from_db()
    assert "has an account already" in answer.text
    assert person.email == "ada@example.test"


def test_links_are_not_sent_without_end(office, person, mails, settings):
    settings.ACCOUNT_RATE_LIMITS = {"reset_password": "100/m/ip,1/m/key"}
    asks(office.planner, person, "bounded-5@example.test")

    assert mails(lambda: asks(person, person, "Bounded-5@example.test")) == {}
    told = api_for(office.planner).post(
        f"/api/v1/people/{person.pk}/address/", {"email": "bounded-5@example.test"}
    )
    assert told.status_code == 429


def test_over_the_api_a_link_is_asked_for_and_nothing_edited(office, person, mails):
    client, where = api_for(office.planner), f"/api/v1/people/{person.pk}/"
    answers = []

    sent = mails(lambda: answers.append(client.post(f"{where}address/", {"email": NEW})))
    edited = client.patch(where, {"email": NEW}, headers={"If-Match": client.get(where)["ETag"]})

    assert (answers[0].status_code, answers[0].json()["email"]) == (202, "ada@example.test")
    assert "ada.new@example.test" in sent
    assert (edited.status_code, edited.json()["errors"][0]["field"]) == (400, "email")
