"""Loading the demo scenario: an invented company, 400 homes, ten weeks of work."""

from __future__ import annotations

import multiprocessing
import os
import random
from collections.abc import Callable
from concurrent.futures import Executor, ProcessPoolExecutor
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction
from django.utils import timezone

from compliance.models import DepthRule, Shortfall
from compliance.shortfalls import assign_owner
from deploy.demo import (
    audit,
    certificates,
    evidence,
    hands,
    household,
    planning,
    proof,
    reading,
    rolls,
    site_work,
    stock,
    yard,
)
from deploy.demo.courses import LEFT_TO_QUANTIFY, LONDON, Course, coming_survey_times, plan_courses
from deploy.demo.lofts import invent_loft
from deploy.demo.people import Cast, make_cast
from deploy.demo.places import Home, invent_home
from deploy.demo.stock import Entry
from deploy.demo.workshop import PhotoOrder, Worked, draw_photo, work_out
from jobs.models import Job
from jobs.stages import move_job
from jobs.targets import DepthTarget, depth_target

SEED = 20_261

Tell = Callable[[str], None]

NEAR_THE_SURVEYOR = "Crew Wren"
"""Surveys of today and ahead lie where this crew works, since the surveyor has the same base."""
SURVEYED_NEARBY = 8
"""So many of the last surveys, which are those of today."""


@dataclass(frozen=True, slots=True)
class Scale:
    """How many homes the company took in, how many are surveyed, how many surveys are booked."""

    homes: int = 400
    surveyed: int = 285
    surveys_booked: int = 22


def load_demo(
    tell: Tell,
    *,
    now: datetime | None = None,
    scale: Scale | None = None,
    pool: Executor | None = None,
) -> None:
    """Write the whole scenario. Everything random comes from one seed; dates from `now`.

    The slow parts run in processes of their own, or in `pool`.
    """
    now = (now or timezone.now()).astimezone(LONDON)
    if pool is not None:
        _Loader(now, tell, pool, scale or Scale()).run()
        return
    context = multiprocessing.get_context("spawn")
    workers = max(2, min(4, os.cpu_count() or 2))
    with ProcessPoolExecutor(workers, mp_context=context, initializer=hands.begin) as own_pool:
        _Loader(now, tell, own_pool, scale or Scale()).run()


