"""An installer's phone on a line that can be cut, and what the person sees and does on it."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db.backends.postgresql.psycopg_any import DateTimeTZRange
from django.utils import timezone
from playwright.sync_api import BrowserContext, ConsoleMessage, Locator, Page, Playwright, expect

from jobs.models import User, Visit
from tests.browser.keys import session_of
from tests.browser.line import Line
from tests.browser.shapes import PATIENCE_MS, PHONE, QUIET
from tests.jobs.on_site_scene import Scene, booked_scene

ON_PHONE = "on this phone only"
SAFE = "All safe at the office"


def scene_today(make: Callable[..., Scene] = booked_scene) -> Scene:
    """A visit that is on today, whenever the test runs."""
    midnight = timezone.localtime().replace(hour=0, minute=0, second=0, microsecond=0)
    day = DateTimeTZRange(midnight.replace(hour=8), midnight.replace(hour=17))
    return make(during=day)


@dataclass
class Phone:
    """A browser profile on disk. `restart` ends the browser and opens it again on the same disk.

    `troubles` is what went wrong behind the pages: script errors, refused styles, failed promises.
    """

    playwright: Playwright
    chromium_path: str
    profile: Path
    line: Line
    context: BrowserContext | None = None
    shape: dict[str, Any] | None = None
    troubles: list[str] = field(default_factory=list)

    def open(self) -> BrowserContext:
        self.context = self.playwright.chromium.launch_persistent_context(
            self.profile,
            executable_path=self.chromium_path,
            args=list(QUIET),
            base_url=self.line.address,
            locale="en-GB",
            timezone_id="Europe/London",
            accept_downloads=True,
            **(self.shape or PHONE),
        )
        self.context.set_default_timeout(PATIENCE_MS)
        self.context.on("weberror", lambda error: self.troubles.append(f"script: {error.error}"))
        self.context.on("console", self._listen)
        return self.context

    def _listen(self, said: ConsoleMessage) -> None:
        """What the browser complains of, but for answers and a line that tests break on purpose."""
        print("console:", said.text)
        if said.type == "error" and not said.text.startswith("Failed to load resource"):
            self.troubles.append(f"{said.text} at {said.location.get('url')}")

    def restart(self) -> Page:
        self.close()
        return self.open().new_page()

    def close(self) -> None:
        if self.context is not None:
            self.context.close()
            self.context = None

    def page(self) -> Page:
        context = self.context or self.open()
        return context.new_page()

    def sign_in(self, person: User) -> None:
        """As if by the sign-in page: the session's cookie, which a phone keeps for a fortnight."""
        name, value = settings.SESSION_COOKIE_NAME, session_of(person)
        context = self.context or self.open()
        cookie = {"name": name, "value": value, "url": self.line.address}
        cookie["expires"] = timezone.now().timestamp() + 14 * 24 * 3600  # type: ignore[assignment]
        context.add_cookies([cookie])  # type: ignore[list-item]


