"""Reading one job's evidence on the auditor's page, against the same evidence as folders of files.

    python -m benchmarks.audit_reading [photos]

No auditors were timed. The keystroke-level model (Card, Moran and Newell, The keystroke-level model
for user performance time with interactive systems, CACM 23, 1980, 396-410) adds up what hands do
and what must be decided first; its times are from memory. On the page every key is really pressed
in headless Chromium, counted, and its answer waited for. Folders are an account of acts, stated
line by line, and are favoured: files are named and sorted pair by pair, their windows answer at
once, and nobody loses the place. Looking takes as long either way and is no act; the last lines
say what is left of the ratio when each photo is looked at for some seconds.
"""

from __future__ import annotations

import argparse
import os
import random
import time
from dataclasses import dataclass, field
from typing import Any

from benchmarks.audit_page import IN_VIEW, make_job, served
from benchmarks.own_database import own_database

NAME = "eavesbook_audit_reading"
KEY_S, POINT_S, HOME_S, MENTAL_S = 0.28, 1.10, 0.40, 1.35
"""K (an average typist who is no secretary), P, H, M of the paper."""
CLICK, DOUBLE_CLICK = 1, 2
WORDS = "Gap in the wool beside the hatch."
MOST_WARNED = 3
"""Things with a warning that are looked at: the invented photos are alike and nearly all warned of,
as no true job's are."""
LOOKS_S = (0.5, 1.0, 2.0, 4.0)
SETTLED = "() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))"
ZOOMED = """() => { const open = document.querySelector("#zoom[open]"); return open
  && [...open.querySelectorAll("img")].every(i => i.complete && i.naturalWidth); }"""
WARNED = """() => [...document.querySelectorAll("[data-thing]")].filter(t =>
  t.matches(".needs-hand") || t.querySelector(".point-warning")).length"""


@dataclass
class Acts:
    """Operators of the model; answers_s is R, as measured."""

    keys: int = 0
    points: int = 0
    homes: int = 0
    mental: int = 0
    answers_s: float = 0.0
    told: list[tuple[str, float]] = field(default_factory=list)

    @property
    def seconds(self) -> float:
        return (
            self.keys * KEY_S
            + self.points * POINT_S
            + self.homes * HOME_S
            + self.mental * MENTAL_S
            + self.answers_s
        )

    def note(self, what: str, before_s: float) -> None:
        self.told.append((what, self.seconds - before_s))

    def __str__(self) -> str:
        return (
            f"{self.keys} K, {self.points} P, {self.homes} H, {self.mental} M, "
            f"R {self.answers_s:.1f} s: {self.seconds:.1f} s"
        )


class Page:
    """The page, driven by keys alone."""

    def __init__(self, page: Any) -> None:
        self.page, self.acts = page, Acts()

    def press(self, key: str, until: str = "") -> None:
        self.acts.keys += key.count("+") + 1
        start = time.perf_counter()
        self.page.keyboard.press(key)
        if until:
            self.page.wait_for_function(until)
        self.page.evaluate(SETTLED)
        self.acts.answers_s += time.perf_counter() - start

    def read(self, pairs: int, warned: int) -> None:
        acts = self.acts
        before = acts.seconds
        acts.mental += 1
        self.press("1")
        acts.mental += 1
        self.press("2")
        acts.note("verdict with its arithmetic, readings on the drawing", before)
        before = acts.seconds
        acts.mental += 1
        self.press("3")
        self.press("z", ZOOMED)
        for _ in range(pairs - 1):
            self.press("ArrowRight", ZOOMED)
        self.press("Escape")
        acts.note(f"{pairs} pairs, large and side by side", before)
        before = acts.seconds
        acts.mental += 1
        self.press("4")
        for _ in range(warned):
            acts.mental += 1
            self.press("w")
        acts.note(f"times and places, {warned} things with a warning", before)
        before = acts.seconds
        acts.mental += 1
        self.press("f")
        acts.mental += 1
        self.press("2")
        self.page.keyboard.type(WORDS)
        acts.keys += len(WORDS)
        self.press("Control+Enter", "() => document.querySelector('.finding-draft')")
        acts.note("one finding, in words", before)

    def go_on(self) -> None:
        before = self.acts.seconds
        self.acts.mental += 1
        with self.page.expect_navigation():
            self.press_away("m")
        start = time.perf_counter()
        self.page.wait_for_function(f"() => document.readyState !== 'loading' && ({IN_VIEW})()")
        self.acts.answers_s += time.perf_counter() - start
        self.acts.note("marked as read, the next page usable", before)

    def press_away(self, key: str) -> None:
        self.acts.keys += 1
        self.page.keyboard.press(key)