class _Loader:
    def __init__(self, now: datetime, tell: Tell, pool: Executor, scale: Scale) -> None:
        self.now, self.tell, self.pool, self.scale = now, tell, pool, scale
        self.chance = random.Random(SEED)
        self.targets = targets_by_nation()
        self.target_of = {nation: target.depth_mm for nation, target in self.targets.items()}

    def run(self) -> None:
        entries = self._entries()
        self._work_out(entries[: self.scale.surveyed])
        self._plan_courses(entries)
        self.tell("homes, surveys, crews and visits")
        with transaction.atomic():
            cast = make_cast(self.now.date())
            rolls.make_roll_types(cast, self.now)
            stock.make_jobs(cast, entries, self.now, self.chance)
            stock.make_surveys(cast, entries)
            stock.make_layer_plans(entries, self.targets)
            stock.make_visits(cast, entries, self.now)
            yard.make_yards(cast, self.now)
        fitted = [p for e in entries if (p := evidence.papers_of_fitting(e)) is not None]
        self._papers(cast, fitted, "fitting visits")
        self._assess([p for p in fitted if p.entry.job.stage == "to_assess"])
        self._put_right(cast, entries)
        _give_owners(cast)
        site_work.stop_one(cast, entries, self.now)
        self.tell("what is to be planned, and a plan")
        planning.make_planning(cast, self.now)
        self.tell("audit rounds")
        audit.make_rounds(cast, self.now)
        reading.make_reading(cast, random.Random(SEED))
        proof.make_proof(cast, self.now)
        certificates.make_certificates(cast, self.now)
        household.make_household(cast, self.now)

    def _entries(self) -> list[Entry]:
        homes = [invent_home(self.chance, number) for number in range(self.scale.homes)]
        self._put_near_homes_last(homes)
        return [
            Entry(
                number=number,
                home=home,
                loft=invent_loft(self.chance),
                crew=home.crew,
                course=Course(number),
            )
            for number, home in enumerate(homes)
        ]

    def _put_near_homes_last(self, homes: list[Home]) -> None:
        """Homes are surveyed in their order: let the last be near, by changing places."""
        surveyed = self.scale.surveyed
        spare = [n for n in range(surveyed, len(homes)) if homes[n].crew == NEAR_THE_SURVEYOR]
        far = [
            n
            for n in range(max(0, surveyed - SURVEYED_NEARBY), surveyed)
            if homes[n].crew != NEAR_THE_SURVEYOR
        ]
        for here, there in zip(far, spare, strict=False):
            homes[here], homes[there] = homes[there], homes[here]

    def _work_out(self, surveyed: list[Entry]) -> None:
        """Quantities of the surveyed lofts, in all processes at once."""
        self.tell(f"layers and rolls of {len(surveyed)} lofts")
        lofts = [entry.loft for entry in surveyed]
        depths = [self.target_of[entry.home.nation] for entry in surveyed]
        worked: list[Worked] = list(self.pool.map(work_out, lofts, depths, chunksize=10))
        for entry, found in zip(surveyed, worked, strict=True):
            entry.worked = found

    def _plan_courses(self, entries: list[Entry]) -> None:
        surveyed = [entry for entry in entries if entry.worked is not None]
        courses = plan_courses(
            {entry.number: entry.crew for entry in surveyed},
            {entry.number: entry.worked.crew_hours for entry in surveyed if entry.worked},
            [entry.number for entry in surveyed],
            self.now,
            SEED,
        )
        newest = sorted(courses)[-LEFT_TO_QUANTIFY:]
        for number, course in courses.items():
            entries[number].course = course
            entries[number].has_layer_plan = number not in newest
        near = [e for e in entries[self.scale.surveyed :] if e.crew == NEAR_THE_SURVEYOR]
        self._book_surveys(near[: self.scale.surveys_booked])

    def _book_surveys(self, entries: list[Entry]) -> None:
        for entry, when in zip(entries, coming_survey_times(len(entries), self.now), strict=True):
            entry.course.survey_booked_for = when

    def _papers(self, cast: Cast, papers: list[evidence.VisitPapers], what: str) -> None:
        self.tell(f"checks, readings and handovers of {len(papers)} {what}")
        with transaction.atomic():
            evidence.make_checks(cast, papers)
            site_work.make_site_work(cast, papers, random.Random(SEED))
            evidence.make_readings(cast, papers, self.target_of, self.chance)
            evidence.make_handovers(cast, papers, self.chance)
        ordered: list[tuple[evidence.VisitPapers, PhotoOrder]] = [
            (paper, order)
            for paper in papers
            for order in evidence.photo_orders(paper, self.target_of[paper.entry.home.nation])
        ]
        self.tell(f"{len(ordered)} drawn photos of {what}")
        drawn = self.pool.map(draw_photo, [order for _, order in ordered], chunksize=8)
        ids = evidence.make_photos(cast, ordered, drawn)
        shares = [ids[n::8] for n in range(8)]
        list(self.pool.map(hands.inspect_photos, [share for share in shares if share]))

    def _assess(self, papers: list[evidence.VisitPapers]) -> None:
        self.tell(f"verdicts and certificates of {len(papers)} jobs")
        ids = [paper.entry.job.pk for paper in papers]
        times = [paper.ends + timedelta(minutes=4) for paper in papers]
        list(self.pool.map(hands.assess_and_certify, ids, times, chunksize=2))

    def _put_right(self, cast: Cast, entries: list[Entry]) -> None:
        """Call-backs: those done put their job right, those ahead are booked."""
        booked = [entry for entry in entries if entry.call_back is not None]
        for entry in booked:
            job = Job.objects.get(pk=entry.job.pk)
            if job.stage != "short":
                continue
            _tie_call_back(entry)
            job = move_job(job, "booked")
            if entry.call_back.status in ("done", "on_site"):
                job = move_job(job, "on_site")
            if entry.call_back.status == "done":
                move_job(job, "to_assess")
        papers = [p for e in booked if (p := evidence.papers_of_call_back(e)) is not None]
        self._papers(cast, papers, "call-backs")
        self._assess(papers)


def _give_owners(cast: Cast) -> None:
    """Half of the open shortfalls have somebody who sees to them."""
    for nth, shortfall in enumerate(Shortfall.objects.open().order_by("pk")):
        if nth % 2:
            assign_owner(shortfall, cast.people["compliance"])


def _tie_call_back(entry: Entry) -> None:
    Shortfall.objects.open().filter(job=entry.job).update(call_back=entry.call_back)


def targets_by_nation() -> dict[str, DepthTarget]:
    """The depth each nation's rule in force asks for, by way of an unsaved job."""
    from jobs.models import Nation, Property

    found = {}
    for nation in Nation.values:
        if DepthRule.objects.filter(nation=nation).exists():
            found[nation] = depth_target(Job(property=Property(nation=nation)))
    return found
