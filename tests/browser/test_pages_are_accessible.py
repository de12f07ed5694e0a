"""Every page of every role, on a phone and on a desk, looked at by axe-core.

The rules are those that axe-core marks as WCAG 2.0 to 2.2, levels A and AA
(https://www.w3.org/TR/WCAG22/). The pages are read from the URL conf; where an address names a
record, it is the one that the access tests made for the person's own world.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.test import Client
from pytest_django.live_server_helper import LiveServer

from deploy.embedded.handover import PROJECT_FOLDER
from jobs.models import Role, User
from tests.access.addresses import ADDRESSES, Address
from tests.access.registry import OPEN, Unknown, sees, url_in
from tests.access.visitor import undone
from tests.access.worlds import World, build
from tests.browser.axe import violations
from tests.browser.conftest import Screens, screens_at
from tests.browser.shapes import DESK, PHONE
from tests.browser.traffic import Traffic
from tests.factories import CompanyFactory, SchemeFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db]

STRANGER = "stranger"
SIDEWAYS = "document.documentElement.scrollWidth > document.documentElement.clientWidth"
HAS_OWN_SCRIPTS = """
() => [...document.scripts].some(({ src }) => src && !/\\/(htmx-[\\d.]+\\.min|app)\\.js$/.test(src))
"""
"""Beside the two of every page, neither of which looks at the screen before laying a page out."""


FIGURES = """
() => [
  innerWidth, innerHeight, document.documentElement.clientWidth, visualViewport.width,
  screen.width, devicePixelRatio, matchMedia("(pointer: coarse)").matches,
]
"""


class Looker:
    """Opens pages on a phone, takes them to a desk, and writes down what is wrong with them.

    The screen is given the phone's and the desk's shape as the browser's own tools do it; a page
    that was opened under the one is then laid out under the other as if opened there, but for
    `(hover: hover)`, which no style of ours asks for. Pages with scripts of their own are opened
    again on the desk: a script may look at the screen when it begins.
    """

    def __init__(self, screens: Screens, person: User | None = None) -> None:
        self.screens = screens
        self.page = screens.open(str(person or STRANGER), {"no_viewport": True}, person)
        self.tools = self.page.context.new_cdp_session(self.page)
        self.traffic = Traffic(self.page)
        self.found: list[str] = []

    def looks_at(self, address: str) -> None:
        with self._writes_down(address, PHONE) as told:
            self.traffic.opens(address)
            told += violations(self.page)
        with self._writes_down(address, DESK):
            if self.page.evaluate(HAS_OWN_SCRIPTS):
                self.traffic.opens(address)
            else:
                self.traffic.rests()

    @contextmanager
    def _writes_down(self, address: str, shape: dict[str, Any]) -> Iterator[list[str]]:
        """What goes wrong on a screen of that shape, and whether the page is too wide for it."""
        told, before = list[str](), len(self.screens.troubles)
        self.takes(shape)
        yield told
        told += self.screens.troubles[before:]
        if self.page.evaluate(SIDEWAYS):
            told.append("it scrolls sideways")
        width = shape["viewport"]["width"]
        self.found += [f"{address} at {width} px: {trouble}" for trouble in told]

    def takes(self, shape: dict[str, Any]) -> None:
        size, by_finger = shape["viewport"], shape.get("has_touch", False)
        screen = {"screenWidth": size["width"], "screenHeight": size["height"]}
        look = {**size, **screen, "deviceScaleFactor": 1, "mobile": shape.get("is_mobile", False)}
        self.tools.send("Emulation.setDeviceMetricsOverride", look)
        self.tools.send("Emulation.setTouchEmulationEnabled", {"enabled": by_finger})


@pytest.fixture(scope="module")
def world(django_db_setup: None, django_db_blocker: Any) -> Iterator[World]:
    """One for all tests here, which only look; stored, since a server shows it."""
    with django_db_blocker.unblock():
        company, scheme = CompanyFactory(name="Invented Lofts"), SchemeFactory(name="Warm Trial")
        scheme.companies.add(company)
        world = build(World, "own", company, scheme)
        world.marked_scheme = scheme
        yield world
        call_command("flush", verbosity=0, interactive=False, reset_sequences=False)


@pytest.fixture(scope="module")
def address_of_server(world: World) -> Iterator[str]:
    """As pytest-django's `live_server`, which would undo the world after every test."""
    server = LiveServer("localhost")
    yield server.url
    server.stop()


@pytest.fixture
def screens(
    chromium_path: str, address_of_server: str, request: pytest.FixtureRequest, tmp_path: Path
) -> Iterator[Screens]:
    with screens_at(address_of_server, chromium_path, request, tmp_path) as opened:
        yield opened


@pytest.fixture
def pages(role: str, world: World) -> list[str]:
    """Every page that the role may open. Asked before there is a browser, which forbids it."""
    with undone():  # signing in would hold the person's row against whoever sits at the screen
        return sorted(set(pages_of(role, world)))


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
def test_every_page_of_a_role(role: str, world: World, pages: list[str], screens: Screens) -> None:
    assert len(pages) > 1
    looker = Looker(screens, world.people[role])

    for address in pages:
        looker.looks_at(address)

    assert looker.found == []


def test_pages_without_signing_in(screens: Screens) -> None:
    looker = Looker(screens)
    for address in ("/account/sign-in/", "/account/password/reset/", "/check/"):
        looker.looks_at(address)

    assert looker.found == []


def test_a_changed_shape_is_as_good_as_a_page_opened_anew(screens: Screens) -> None:
    """What the looks above stand on: the figures that styles ask for. None asks for hover."""
    looker, figures = Looker(screens), []
    for shape in (PHONE, DESK):
        opened = screens.open("its own", shape)
        opened.goto("/check/")
        looker.takes(PHONE)
        looker.page.goto("/check/")
        looker.takes(shape)
        figures.append(looker.page.evaluate(FIGURES))
        assert figures[-1] == opened.evaluate(FIGURES)

    assert figures[0] != figures[1]
    styles = (PROJECT_FOLDER / "deploy" / "static").rglob("*.css")
    assert [style.name for style in styles if "(hover" in style.read_text()] == []