@dataclass
class OnSite:
    """A person with one page of the phone before them."""

    page: Page
    visit: Visit

    def address(self, step: str = "") -> str:
        return f"/on-site/visits/{self.visit.pk}/{step}"

    def opens(self, step: str = "") -> None:
        self.page.goto(self.address(step))
        self.is_ready()

    def is_ready(self) -> None:
        self.page.wait_for_selector("html[data-ready]")

    def is_served(self) -> None:
        """A first page with signal, and the worker in charge of it."""
        self.page.goto("/on-site/")
        self.is_ready()
        self.page.evaluate(WORKER_IN_CHARGE)

    def keeps_the_day(self) -> None:
        """Home with signal until the worker has kept the pages of the day."""
        self.page.goto("/on-site/")
        self.is_ready()
        self.page.evaluate(KEEP_THE_DAY)

    def reads(self, *words: str, within: Locator | None = None) -> None:
        for each in words:
            expect(within or self.page.locator("body")).to_contain_text(each)

    @property
    def bar(self) -> Locator:
        return self.page.locator("#phone-bar")

    def height_of_top(self) -> float:
        """Of the bar at the top [px], beneath which the page begins."""
        height: float = self.page.locator(".top-onsite").evaluate("it => it.offsetHeight")
        return height

    def all_is_safe(self) -> None:
        """Waits until the office has everything; when it never does, tells what it refused."""
        try:
            # The phone pauses by itself.
            expect(self.bar).to_contain_text(SAFE, timeout=PATIENCE_MS)
        except AssertionError:
            print([item for item in self.queue() if item["state"] == "refused"])
            raise

    def sends(self) -> None:
        """By the button, unless the phone was quicker and took it away."""
        self.page.get_by_role("button", name="Send now").evaluate_all(
            "buttons => buttons.forEach((button) => button.click())"
        )

    def has_on_phone(self, count: int) -> None:
        expect(self.bar).to_contain_text(f"{count} {ON_PHONE}")

    def takes(self, label: str, file: Path) -> Locator:
        point = self.page.locator(f'[data-point="{label}"]')
        point.locator("input[type=file]").first.set_input_files(file)
        return point

    def row(self, step: str) -> Locator:
        return self.page.locator(f'.work > li[data-step="{step}"]')

    def goes_on(self, call: str) -> None:
        """The one big button at the bottom; where it is a link, until its page is there."""
        bar = self.page.locator("#action-bar")
        big = bar.get_by_role("link", name=call).or_(bar.get_by_role("button", name=call))
        is_link = big.evaluate(MARK_PAGE)
        big.tap()
        self.page.wait_for_selector("html[data-ready]" + ":not([data-left])" * is_link)

    def answers_safely(self) -> None:
        """Every question of the form, as on a day when all is well."""
        for question in self.page.locator("fieldset.question").all():
            safe = self.page.locator("input:not([data-unsafe])")
            answer = question.locator("label", has=safe).first
            answer.tap()
            self._is_chosen_by(answer)
        done = self.page.locator("input[name=outcome][value=done]")
        if done.count():
            done.check()

    def _is_chosen_by(self, answer: Locator) -> None:
        """A tap that a busy machine draws out is a long press and chooses nothing: once more."""
        box = answer.locator("input")
        try:
            expect(box).to_be_checked(timeout=2000)
        except AssertionError:
            print("a tap chose nothing")
            answer.tap()
            expect(box).to_be_checked()

    def arrives(self) -> None:
        for operative in self.page.locator("input[name=operative_ids]").all():
            operative.check()
        self.page.get_by_label("let you in").fill("the householder")
        self.answers_safely()
        self.goes_on("We are here")
        after = re.compile(re.escape(self.address()) + "$")
        expect(self.page).to_have_url(after, timeout=PATIENCE_MS)  # it waits for the office a while

    def measures(self, depth_mm: int) -> int:
        """Touch a place that is wanted, type the depth, save; until none is wanted."""
        wanted = self.page.locator("circle.touch-wanted")
        count = 0
        while wanted.count():
            wanted.first.tap()
            self.page.locator("#id_depth_mm").fill(str(depth_mm + count % 3))
            self.page.get_by_role("button", name="Save the reading").tap()
            count += 1
            expect(self.page.locator("[data-phone-readings] > li")).to_have_count(count)
        return count

    def hands_over(self, signer: str) -> None:
        for caution in self.page.locator("input[name=cautions_given]").all():
            caution.check()
        self.page.locator("input[name=all_done][value=yes]").check()
        self.page.get_by_label("Name of who signs").fill(signer)
        self.page.get_by_label("Confirmed with the typed name").check()
        self.goes_on("Sign and hand over")

    def queue(self) -> list[dict[str, Any]]:
        """What IndexedDB holds, without bytes."""
        found: list[dict[str, Any]] = json.loads(self.page.evaluate(READ_QUEUE))
        return found


MARK_PAGE = """
(pressed) => {
  pressed.ownerDocument.documentElement.dataset.left = "yes";
  return pressed.matches("a");
}
"""
WORKER_IN_CHARGE = """
() => new Promise((resolve) => {
  if (navigator.serviceWorker.controller) resolve();
  else navigator.serviceWorker.addEventListener("controllerchange", () => resolve());
})
"""
KEEP_THE_DAY = """
() => new Promise(async (resolve) => {
  const worker = navigator.serviceWorker;
  if (!worker.controller) {
    await new Promise((taken) => worker.addEventListener("controllerchange", taken));
  }
  const channel = new BroadcastChannel("eavesbook-on-site");
  channel.addEventListener("message", (event) => {
    if (event.data.what === "kept") resolve(event.data.pages);
  });
  worker.controller.postMessage({ ask: "keep", again: true });
})
"""
READ_QUEUE = """
() => new Promise((resolve, reject) => {
  const opening = indexedDB.open("eavesbook-on-site");
  opening.onerror = () => reject(opening.error);
  opening.onsuccess = () => {
    const all = opening.result.transaction("items").objectStore("items").getAll();
    all.onsuccess = () => { opening.result.close(); resolve(JSON.stringify(all.result)); };
  };
})
"""