def folders(photos: int, pairs: int, warned: int) -> Acts:
    """The same work in a file manager, a viewer and two spreadsheets. Answers take no time."""
    acts = Acts()

    def step(what: str, *, keys: int = 0, points: int = 0, homes: int = 0, mental: int = 0) -> None:
        before = acts.seconds
        acts.keys += keys
        acts.points += points
        acts.homes += homes
        acts.mental += mental
        acts.note(what, before)

    open_one = {"points": 1, "keys": DOUBLE_CLICK, "mental": 1}
    step("open the job's folder", **open_one, homes=1)
    step("open the sheet of readings", **open_one)
    step("mark its depths, so that it shows their mean and least", points=2, keys=CLICK, mental=1)
    step("open the verdict, look, close it", points=1, keys=DOUBLE_CLICK + 2, mental=1, homes=1)
    step(
        "open the drawing, look, close drawing and sheet", points=1, keys=DOUBLE_CLICK + 4, mental=1
    )
    step(
        "open the first photo before, and the first after",
        points=2,
        keys=2 * DOUBLE_CLICK,
        mental=1,
    )
    step("set both windows side by side, show their details", keys=4 + 2, mental=1, homes=1)
    step("other window, next photo, twice for each further pair", keys=6 * (pairs - 1))
    step("further photos, one after the other", keys=max(0, photos - 2 * pairs))
    step("look closer at what is odd: zoom in, back", keys=2 * warned, mental=warned)
    step("compare all hashes with the list: a command", keys=len("sha256sum -c list") + 1, mental=1)
    step("close both viewers", keys=4)
    step(
        "go to the list of findings, to its next line", keys=2 + CLICK, points=1, mental=1, homes=1
    )
    step(
        "job, photo and class typed, then the finding in words",
        keys=len("J-000123") + 1 + len("P12 after") + 1 + 1 + 1 + len(WORDS) + 1,
        mental=1,
        homes=1,
    )
    step(
        "tick the job off in the list of drawn jobs",
        keys=2 + CLICK + 1,
        points=1,
        mental=1,
        homes=1,
    )
    return acts


def main(photos: int) -> None:
    from playwright.sync_api import sync_playwright

    from deploy.embedded.outside import CHROMIUM

    random.seed(1)
    with own_database(NAME):
        made = make_job(photos)
        from django.db import connection

        connection.close()
        with served() as there, sync_playwright() as playwright:
            browser = playwright.chromium.launch(
                executable_path=str(CHROMIUM.find(os.environ)), args=["--no-sandbox"]
            )
            context = browser.new_context(viewport={"width": 1440, "height": 900})
            context.add_cookies([{"name": "sessionid", "value": made["cookie"], "url": there}])
            page = context.new_page()
            page.goto(there + made["reading page"])
            page.wait_for_function("() => !document.querySelector('[data-show-keys]').hidden")
            pairs = page.locator(".pair").count()
            warned = min(MOST_WARNED, page.evaluate(WARNED))
            reader = Page(page)
            reader.read(pairs, warned)
            reader.go_on()
            browser.close()
    _tell(photos, reader.acts, folders(photos, pairs, warned))


def _tell(photos: int, page: Acts, files: Acts) -> None:
    print(f"one job of {photos} photos; load average {os.getloadavg()[0]:.1f}")
    for name, acts in (("the page", page), ("folders", files)):
        print(f"\n{name}: {acts}")
        for what, seconds in acts.told:
            print(f"  {seconds:6.1f} s  {what}")
    print(f"\nacts alone: {files.seconds / page.seconds:.1f} times as fast on the page")
    at_once = files.seconds / (page.seconds - page.answers_s)
    print(f"and if the page too answered at once: {at_once:.1f} times")
    for look in LOOKS_S:
        looking = look * photos
        ratio = (files.seconds + looking) / (page.seconds + looking)
        print(f"with {look:g} s of looking at each photo: {ratio:.1f} times")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("photos", type=int, nargs="?", default=60)
    main(parser.parse_args().photos)
