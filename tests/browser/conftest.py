"""A browser, people who each sit at a screen of their own, and pictures of what failed."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from django.db import connections
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from jobs.models import User
from tests.browser.keys import sign_in
from tests.browser.line import Line
from tests.browser.office import Server
from tests.browser.phones import Phone
from tests.browser.shapes import DESK, PATIENCE_MS, PHONE, QUIET

FAILED = pytest.StashKey[bool]()


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]) -> Iterator[None]:
    """Remember on the test whether it failed, for the pictures taken after it."""
    report = yield
    item.stash[FAILED] = item.stash.get(FAILED, False) or report.failed
    return report


@dataclass
class Screens:
    """The screens in use, each a browser of its own with nobody signed in.

    `troubles` is whatever went wrong behind the pages: script errors, and answers of 4xx or 5xx.
    """

    browser: Browser
    address: str
    contexts: dict[str, BrowserContext] = field(default_factory=dict)
    troubles: list[str] = field(default_factory=list)

    def open(self, name: str, shape: dict[str, Any], person: User | None = None) -> Page:
        """A page of a new screen, with that person signed in."""
        context = self.browser.new_context(
            base_url=self.address, locale="en-GB", timezone_id="Europe/London", **shape
        )
        context.set_default_timeout(PATIENCE_MS)
        self.contexts[name] = context
        if person is not None:
            sign_in(context, person, self.address)
        context.on("weberror", lambda error: self.troubles.append(f"{name}: {error.error}"))
        context.on("console", lambda said: self._listen(name, said))
        context.on("response", lambda answer: self._look_at(name, answer))
        return context.new_page()

    def _listen(self, name: str, said: Any) -> None:
        broken_off = said.text.startswith("htmx:")  # by leaving the page; answers are looked at
        if said.type == "error" and not broken_off:
            self.troubles.append(f"{name}: {said.text} at {said.location.get('url')}")

    def _look_at(self, name: str, answer: Any) -> None:
        if answer.status >= 400:
            self.troubles.append(
                f"{name}: {answer.status} for {answer.request.method} {answer.url}"
            )

    def photograph(self, folder: Path) -> None:
        for name, context in self.contexts.items():
            for number, page in enumerate(context.pages):
                file = re.sub(r"\W+", "-", f"{name}-{number}")
                page.screenshot(path=folder / f"{file}.png", full_page=True)


@contextmanager
def screens_at(
    address: str, chromium_path: str, request: pytest.FixtureRequest, folder: Path
) -> Iterator[Screens]:
    """Screens on a server; when the test fails, what they show is saved in the folder."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path, args=list(QUIET))
        opened = Screens(browser, address)
        yield opened
        if request.node.stash.get(FAILED, False):
            opened.photograph(folder)
            print(f"What the screens showed: {folder}")
        browser.close()


@pytest.fixture
def screens(
    chromium_path: str, live_server: Any, request: pytest.FixtureRequest, tmp_path: Path
) -> Iterator[Screens]:
    """Screens on the live server."""
    with screens_at(live_server.url, chromium_path, request, tmp_path) as opened:
        yield opened


@pytest.fixture
def desk(screens: Screens) -> Callable[..., Page]:
    """`desk("planner")` is a page on a screen of 1440 px; `desk("planner", somebody)` is theirs."""
    return lambda name, person=None: screens.open(name, DESK, person)


@pytest.fixture
def phone(screens: Screens) -> Callable[..., Page]:
    """`phone("installer")` is a page on a touch screen of 390 px, likewise."""
    return lambda name, person=None: screens.open(name, PHONE, person)


@pytest.fixture(scope="session")
def server(
    django_db_setup: None, django_db_blocker: Any, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Server]:
    """The web server as a process of its own, on the tests' database."""
    from django.conf import settings

    log = tmp_path_factory.mktemp("office") / "server.log"
    running = Server(Path(settings.TEST_FOLDER), log)
    running.start()
    yield running
    running.stop()


@pytest.fixture
def line(server: Server) -> Iterator[Line]:
    """The line between phones and the office, to be cut."""
    laid = Line(server.port)
    yield laid
    laid.close()


@pytest.fixture
def pocket(
    chromium_path: str,
    transactional_db: None,
    line: Line,
    tmp_path: Path,
    request: pytest.FixtureRequest,
    monkeypatch: pytest.MonkeyPatch,
) -> Iterator[Callable[[str], Phone]]:
    """`pocket("lead")` is a phone with a disk of its own, nobody signed in."""
    # Playwright's loop runs in this thread; the records the test looks at are nobody else's.
    monkeypatch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
    phones: dict[str, Phone] = {}
    with sync_playwright() as playwright:

        def take(name: str) -> Phone:
            return phones.setdefault(
                name, Phone(playwright, chromium_path, tmp_path / f"phone-{name}", line)
            )

        yield take
        for name, phone in phones.items():
            if request.node.stash.get(FAILED, False) and phone.context:
                for number, page in enumerate(phone.context.pages):
                    page.screenshot(path=tmp_path / f"{name}-{number}.png", full_page=True)
                print(f"What the phones showed: {tmp_path}")
            phone.close()
        # While a loop runs Django keeps other connections; nobody finds these once it has ended.
        connections.close_all()
        assert [trouble for phone in phones.values() for trouble in phone.troubles] == []
