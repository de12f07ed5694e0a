"""The auditor's page of a job with many photos: time until it can be used, in headless Chromium.

    python -m benchmarks.audit_page [photos]

Makes a database of its own with one drawn job of 60 invented photos (1200 x 900, about 130 kB,
with the copies that pages show), serves it with one uvicorn process, and opens it as the
auditor, each time with an empty cache. Usable: the photos in view are decoded and the page's
keys work (on pages that have keys), counted from the click. Also how long until every photo of
the page is decoded after scrolling through it, and the same for the page on which the company
sees a job's evidence. Times are by the clock; the load average is printed beside them.
"""

from __future__ import annotations

import argparse
import hashlib
import io
import itertools
import os
import random
import statistics
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from benchmarks.own_database import own_database

NAME = "eavesbook_audit_page"
PORT = 8418
TIMES = 5
SIZES = ((390, 844), (1440, 900))
IN_VIEW = """
() => [...document.images].filter(i => {
  const box = i.getBoundingClientRect();
  return box.width && box.top < innerHeight && box.bottom > 0;
}).every(i => i.complete && i.naturalWidth)
"""
KEYS = """() => { const keys = document.querySelector("[data-show-keys]");
  return !keys || !keys.hidden; }"""
ALL = "() => [...document.images].every(i => i.complete && i.naturalWidth)"
SCROLL = """async () => { for (let y = 0; y < document.body.scrollHeight; y += innerHeight) {
  scrollTo(0, y); await new Promise(requestAnimationFrame); } }"""


def make_job(photos: int, jobs: int = 1, odd: int = 0) -> dict[str, str]:
    """Drawn jobs; returns the addresses by what they show, and the cookies of who opens them.

    odd: how many of a job's photos, three at most, were taken elsewhere, too early, or twice.
    """
    from django.test import Client
    from django.utils import timezone

    from compliance.audits.planning import RoundTerms, commit_round
    from compliance.audits.rounds import draw_sample, seal_population

    taken = Photographer(odd)
    scene = _fitted(taken, photos)
    for _ in range(1, jobs):
        _fitted(taken, photos, company=scene.company, scheme=scene.job.scheme)
    scene.job.scheme.companies.add(scene.company)
    from tests.factories import UserFactory

    auditor = UserFactory(role="auditor", scheme=scene.job.scheme)
    nonce, today = hashlib.sha256(b"page").digest(), timezone.localdate()
    everyone = {"plan": "confidence", "defective_share": 0.01}  # so few jobs are all drawn
    terms = RoundTerms("A page", today - timedelta(days=2), today, **everyone)  # type: ignore[arg-type]
    begun = commit_round(auditor.scheme, auditor, terms, hashlib.sha256(nonce).hexdigest())
    record = draw_sample(seal_population(begun), nonce.hex())
    drawn = record.drawn_jobs.order_by("draw_order").first()
    client = Client()
    client.force_login(auditor)
    return {
        "reading page": f"/audit/drawn/{drawn.pk}/",
        "the job's page": f"/jobs/{drawn.job_id}/",
        "cookie": client.cookies["sessionid"].value,
    }


