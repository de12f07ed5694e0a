"""What depends on who is signed in is kept by no cache between (RFC 9111, section 5.2.2.7)."""

from __future__ import annotations

import pytest
from django.http import HttpResponse
from django.test import Client

from deploy.private_answers import keep_private
from tests.jobs.planner_scene import an_office, signed_in

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("address", ["/desk/", "/people/", "/account/address/", "/packs/none/"])
def test_pages_of_who_is_signed_in_are_private(address: str) -> None:
    answer = signed_in(an_office().planner).get(address)

    assert answer["Cache-Control"] == "private"


def test_so_are_answers_to_scripts_and_what_leads_to_signing_in() -> None:
    assert signed_in(an_office().planner).get("/api/v1/jobs/")["Cache-Control"] == "private"
    assert Client().get("/desk/")["Cache-Control"] == "private"


def test_who_says_how_to_be_kept_is_left_alone() -> None:
    asked = {"Vary": "Cookie", "Cache-Control": "no-store"}

    assert keep_private(HttpResponse(headers=asked))["Cache-Control"] == "no-store"
    assert "Cache-Control" not in keep_private(HttpResponse())
