"""A session that ended under an open page: what was sent is not taken, and not lost."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from jobs.models import Van
from tests.factories import CompanyFactory, UserFactory

TYPED = {"name": "Van <North>", "note": "Two words", "password1": "a secret", "tick": ["1", "2"]}


@pytest.mark.django_db
def test_what_was_sent_without_a_session_comes_back_to_be_sent_again(client: Client) -> None:
    address = reverse("van_new") + "?from=board"

    refused = client.post(address, TYPED)

    assert refused.status_code == 401 and not Van.objects.exists()
    assert 'action="/vans/new/?from=board"' in refused.text
    assert "Van &lt;North&gt;" in refused.text and "Two words" in refused.text
    assert refused.text.count('name="tick"') == 2
    assert "a secret" not in refused.text


@pytest.mark.django_db
def test_scripts_are_told_in_their_own_way_and_pages_lead_to_signing_in(client: Client) -> None:
    address = reverse("van_new")

    told = client.post(address, TYPED, headers={"Accept": "application/json"})
    part = client.get(address, headers={"HX-Request": "true"})
    page = client.get(address)

    assert told.status_code == part.status_code == 401
    assert told.json()["refused"] == told.json()["message"]
    assert page.status_code == 302 and page.headers["Location"].startswith("/account/sign-in/")


@pytest.mark.django_db
def test_it_is_taken_once_its_sender_is_back(client: Client) -> None:
    planner = UserFactory(role="planner", company=CompanyFactory())
    before = client.post(reverse("van_new"), {"name": "North", "load_volume_m3": "9"})
    client.force_login(planner)

    client.post(reverse("van_new"), {"name": "North", "load_volume_m3": "9"})

    assert before.status_code == 401
    assert Van.objects.get().company == planner.company
