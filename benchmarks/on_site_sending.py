"""How long a phone takes to send four photos over slow 3G, one at a time and two at once.

    python -m benchmarks.on_site_sending ADDRESS EMAIL VISIT [PASSWORD]

against a running service that serves its scripts as they are (`manage.py runserver`), with a visit
of that crew lead. It leaves photos there: use a demo. The line is ours: 400 kbit/s each way and
400 ms before each answer. One at a time is had by changing one figure of sender.js on the line.
Times are wall clock from the choice of the photos to the last one stored; turns alternate.
"""

from __future__ import annotations

import os
import random
import statistics
import sys
import tempfile
import time
from pathlib import Path
from urllib.parse import urlsplit

from PIL import Image
from playwright.sync_api import BrowserContext, sync_playwright

from benchmarks.on_site_load import IN_CHARGE, SLOW_3G_KBIT, SLOW_3G_LATENCY_S
from deploy.demo import PASSWORD
from deploy.embedded.outside import CHROMIUM
from tests.browser.line import Line
from tests.browser.shapes import PHONE, QUIET

PHOTOS = 4
TURNS = (1, 2, 1, 2, 1, 2)
FIGURE = b"PHOTOS_AT_ONCE = 2"
PATIENCE_MS = 300_000
UNSENT = "(some) => (document.getElementById('phone-bar').dataset.unsent !== '0') === some"


def photos_in(folder: Path) -> list[Path]:
    """Pictures of noise of some 140 kB that no service has seen."""
    files = []
    for number in range(PHOTOS):
        size = (480 + number, random.randrange(340, 440))
        file = folder / f"{number}.jpg"
        Image.effect_noise(size, 90).convert("RGB").save(file, "JPEG", quality=85)
        files.append(file)
    return files


def seconds_to_send(context: BrowserContext, line: Line, visit: str, files: list[Path]) -> float:
    page = context.pages[0]
    page.goto("/on-site/")
    page.evaluate(IN_CHARGE)
    page.goto(f"/on-site/visits/{visit}/photos/before/")
    page.wait_for_selector("html[data-ready]")
    page.wait_for_timeout(4000)  # the worker keeps the day's pages, which is not what is measured
    line.slow(SLOW_3G_LATENCY_S, SLOW_3G_KBIT)
    began = time.monotonic()
    page.locator('[data-point=""] input[multiple]').set_input_files(files)
    page.wait_for_function(UNSENT, arg=True)
    page.wait_for_function(UNSENT, arg=False, timeout=PATIENCE_MS)
    return time.monotonic() - began


def main() -> None:
    address, email, visit, *rest = sys.argv[1:]
    chromium = CHROMIUM.find(os.environ) or sys.exit(CHROMIUM.how_to_install)
    taken: dict[int, list[float]] = {1: [], 2: []}
    with sync_playwright() as playwright:
        for at_once in TURNS:
            line = Line(urlsplit(address).port or 80)
            line.swap = (FIGURE, FIGURE[:-1] + str(at_once).encode())
            with tempfile.TemporaryDirectory() as folder:
                context = playwright.chromium.launch_persistent_context(
                    Path(folder) / "profile",
                    executable_path=str(chromium),
                    args=list(QUIET),
                    base_url=line.address,
                    **PHONE,
                )
                context.set_default_timeout(PATIENCE_MS)
                page = context.pages[0]
                page.goto("/account/sign-in/")
                page.fill("[name=login]", email)
                page.fill("[name=password]", rest[0] if rest else PASSWORD)
                page.get_by_role("button", name="Sign in", exact=True).click()
                page.wait_for_load_state()
                files = photos_in(Path(folder))
                taken[at_once].append(seconds_to_send(context, line, visit, files))
                context.close()
            line.close()
    for at_once, seconds in taken.items():
        print(f"{at_once} at once: median {statistics.median(seconds):.1f} s of {len(seconds)}")
    ratio = statistics.median(taken[2]) / statistics.median(taken[1])
    print(f"two at once take {ratio:.0%} of one at a time; load average {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main()
