"""When a page has come to rest: nothing of it is still on its way, and what came is drawn."""

from __future__ import annotations

import time

from playwright.sync_api import Page, Request

from tests.browser.shapes import PATIENCE_MS

LOOK_AGAIN_MS = 10
BEGUN = """
() => {
  const bar = document.querySelector("body[data-person]:not([data-person='']) #phone-bar");
  const room = document.querySelector("[data-room]");
  return document.readyState === "complete"
    && (!bar || "unsent" in bar.dataset) && (!room || room.textContent !== "");
}
"""
"""The document is there with scripts and pictures, and what a phone keeps has been read."""

TWO_FRAMES = """
() => new Promise((drawn) => requestAnimationFrame(() => requestAnimationFrame(drawn)))
"""
"""In the first, what came into sight is noticed and may be asked for."""


class Traffic:
    """The requests of one page that have no answer yet."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.under_way: set[Request] = set()
        page.on("request", self._begins)
        page.on("requestfinished", self._ends)
        page.on("requestfailed", self._ends)

    def _begins(self, request: Request) -> None:
        self.under_way.add(request)

    def _ends(self, request: Request) -> None:
        self.under_way.discard(request)

    def opens(self, address: str) -> None:
        """Goes there and waits until the page has come to rest."""
        self.page.goto(address)
        self.rests()

    def rests(self) -> None:
        """Waits until the page has begun, and two frames pass with no request under way.

        Raises:
            AssertionError: it never rests; names what it still waits for.
        """
        self.page.wait_for_function(BEGUN)
        deadline = time.monotonic() + PATIENCE_MS / 1000
        while True:
            self.page.evaluate(TWO_FRAMES)
            if not self.under_way:
                return
            waits_for = [request.url for request in self.under_way]
            assert time.monotonic() < deadline, f"{self.page.url} still waits for {waits_for}"
            self.page.wait_for_timeout(LOOK_AGAIN_MS)
