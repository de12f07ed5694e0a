"""The phone's own verdict is the engine's, over random lofts and readings.

What is compared with is calculations/depths.py, itself checked in tests/calculations; the phone's
lines are deploy/static/on_site/verdict.js, run in the browser.
"""

from __future__ import annotations

import json
import math
import random
from typing import Any

import pytest
from playwright.sync_api import Page

from calculations.depths import DepthRequirement, DepthVerdict, Reading, assess_depths
from jobs.evidence.phone_rules import rules_of
from tests.browser.conftest import Screens
from tests.browser.shapes import PHONE
from tests.calculations.test_batch import ASKED, Job, random_jobs
from tests.calculations.test_odd_lofts import odd_loft

pytestmark = pytest.mark.browser

OTHER = DepthRequirement(
    min_depth_mm=262, zone_m2=4.0, m2_per_reading=2.5, confidence=0.99, reading_tolerance_mm=12.0
)
JUDGE = """
async (text) => {
  const { assess } = await import("/static/on_site/verdict.js");
  const plain = (key, value) =>
    value instanceof Set ? value.size : typeof value === "number" && isNaN(value) ? null : value;
  const told = JSON.parse(text).map(({ rules, readings }) => assess(rules, readings));
  return JSON.stringify(told, plain);
}
"""


@pytest.fixture
def page(screens: Screens) -> Page:
    opened = screens.open("phone", PHONE)
    opened.goto("/on-site/no-signal/")
    return opened


def odd_jobs(count: int) -> list[Job]:
    """Crooked floors with turned things on them, and readings all over and beside them."""
    jobs = []
    for seed in range(count):
        loft, rng = odd_loft(seed), random.Random(f"readings {seed}")
        low_x, low_y, high_x, high_y = loft.areas[0].floor().bounds
        jobs.append((loft, [any_reading(rng, low_x, low_y, high_x, high_y) for _ in range(24)]))
    return jobs


def any_reading(rng: random.Random, *bounds: float) -> Reading:
    low_x, low_y, high_x, high_y = bounds
    depth = rng.choice((rng.gauss(290, 12), rng.uniform(60, 330)))
    return Reading(
        "Main",
        round(rng.uniform(low_x - 200, high_x + 200)),
        round(rng.uniform(low_y - 200, high_y + 200)),
        round(depth, 1),
        rng.choice(("", "", "", "eaves", "tank", "deck")),
    )


def judged_on_phone(page: Page, jobs: list[tuple[Any, list[Reading]]]) -> list[dict[str, Any]]:
    """The phone's verdicts on readings, each by the rules of its loft."""
    cases = [
        {
            "rules": rules,
            "readings": [
                {name: getattr(reading, name) for name in Reading.__slots__} for reading in readings
            ],
        }
        for rules, readings in jobs
    ]
    told: list[dict[str, Any]] = json.loads(page.evaluate(JUDGE, json.dumps(cases)))
    return told


def differences(here: dict[str, Any], engine: DepthVerdict) -> list[str]:
    """What the phone says otherwise than the engine; figures to the last bit."""
    found = [] if here["verdict"] == engine.verdict else [f"{here['verdict']} {engine.verdict}"]
    for area, mine in zip(engine.areas, here["areas"], strict=True):
        figures = {
            "verdict": area.verdict,
            "counted": area.counted,
            "needed": area.needed,
            "zones": area.zones_read,
            "zones_needed": area.zones_needed,
            "mean_mm": plain(area.mean_mm),
            "lower_limit_mm": plain(area.lower_limit_mm),
            "least_mm": plain(area.least_mm),
        }
        found += [f"{k}: {mine[k]} for {v}" for k, v in figures.items() if mine[k] != v]
    if not math.isclose(here["deficit_mm"], engine.deficit_mm, abs_tol=1e-9):
        found.append(f"deficit {here['deficit_mm']} for {engine.deficit_mm}")
    return found


def plain(value: float) -> float | None:
    return None if math.isnan(value) else value


def test_the_phone_judges_like_the_engine(page: Page) -> None:
    lofts = {
        "usual lofts": (ASKED, random_jobs(300, 71)),
        "another rule": (OTHER, random_jobs(150, 72)),
        "odd lofts": (ASKED, odd_jobs(150)),
    }
    wrong, verdicts = {}, set()
    for name, (rule, jobs) in lofts.items():
        here = judged_on_phone(page, [(rules_of(loft, rule), told) for loft, told in jobs])
        for number, (mine, (loft, readings)) in enumerate(zip(here, jobs, strict=True)):
            engine = assess_depths(loft, readings, rule)
            verdicts.add((name, engine.verdict))
            if told := differences(mine, engine):
                wrong[name, number] = told

    assert wrong == {}
    assert len(verdicts) > 5  # the lofts try every branch


def test_it_wants_readings_exactly_until_there_are_enough(page: Page) -> None:
    """Measuring where the phone says, again and again, ends with count and spread satisfied."""
    jobs: list[Job] = [(loft, []) for loft, _ in random_jobs(12, 73)]
    on_phone = [(rules_of(loft, ASKED), readings) for loft, readings in jobs]
    for _ in range(40):
        told = judged_on_phone(page, on_phone)
        wanted = [verdict["wanted"] for verdict in told]
        if not any(wanted):
            break
        for (_, readings), places in zip(jobs, wanted, strict=True):
            if places:
                place = places[0]
                readings.append(Reading(place["area"], place["x"], place["y"], 280.0))

    assert not any(wanted)
    for loft, readings in jobs:
        engine = assess_depths(loft, readings, ASKED)
        assert engine.verdict == "meets"
        assert all(area.counted == area.needed for area in engine.areas)
