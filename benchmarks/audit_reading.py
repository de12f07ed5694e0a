"""Reading one job's evidence on the auditor's page, against the same evidence as folders of files.

    python -m benchmarks.audit_reading [photos]

No auditors were timed. On the page every key is really pressed in headless Chromium, counted, and
its answer waited for, several times; the rest is an account of acts and looks, stated line by line
(`benchmarks.audit_reading_model`, with its sources and its three sets of assumptions). The job has
60 invented photos at 30 points of its drawing; three of them are odd: a place far away, a time
before the visit, one photo sent twice.
"""

from __future__ import annotations

import argparse
import os
import random
import statistics
import time
from collections.abc import Callable
from dataclasses import fields, replace
from typing import Any

from benchmarks.audit_page import IN_VIEW, make_job, served
from benchmarks.audit_reading_model import (
    ASSUMED,
    SCENE_S,
    Acts,
    Job,
    in_folders,
    on_the_page,
)
from benchmarks.own_database import own_database

NAME = "eavesbook_audit_reading"
TIMES = 5
"""Jobs that are read one after the other; the middle of each answer is taken."""
ODD = 3
VERDICT_FIGURES = 4
SETTLED = "() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))"
SHOWN_PX = """kind => {
  const all = [...document.querySelectorAll(`.pair${kind} [data-shot-of] img`)];
  return all.length ? Math.min(...all.map(i => i.getBoundingClientRect().width)) : 0; }"""
WORDS_OF_REASONS = """() => [...document.querySelectorAll(".pair-reasons summary")]
  .reduce((sum, one) => sum + one.textContent.trim().split(/\\s+/).length, 0)"""
AT_HAND = "() => performance.getEntriesByType('resource').some(r => r.name.endsWith('?ahead'))"
QUIET_LOOKS = 8
TOLD = "() => document.querySelector('.finding-draft')"
FINDING_ON_SCREEN = 2
MEASURED_SHOWN = """() => {
  const figures = [...document.querySelectorAll("#verdict .figure dd")];
  const readings = [...document.querySelectorAll("[data-reading-drawing] .eb-reading")];
  const top = document.querySelector("[data-reading-bar]").getBoundingClientRect().bottom;
  return figures.length > 0 && readings.length > 0 && [...figures, ...readings]
    .map(each => each.getBoundingClientRect())
    .every(box => box.width && box.top >= top && box.bottom <= innerHeight); }"""
"""Whether the figures of the verdict and the readings on the drawing are on the screen together."""
AT_TOP = "() => scrollY === 0"


class Reader:
    """Presses keys, and waits until what they ask for can be seen."""

    def __init__(self, page: Any) -> None:
        self.page = page
        self.counted: list[int] = []
        self.jumps: list[int] = []
        self.wordings: list[int] = []
        self.worded: list[int] = []
        self.ahead_s: list[float] = []
        self.under_way: set[Any] = set()
        page.on("request", lambda request: self.under_way.add(request))
        for ended in ("requestfinished", "requestfailed"):
            page.on(ended, lambda request: self.under_way.discard(request))
        self.answers: dict[str, list[float]] = {}

    def timed(self, what: str, act: Callable[[], None]) -> None:
        start = time.perf_counter()
        act()
        self.page.evaluate(SETTLED)
        self.answers.setdefault(what, []).append(time.perf_counter() - start)

    def press(self, key: str, until: str = "") -> None:
        self.page.keyboard.press(key)
        if until:
            self.page.wait_for_function(until)

    def read(self) -> None:
        """One job, from its first screen to the next job's."""
        start = time.perf_counter()
        self._screens()
        self.jumps.append(0)
        if not self.page.evaluate(MEASURED_SHOWN):
            self.timed("drawing", lambda: self.press("3"))
            self.jumps[-1] += 1
        self.page.wait_for_function(AT_HAND)
        self.rests()
        self.ahead_s.append(time.perf_counter() - start)
        self.timed("next", self._next)

    def rests(self) -> None:
        """The next job is at hand, as it is for a reader who has read for minutes by now."""
        quiet = 0
        while quiet < QUIET_LOOKS:
            self.page.wait_for_timeout(100)
            quiet = 0 if self.under_way else quiet + 1

    def _screens(self) -> None:
        """Screen by screen; on one of them something is found."""
        self.counted.append(0)
        waited: list[float] = []
        while self.page.locator(".pair:not(.pair-is-seen)").count():
            self.counted[-1] += 1
            if self.counted[-1] == FINDING_ON_SCREEN:
                self.timed("finding", self._finding)
            start = time.perf_counter()
            self.press("Space", IN_VIEW)
            self.page.evaluate(SETTLED)
            waited.append(time.perf_counter() - start)
        self.answers.setdefault("screens", []).append(sum(waited))

    def _finding(self) -> None:
        """On a pair beside the first of its screen, in ready words."""
        for key in ("ArrowDown", "ArrowRight", "f"):
            self.press(key)
        self.wordings.append(self.page.locator("[data-wording]:visible").count())
        self.press("1")
        words = self.page.locator("[data-finding-form] textarea").input_value()
        self.worded.append(len(words.split()))
        self.press("Enter", TOLD)

    def _next(self) -> None:
        was = self.page.url
        self.page.keyboard.press("m")
        self.page.wait_for_function("was => location.href !== was", arg=was)
        self.page.wait_for_function(f"() => ({IN_VIEW})() && ({AT_TOP})()")

    def read_of(self) -> dict[str, int]:
        """What the middle job took beside its pairs, as counts of a `Job`."""
        counts = {
            "screens": self.counted,
            "jumps": self.jumps,
            "wordings": self.wordings,
            "wording_words": self.worded,
        }
        return {name: round(statistics.median(found)) for name, found in counts.items()}

    def middle(self) -> dict[str, float]:
        return {what: statistics.median(found) for what, found in self.answers.items()}


