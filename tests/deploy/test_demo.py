"""The demo scenario: invented, plausible, and with something to show at every stage."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Executor
from datetime import UTC, datetime
from itertools import combinations
from math import cos, hypot, radians
from typing import Any

import pytest

from calculations.loft import loft_area_m2, loft_from_dict
from compliance.assess import rerun_agrees
from compliance.certificates.again import compare
from compliance.ledger.check import verify_ledger
from compliance.models import (
    Assessment,
    AuditFollowUp,
    AuditRound,
    AuditWidening,
    Certificate,
    Finding,
    Shortfall,
)
from deploy.demo import SIGN_INS
from deploy.demo.courses import LONDON, CrewDiary, plan_courses, working_days
from deploy.demo.load import Scale, load_demo
from deploy.demo.lofts import invent_loft
from deploy.demo.people import BASES
from deploy.demo.places import invent_home
from jobs.intake.nations import check_nation
from jobs.models import Company, Job, Photo, PhotoInspection, PlanRun, Stage, User, Visit, VisitNeed

A_WEDNESDAY_NOON = datetime(2026, 11, 25, 12, 0, tzinfo=LONDON)


class InThisProcess(Executor):
    """An executor that does the work at once, where the test's transaction sees it."""

    def map(  # type: ignore[override]
        self, fn: Callable[..., Any], *iterables: Iterable[Any], **_: Any
    ) -> Iterator[Any]:
        return map(fn, *iterables)


def test_every_invented_home_passes_the_check_of_its_nation():
    chance = random.Random(7)
    homes = [invent_home(chance, number) for number in range(300)]

    for home in homes:
        check_nation(home.postcode, home.nation, confirmed=True)

    assert {home.nation for home in homes} == {"england", "wales", "scotland"}


def test_every_crew_works_within_two_hours_of_its_base():
    """Great circle, 40 km/h, roads 1.3 times as long: an office would plan no longer drives."""
    chance = random.Random(7)

    for home in (invent_home(chance, number) for number in range(300)):
        _, latitude_deg, longitude_deg = BASES[home.crew]
        north_km = (home.latitude_deg - latitude_deg) * 111.2
        east_km = (home.longitude_deg - longitude_deg) * 111.2 * cos(radians(latitude_deg))
        assert hypot(north_km, east_km) * 1.3 / 40 < 2, home


def test_invented_lofts_are_lofts_of_plausible_size():
    chance = random.Random(7)

    sizes = [loft_area_m2(loft_from_dict(invent_loft(chance))) for _ in range(40)]

    assert 25 < min(sizes) <= max(sizes) < 110


def test_a_crew_is_in_one_place_and_fits_after_the_survey():
    numbers = list(range(80))
    hours = {n: 3.0 + n % 5 for n in numbers}
    courses = plan_courses(
        dict.fromkeys(numbers, "Crew Wren"), hours, numbers, A_WEDNESDAY_NOON, seed=1
    )

    visits = [c.fitting for c in courses.values() if c.fitting]
    visits += [c.call_back for c in courses.values() if c.call_back]
    for (a_start, a_end), (b_start, b_end) in combinations(visits, 2):
        assert a_end <= b_start or b_end <= a_start
    for course in courses.values():
        if course.fitting:
            assert course.surveyed_at < course.fitting[0]


def test_a_long_visit_starts_a_day_of_its_own():
    diary = CrewDiary(working_days(datetime(2026, 11, 2).date(), datetime(2026, 11, 6).date()))

    first, second = diary.take(6.0), diary.take(6.0)

    assert first[0].date() < second[0].date()
    assert second[0].hour == 8


@pytest.fixture
def small_demo(db):
    scale = Scale(homes=70, surveyed=52, surveys_booked=4)
    load_demo(lambda what: None, now=datetime.now(UTC), scale=scale, pool=InThisProcess())


def test_the_demo_shows_something_at_every_stage_and_keeps_every_rule(small_demo):
    stages = Counter(Job.objects.values_list("stage", flat=True))
    assert stages[Stage.CERTIFIED] > stages[Stage.SHORT] > 0
    for stage in (Stage.TO_SURVEY, Stage.TO_QUANTIFY, Stage.TO_PLAN):
        assert stages[stage] > 0, stage
    assert Visit.objects.filter(status="booked", kind="survey").count() == 4
    assert "invented" in Company.objects.get().name
    assert {s.email for s in SIGN_INS} == set(User.objects.values_list("email", flat=True))
    assert Certificate.objects.current().count() == stages[Stage.CERTIFIED]
    assert Certificate.objects.exclude(withdrawal=None).exists()
    assert Shortfall.objects.open().exists()
    assert PlanRun.objects.get().state == "ready", PlanRun.objects.get().failure
    assert VisitNeed.objects.open().exists()
    stages = set(AuditRound.objects.values_list("state", flat=True))
    assert stages == {"committed", "drawn", "closed", "given_up"}
    assert AuditWidening.objects.exists()
    assert AuditFollowUp.objects.waiting().exists()
    assert Finding.objects.exists()
    assert PhotoInspection.objects.filter(readable=True).count() == Photo.objects.count() > 60
    assert not verify_ledger().faults
    for assessment in Assessment.objects.select_related("rule"):
        assert rerun_agrees(assessment), assessment
    for certificate in Certificate.objects.all():
        assert len(certificate.contents["photos_shown"]) >= 2, certificate
        assert compare(certificate).same_file, certificate
