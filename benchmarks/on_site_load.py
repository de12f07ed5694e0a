"""What the on-site pages weigh, and how soon they answer a finger: with signal, slowly, without.

    python -m benchmarks.on_site_load [ADDRESS] [EMAIL] [PASSWORD]

against a running service (`deploy/up` with its demo), 127.0.0.1:8765 and the demo's crew lead if
left out. Bytes are counted on a line of our own between browser and server, so headers and
what the service worker fetches are in them; connections are not encrypted, so TLS is not. Slow 3G
is 400 kbit/s each way and 400 ms before each answer, laid on that line and, for the page itself,
by the browser's own emulation (CDP Network.emulateNetworkConditions). Times are wall clock from the
start of the navigation to the mark that main.js sets when everything on the page is in use; on a
shared machine they are upper bounds, so the load average is printed beside them.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from urllib.parse import urlsplit

from playwright.sync_api import BrowserContext, Page, sync_playwright

from deploy.demo import PASSWORD
from deploy.embedded.outside import CHROMIUM
from tests.browser.line import Line
from tests.browser.shapes import PHONE, QUIET

ADDRESS = "http://127.0.0.1:8765"
EMAIL = "installer@curlew.example"
REPEATS = 9
SLOW_3G_KBIT = 400.0
SLOW_3G_LATENCY_S = 0.4
LIMIT_BYTES = 250_000

READY = """
() => new Promise((resolve) => {
  const look = () => {
    const mark = performance.getEntriesByName("ready")[0];
    if (mark) resolve(mark.startTime); else setTimeout(look, 5);
  };
  look();
})
"""
KEPT = """
() => new Promise(async (resolve) => {
  const worker = navigator.serviceWorker;
  if (!worker.controller) {
    await new Promise((taken) => worker.addEventListener("controllerchange", taken));
  }
  const channel = new BroadcastChannel("eavesbook-on-site");
  channel.addEventListener("message", (event) => {
    if (event.data.what === "kept") resolve(event.data.pages);
  });
  worker.controller.postMessage({ ask: "keep" });
})
"""
IN_CHARGE = """
() => new Promise((resolve) => {
  const worker = navigator.serviceWorker;
  if (worker.controller) resolve();
  else worker.addEventListener("controllerchange", () => resolve());
})
"""


@dataclass(frozen=True, slots=True)
class Load:
    """Bytes both ways on the line, requests of the page and of the worker, milliseconds."""

    down: int
    up: int
    requests: int
    ready_ms: float


@contextmanager
def counted(line: Line, context: BrowserContext) -> Iterator[dict[str, int]]:
    seen = {"down": line.sent_down, "up": line.sent_up, "requests": 0}

    def count(_: object) -> None:
        seen["requests"] += 1

    context.on("request", count)
    yield seen
    context.remove_listener("request", count)
    seen["down"] = line.sent_down - seen["down"]
    seen["up"] = line.sent_up - seen["up"]


def open_page(page: Page, line: Line, address: str) -> Load:
    with counted(line, page.context) as seen:
        page.goto(address)
        ready = float(page.evaluate(READY))
        page.wait_for_load_state("networkidle")
    return Load(seen["down"], seen["up"], seen["requests"], ready)


def sign_in(page: Page, email: str, password: str) -> None:
    page.goto("/account/sign-in/")
    page.locator("[name=login]").fill(email)
    page.locator("[name=password]").fill(password)
    page.get_by_role("button", name="Sign in", exact=True).click()
    page.wait_for_url("**/on-site/")


def slow_down(page: Page) -> None:
    session = page.context.new_cdp_session(page)
    session.send("Network.enable")
    rate = SLOW_3G_KBIT * 1000 / 8
    session.send(
        "Network.emulateNetworkConditions",
        {
            "offline": False,
            "latency": SLOW_3G_LATENCY_S * 1000,
            "downloadThroughput": rate,
            "uploadThroughput": rate,
        },
    )


def told(what: str, load: Load) -> str:
    return (
        f"{what:<46}{load.down / 1000:8.1f} kB down {load.up / 1000:6.1f} kB up"
        f" {load.requests:4d} requests {load.ready_ms:7.0f} ms"
    )


class Bench:
    """A browser, a line to the service, and the cookie of the crew lead."""

    def __init__(self, playwright: object, address: str, email: str, password: str) -> None:
        chromium = CHROMIUM.find(os.environ)
        if chromium is None:
            raise SystemExit(CHROMIUM.how_to_install)
        self.playwright, self.chromium = playwright, str(chromium)
        self.line = Line(urlsplit(address).port or 80)
        with self.context() as context:
            page = context.new_page()
            sign_in(page, email, password)
            self.cookies = context.cookies()

    @contextmanager
    def context(self) -> Iterator[BrowserContext]:
        """A profile with an empty cache."""
        with tempfile.TemporaryDirectory() as profile:
            context = self.playwright.chromium.launch_persistent_context(  # type: ignore[attr-defined]
                profile,
                executable_path=self.chromium,
                args=list(QUIET),
                base_url=self.line.address,
                **PHONE,
            )
            yield context
            context.close()

    @contextmanager
    def signed_in(self) -> Iterator[Page]:
        with self.context() as context:
            context.add_cookies(self.cookies)
            yield context.new_page()

    def first_load(self) -> None:
        with self.signed_in() as page:
            alone = open_page(page, self.line, "/on-site/")
            print(told("first load of the day's visits", alone))
            print(f"  {alone.down / LIMIT_BYTES:.0%} of the 250 kB asked for")
            with counted(self.line, page.context) as seen:
                page.evaluate(IN_CHARGE)
            print(f"  and for the worker and its shell {seen['down'] / 1000:.1f} kB")
            with counted(self.line, page.context) as seen:
                pages = page.evaluate(KEPT)
            print(f"  and to keep {pages} pages of the day {seen['down'] / 1000:.1f} kB")
            print(told("the same again, cached", open_page(page, self.line, "/on-site/")))

    def slow(self) -> None:
        with self.signed_in() as page:
            slow_down(page)
            print(
                told(
                    "first load, slow 3G (the browser's emulation)",
                    open_page(page, self.line, "/on-site/"),
                )
            )
        with self.signed_in() as page:
            self.line.slow(SLOW_3G_LATENCY_S, SLOW_3G_KBIT)
            print(told("first load, slow 3G (the line's)", open_page(page, self.line, "/on-site/")))
            page.evaluate(KEPT)
            print(
                told("a kept page, slow 3G (the line's)", open_page(page, self.line, "/on-site/"))
            )
            self.line.slow(0.0, 1e9)

    def without(self) -> None:
        with self.signed_in() as page:
            page.goto("/on-site/")
            page.evaluate(KEPT)
            visit = page.locator(".visit-link").first.get_attribute("href") or "/on-site/"
            for mode, cut in (
                ("without network", self.line.down),
                ("one bar, no answer", self.line.silent),
            ):
                cut()
                for address in ("/on-site/", visit, f"{visit}readings/"):
                    times = [self._again(page, address) for _ in range(REPEATS)]
                    print(
                        f"{mode + ', ' + address:<46}{statistics.median(times):8.0f} ms to use,"
                        f" longest of {REPEATS}: {max(times):.0f} ms"
                    )
                self.line.up()

    def _again(self, page: Page, address: str) -> float:
        page.goto("about:blank")
        page.goto(address)
        return float(page.evaluate(READY))


def main() -> None:
    given = dict(enumerate(sys.argv[1:]))
    with sync_playwright() as playwright:
        bench = Bench(
            playwright, given.get(0, ADDRESS), given.get(1, EMAIL), given.get(2, PASSWORD)
        )
        bench.first_load()
        bench.slow()
        bench.without()
        bench.line.close()
    print(f"load average {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")


if __name__ == "__main__":
    main()
