"""Every page of every role, on a phone and on a desk, looked at by axe-core.

The rules are those that axe-core marks as WCAG 2.0 to 2.2, levels A and AA
(https://www.w3.org/TR/WCAG22/). The pages are read from the URL conf; where an address names a
record, it is the one that the access tests made for the person's own world.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.test import Client
from playwright.sync_api import Page

from jobs.models import Role
from tests.access.addresses import ADDRESSES, Address
from tests.access.registry import OPEN, Unknown, sees, url_in
from tests.access.worlds import World, build
from tests.browser.conftest import DESK, PHONE, Screens
from tests.browser.people import Person
from tests.factories import CompanyFactory, SchemeFactory

pytestmark = pytest.mark.browser

WCAG = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"]}}
STRANGER = "stranger"
SIDEWAYS = "document.documentElement.scrollWidth > document.documentElement.clientWidth"


class Looker:
    """Opens pages on one screen and writes down what is wrong with them."""

    def __init__(self, page: Page, screens: Screens) -> None:
        self.page = page
        self.screens = screens
        self.found: list[str] = []

    def looks_at(self, address: str) -> None:
        before = len(self.screens.troubles)
        self.page.goto(address)
        self.page.wait_for_load_state("networkidle")
        told = self.screens.troubles[before:]
        self.found += [f"{address}: {trouble}" for trouble in told]
        if self.page.evaluate(SIDEWAYS):
            self.found.append(f"{address}: it scrolls sideways")

    def asks_axe(self) -> None:
        for violation in Axe().run(self.page, options=WCAG).response["violations"]:
            places = [" ".join(node["target"]) for node in violation["nodes"][:3]]
            self.found.append(f"{self.page.url}: {violation['help']}: {json.dumps(places)}")


@pytest.fixture
def addresses(transactional_db: None) -> dict[str, tuple[str, list[str]]]:
    """By role: the e-mail address to sign in with, and every page it may open."""
    company, scheme = CompanyFactory(name="Invented Lofts"), SchemeFactory(name="Warm Trial")
    scheme.companies.add(company)
    world = build(World, "own", company, scheme)
    world.marked_scheme = scheme
    return {
        role: (world.people[role].email, sorted(set(pages_of(role, world)))) for role in Role.values
    }


def pages_of(role: str, world: World) -> Iterator[str]:
    """Addresses that answer with a page: not those that only take a form, or give a file."""
    client = Client()
    client.force_login(world.people[role])
    for address in ADDRESSES:
        if is_for(address, role):
            url = url_in(address, world)
            answer = client.get(url)
            if answer.status_code == 200 and is_page(answer):
                yield url


def is_for(address: Address, role: str) -> bool:
    if address.is_api or address.name in OPEN:
        return False
    try:
        return role in address.read_roles and sees(address, role, "own")
    except Unknown:  # the access tests fail until somebody says what it names
        return False


def is_page(answer: Any) -> bool:
    return answer["Content-Type"].startswith("text/html") and b"<html" in answer.content


@pytest.mark.parametrize("role", Role.values)
def test_every_page_of_a_role(
    role: str,
    addresses: dict[str, tuple[str, list[str]]],
    screens: Screens,
) -> None:
    email, pages = addresses[role]
    assert len(pages) > 1

    found = looked_at(screens, email, pages, PHONE, axe=True)
    found += looked_at(screens, email, pages, DESK, axe=False)

    assert found == []


def looked_at(
    screens: Screens, email: str, pages: list[str], shape: dict[str, Any], *, axe: bool
) -> list[str]:
    """What is wrong with the pages on a screen of that shape."""
    width = shape["viewport"]["width"]
    looker = Looker(screens.open(f"{email} at {width}", shape), screens)
    Person(looker.page, email).signs_in()
    for address in pages:
        looker.looks_at(address)
        if axe:
            looker.asks_axe()
    return [f"{width} px: {trouble}" for trouble in looker.found]


def test_pages_without_signing_in(
    live_server: Any, transactional_db: None, screens: Screens, phone: Callable[[str], Page]
) -> None:
    looker = Looker(phone(STRANGER), screens)
    for address in ("/account/sign-in/", "/account/password/reset/", "/check/"):
        looker.looks_at(address)
        looker.asks_axe()

    assert looker.found == []
