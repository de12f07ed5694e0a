"""Jobs that auditors have read, as far as somebody may see: what pictures and reports count."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import groupby
from operator import itemgetter
from sys import intern
from typing import Any

from django.db.models import F, OuterRef, QuerySet, Subquery
from django.utils import timezone

from calculations.charts import SpotKind
from compliance.audits.findings import DEFECTIVE
from compliance.audits.strata import sealed_strata
from compliance.models import Assessment, AuditRound, Certificate, Finding, PopulationJob
from jobs.models import User
from jobs.models.jobs import reference_of

NO_CREW = "Crew not known"
PLACES_TO_DEGREES = 2
"""Positions are rounded to a hundredth of a degree, about a kilometre, for everybody: a picture
that is passed on tells no household's address."""
WEEKS_AT_MOST = 16
JOBS_A_WEEK = 8
"""Up to so many weeks, with so many jobs read in each, are told week by week; else by months."""
CHUNK = 500


@dataclass(frozen=True, slots=True)
class ReadJob:
    """A job that was read in a round, and the worst that was found on it.

    district: the first half of the postcode. at: rounded latitude and longitude [degrees].
    weight: how many jobs of its round it stands for, against the mean of those read in it; 1 where
    all were as likely to be drawn.
    """

    job_id: int
    round_id: int
    crew: str
    certified_on: date
    worst: SpotKind
    district: str
    at: tuple[float, float] | None
    stratum: str = ""
    weight: float = 1.0

    @property
    def reference(self) -> str:
        return reference_of(self.job_id)

    @property
    def is_defective(self) -> bool:
        return self.worst.value in DEFECTIVE


@dataclass(frozen=True, slots=True)
class JobDepths:
    """Depths that a job's newest verdict counts on open floor [mm], and what its rule asks [mm]."""

    job_id: int
    depths_mm: tuple[float, ...]
    asked_mm: float


def read_jobs(user: User | Any, record: AuditRound | None = None) -> list[ReadJob]:
    """What the person may see, of one round or of all, in the order of rounds and draws."""
    rows = _findings(user, record).values_list(
        "drawn_job_id",
        "severity",
        "drawn_job__job_id",
        "drawn_job__round_id",
        "crew_name",
        "drawn_job__job__company__name",
        "certified_at",
        "drawn_job__round__period_to",
        "drawn_job__job__property__postcode",
        "drawn_job__job__property__latitude_deg",
        "drawn_job__job__property__longitude_deg",
        "drawn_job__stratum",
    )
    read, companies = [], set()
    for _, found in groupby(rows.iterator(CHUNK), key=itemgetter(0)):
        of_job = list(found)
        worst = max((SpotKind(row[1]) for row in of_job), key=list(SpotKind).index)
        read.append(_read_job(of_job[0][2:], worst))
        companies.add(f"{of_job[0][5]}: ")
    read = weighted(read)
    if len(companies) > 1:
        return read
    return [replace(job, crew=intern(job.crew.removeprefix(*companies))) for job in read]


def weighted(read: Sequence[ReadJob]) -> list[ReadJob]:
    """Each with its weight: jobs of its stratum over those read of it, against the same of all
    strata of its round that were read. Where that is one stratum alone, all weigh 1."""
    of_stratum = Counter((job.round_id, job.stratum) for job in read)
    strata = Counter(round_id for round_id, _ in of_stratum)
    several = [round_id for round_id, count in strata.items() if count > 1]
    of_round = Counter(job.round_id for job in read)
    populations = {
        (record.pk, stratum.name): stratum.population
        for record in AuditRound.objects.filter(pk__in=several).select_related("population_seal")
        for stratum in sealed_strata(record)
        if (record.pk, stratum.name) in of_stratum
    }
    together: Counter[int] = Counter()
    for (round_id, _), population in populations.items():
        together[round_id] += population
    weights = {
        (pk, name): population / of_stratum[pk, name] / (together[pk] / of_round[pk])
        for (pk, name), population in populations.items()
    }
    return [replace(job, weight=weights.get((job.round_id, job.stratum), 1.0)) for job in read]


def _findings(user: User | Any, record: AuditRound | None) -> QuerySet[Any]:
    found = Finding.objects.visible_to(user)
    if record is not None:
        found = found.filter(drawn_job__round=record)
    certified = Certificate.objects.filter(
        job=OuterRef("drawn_job__job"),
        issued_at__date__range=(
            OuterRef("drawn_job__round__period_from"),
            OuterRef("drawn_job__round__period_to"),
        ),
    )
    in_population = PopulationJob.objects.filter(
        round=OuterRef("drawn_job__round"), job=OuterRef("drawn_job__job")
    )
    return found.annotate(
        certified_at=Subquery(certified.order_by("-issued_at").values("issued_at")[:1]),
        crew_name=Subquery(in_population.values("crew__name")[:1]),
        place=F("drawn_job__draw_order"),
    ).order_by("drawn_job__round_id", "place", "pk")


def _read_job(row: tuple[Any, ...], worst: SpotKind) -> ReadJob:
    job, round_id, crew, company, certified_at, period_to, postcode, *place, stratum = row
    latitude, longitude = place
    known = latitude is not None and longitude is not None
    return ReadJob(
        job_id=job,
        round_id=round_id,
        crew=intern(f"{company}: {crew or NO_CREW}"),
        certified_on=timezone.localdate(certified_at) if certified_at else period_to,
        worst=worst,
        district=intern(postcode.partition(" ")[0]),
        at=(round(latitude, PLACES_TO_DEGREES), round(longitude, PLACES_TO_DEGREES))
        if known
        else None,
        stratum=intern(stratum),
    )


def periods_of(jobs: Sequence[ReadJob]) -> dict[ReadJob, str]:
    """The week or month in which each job was certified, in words, the earliest first."""
    in_order = sorted(jobs, key=lambda job: (job.certified_on, job.job_id))
    weeks = 1 + (in_order[-1].certified_on - in_order[0].certified_on).days // 7
    by_week = weeks <= WEEKS_AT_MOST and len(jobs) >= JOBS_A_WEEK * weeks
    return {job: _period(job.certified_on, by_week=by_week) for job in in_order}


def _period(day: date, *, by_week: bool) -> str:
    if not by_week:
        return f"{day:%b %Y}"
    monday = day - timedelta(days=day.weekday())
    return f"{monday.day} {monday:%b}"


def depths_of(job_ids: Iterable[int]) -> list[JobDepths]:
    """Depths by job, as its newest verdict took them in; eaves, tanks and decks left out."""
    wanted = sorted(set(job_ids))
    found = []
    once: dict[float, float] = {}  # many readings are alike; one number serves them all
    for start in range(0, len(wanted), CHUNK):
        newest = Assessment.objects.filter(job_id__in=wanted[start : start + CHUNK])
        rows = newest.latest_per_job().values_list(
            "job_id", "inputs__readings", "inputs__requirement__min_depth_mm"
        )
        for job, readings, asked in rows:
            counted = (float(r["depth_mm"]) for r in readings or () if not r["allowance"])
            depths = tuple(once.setdefault(depth, depth) for depth in counted)
            if depths and asked is not None:
                found.append(JobDepths(job, depths, once.setdefault(float(asked), float(asked))))
    return sorted(found, key=lambda one: one.job_id)