def main(photos: int) -> None:
    from playwright.sync_api import sync_playwright

    from deploy.embedded.outside import CHROMIUM

    random.seed(1)
    with own_database(NAME):
        made = make_job(photos, jobs=TIMES + 1, odd=ODD)
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
            reader, jobs = Reader(page), []
            for _ in range(TIMES):
                if not jobs:
                    reader.rests()
                jobs.append(_job(page))
                reader.read()
            large_px, small_px = (
                page.evaluate(SHOWN_PX, ".pair-large"),
                page.evaluate(SHOWN_PX, ":not(.pair-large)"),
            )
            browser.close()
    print(f"photos are shown {small_px:.0f} px wide, doubted ones {large_px:.0f} px at least")
    _tell(replace(_middle_job(jobs), **reader.read_of()), reader)


def _job(page: Any) -> Job:
    """What there is to read, as the page shows it."""
    readings = page.locator(".reading-row:has(strong)").count()
    return Job(
        photos=page.locator("[data-shot-of]").count(),
        pairs=page.locator(".pair").count(),
        odd=ODD,
        doubted=page.locator(".js-doubted-pair").count(),
        figures=VERDICT_FIGURES + readings,
        likes=page.locator(".js-pair-like").count(),
        checks=page.locator(".machine-checks > li").count(),
        told=page.locator(".pair-group").count() + page.locator(".pair-why", has_text=":").count(),
        reason_words=page.evaluate(WORDS_OF_REASONS),
    )


def _middle_job(jobs: list[Job]) -> Job:
    """Of each count the middle: how many photos look alike differs from job to job."""
    counts = {each.name: [getattr(job, each.name) for job in jobs] for each in fields(Job)}
    return Job(**{name: round(statistics.median(found)) for name, found in counts.items()})


def _tell(job: Job, reader: Reader) -> None:
    answers, load = reader.middle(), os.getloadavg()[0]
    print(
        f"{job.photos} photos, {job.pairs} points, {job.doubted} doubted; load average {load:.1f}"
    )
    print(f"the next job was at hand after {max(reader.ahead_s):.0f} s at most, keys not waiting")
    print("answers of the page, middle of", TIMES, "jobs [s]:", _rounded(answers))
    for assumed in ASSUMED:
        sides = _sides(job, assumed, answers)
        print(f"\n== {assumed.name} ==")
        for name, acts in sides.items():
            print(f"{name}: {acts}")
            for what, seconds in acts.told:
                print(f"  {seconds:6.1f} s  {what}")
        at_once = sides["folders"].seconds / (sides["the page"].hands_s + sides["the page"].looks_s)
        typed = _sides(replace(job, wordings=0), assumed, answers)
        print(
            f"{_ratio(sides):.2f} times as fast on the page; {at_once:.2f} if it answered at once, "
            f"{_ratio(typed):.2f} with the finding's words typed"
        )
    middle = next(one for one in ASSUMED if one.name == "middle")
    print("\nmiddle, by how long each photo is looked at:")
    for looks in (1, 2, 3, 4, 6, 8, 12):
        ratio = _ratio(_sides(job, replace(middle, looks=looks), answers))
        print(f"  {looks * SCENE_S:4.1f} s ({looks} fixations): {ratio:.1f} times")


def _sides(job: Job, assumed: Any, answers: dict[str, float]) -> dict[str, Acts]:
    page = on_the_page(job, assumed, answers)
    return {"the page": page, "folders": in_folders(job, assumed)}


def _ratio(sides: dict[str, Acts]) -> float:
    return sides["folders"].seconds / sides["the page"].seconds


def _rounded(answers: dict[str, float]) -> str:
    return ", ".join(f"{what} {seconds:.2f}" for what, seconds in answers.items())


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("photos", type=int, nargs="?", default=60)
    main(parser.parse_args().photos)