def _fitted(taken: Photographer, photos: int, **job_fields: Any) -> Any:
    """A certified job with so many photos, before and after at points of its drawing."""
    from calculations.drawing import photo_points
    from jobs.lofts import loft_of
    from jobs.models import Fixture
    from tests.compliance.scene import certified_scene

    taken.begin_job()
    scene, _ = certified_scene(photo=taken, **job_fields)
    readings = list(scene.visit.depth_readings.all())
    known = len(photo_points(loft_of(scene.survey)))
    for nth in range(known, photos // 2):
        near, kind = readings[nth % len(readings)], ("pipe", "downlight", "fan")[nth % 3]
        name = f"{kind.capitalize()} {nth}"
        Fixture.objects.create(
            survey=scene.survey, name=name, kind=kind, x_mm=near.x_mm, y_mm=near.y_mm
        )
    for nth in range(4, photos):
        moment, label = ("before", "after")[nth % 2], f"P{nth // 2 + 1}"
        taken(visit=scene.visit, moment=moment, point_label=label, sent_by=scene.installer)
    return scene


@dataclass
class Photographer:
    """Makes photos of visits, each inspected as it would be; every one shows another loft."""

    odd: int = 0
    number: Iterator[int] = field(default_factory=itertools.count)
    of_job: int = 0

    def begin_job(self) -> None:
        self.of_job = 0

    def __call__(self, **fields: Any) -> Any:
        from deploy.demo.pictures import Snapshot, draw_loft_photo
        from jobs.evidence.content_store import keep
        from jobs.evidence.inspection import inspect
        from tests.factories import PhotoFactory

        nth, here = next(self.number), self.of_job
        self.of_job += 1
        home, visit = fields["visit"].job.property, fields["visit"]
        oddities = [10, 21, 35][: self.odd]
        early, far, twice = (here in oddities[at : at + 1] for at in range(3))
        at = visit.during.lower + timedelta(minutes=5 if fields["moment"] == "before" else 90)
        snapshot = Snapshot(
            seed=nth - 1 if twice else nth,
            depth_mm=120 if twice or fields["moment"] == "before" else 280,
            moment="before" if twice else fields["moment"],
            point_label=fields["point_label"],
            taken_at=at - timedelta(days=3 if early else 0),
            latitude_deg=(home.latitude_deg or 52.63) + (0.5 if far else 0),
            longitude_deg=home.longitude_deg or -1.13,
        )
        kept = keep(io.BytesIO(draw_loft_photo(snapshot)), "photos", limit_bytes=10_000_000)
        made = PhotoFactory(
            **fields, sha256=kept.sha256, size_bytes=kept.size_bytes, original_name=kept.name
        )
        inspect(made)
        return made


@contextmanager
def served() -> Any:
    command = [sys.executable, "-m", "uvicorn", "deploy.asgi:application", "--port", str(PORT)]
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    server = subprocess.Popen([*command, "--log-level", "warning"], env=dict(os.environ), **quiet)  # type: ignore[call-overload]
    try:
        for _ in range(240):
            try:
                urllib.request.urlopen(f"http://127.0.0.1:{PORT}/account/sign-in/", timeout=5)
                break
            except (urllib.error.URLError, OSError):
                time.sleep(0.5)
        yield f"http://127.0.0.1:{PORT}"
    finally:
        server.terminate()
        server.wait(30)


def measure(there: str, made: dict[str, str]) -> None:
    from playwright.sync_api import sync_playwright

    from deploy.embedded.outside import CHROMIUM

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=str(CHROMIUM.find(os.environ)), args=["--no-sandbox", "--disable-gpu"]
        )
        for what in ("reading page", "the job's page"):
            for width, height in SIZES:
                found = [
                    _once(browser, there, made[what], made["cookie"], width, height)
                    for _ in range(TIMES)
                ]
                told = {key: statistics.median(row[key] for row in found) for key in found[0]}
                worst = max(row["usable"] for row in found)
                print(
                    f"{what:<15}{width:5} px: server {told['server']:6.0f} ms, usable "
                    f"{told['usable']:6.0f} ms (worst {worst:.0f}), all of {told['images']:.0f} "
                    f"pictures {told['all']:6.0f} ms, {told['kb']:6.0f} kB",
                    flush=True,
                )
        browser.close()


def _once(
    browser: Any, there: str, address: str, cookie: str, width: int, height: int
) -> dict[str, float]:
    context = browser.new_context(viewport={"width": width, "height": height})
    context.add_cookies([{"name": "sessionid", "value": cookie, "url": there}])
    page, got = context.new_page(), []
    page.on("response", lambda answer: got.append(answer))
    start = time.perf_counter()
    page.goto(there + address, wait_until="commit")
    server = time.perf_counter() - start
    page.wait_for_function(f"() => document.readyState !== 'loading' && ({IN_VIEW})()")
    page.wait_for_function(KEYS)
    usable = time.perf_counter() - start
    page.evaluate(SCROLL)
    page.wait_for_function(ALL)
    everything = time.perf_counter() - start
    sizes = [answer.request.sizes()["responseBodySize"] for answer in got if answer.ok]
    images = page.evaluate("document.images.length")
    context.close()
    return {
        "server": server * 1e3,
        "usable": usable * 1e3,
        "all": everything * 1e3,
        "images": images,
        "kb": sum(sizes) / 1e3,
    }


def main(photos: int) -> None:
    random.seed(1)
    with own_database(NAME):
        made = make_job(photos)
        from django.db import connection

        connection.close()
        print(f"{photos} photos; load average {os.getloadavg()[0]:.1f}", flush=True)
        with served() as there:
            measure(there, made)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("photos", type=int, nargs="?", default=60)
    main(parser.parse_args().photos)
