"""What the draw goes by of each job: its stratum and its risk, worked out before the Seal.

Both are written down with the population and hashed with it. The company does not know the
nonce then and the auditor does not know the Seal, so neither can make a job likelier or less
likely to be drawn once it could matter.

Risk of a job, in points; the points are ours, without a published source:

    1    to begin with
    + 1  it was flagged short before it was certified
    + 1  a photo of it has a warning
    + 1  its readings are all equal in some area, or the same from one area to another
    + 2  times the share of its crew's certified and short jobs with an open flag

A stratum is looked at in proportion to the sum of its jobs' risk (`calculations.sampling`).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import islice

from django.db.models import Count, Exists, OuterRef, TextField, Value
from django.db.models.functions import Cast, Collate, Greatest, Length, LPad

from calculations.sampling import (
    PopulationLine,
    Stratum,
    StratumResult,
    population_text,
    widened,
)
from compliance.models import (
    Assessment,
    AuditRound,
    Certificate,
    DrawnJob,
    PopulationJob,
    Shortfall,
)
from jobs.intake.postcodes import area_of
from jobs.models import LAYING_KINDS, Job, Nation, PhotoInspection, Stage, Visit
from jobs.models.jobs import reference_of

By = AuditRound.StrataBy
TOGETHER = "Small groups together"
SUSPICIOUS = frozenset({"all_equal", "copied"})
OPEN_FLAGS_WEIGH = 2.0
FEWEST_OF_A_STRATUM = 2
CHUNK = 5000


@dataclass(frozen=True, slots=True)
class Candidate:
    """A job of a population, before it is sealed. reasons: sentences, what raised its risk."""

    job_id: int
    crew_id: int | None = None
    stratum: str = ""
    risk: float = 1.0
    reasons: tuple[str, ...] = field(default=())


def population_of(record: AuditRound) -> list[int]:
    """Ids of the jobs whose current certificate was issued in the period, in order; of the
    round's company, region and crew only."""
    certificates = Certificate.objects.current().filter(
        job__scheme=record.scheme,
        issued_at__date__gte=record.period_from,
        issued_at__date__lte=record.period_to,
    )
    if record.company_id is not None:
        certificates = certificates.filter(job__company_id=record.company_id)
    if record.nation:
        certificates = certificates.filter(job__property__nation=record.nation)
    if record.postcode_areas:
        areas = "|".join(record.postcode_areas)
        certificates = certificates.filter(job__property__postcode__regex=f"^({areas})[0-9]")
    ids = list(certificates.order_by("job_id").values_list("job_id", flat=True))
    if record.crew_id is not None:
        crews = crews_of(ids)
        ids = [job_id for job_id in ids if crews.get(job_id, (None, ""))[0] == record.crew_id]
    return ids


def crews_of(job_ids: Sequence[int]) -> dict[int, tuple[int, str]]:
    """By job: id of the crew that laid last, and its name after its company's."""
    found: dict[int, tuple[int, str]] = {}
    for some in _chunks(job_ids):
        visits = Visit.objects.filter(job_id__in=some, kind__in=LAYING_KINDS, status="done")
        rows = visits.order_by("during").values_list(
            "job_id", "crew_id", "crew__company__name", "crew__name"
        )
        found |= {job: (crew, f"{company}: {name}") for job, crew, company, name in rows}
    return found


def candidates_of(record: AuditRound) -> list[Candidate]:
    """The population with stratum and risk, as it is about to be sealed."""
    job_ids = population_of(record)
    crews = crews_of(job_ids)
    names = _stratum_names(record, job_ids, {job: name for job, (_, name) in crews.items()})
    flagged, warned, equal = _flagged(job_ids), _warned(job_ids), _equal(job_ids)
    share = _open_flags_by_crew({crew for crew, _ in crews.values()})
    found = []
    for job_id in job_ids:
        crew_id = crews.get(job_id, (None, ""))[0]
        risk, reasons = _risk(
            flagged=job_id in flagged,
            warned=warned.get(job_id, 0),
            equal=job_id in equal,
            crew_share=share.get(crew_id, 0.0) if crew_id else 0.0,
        )
        found.append(Candidate(job_id, crew_id, names.get(job_id, ""), risk, reasons))
    return found


def put_together(candidates: list[Candidate], size: int) -> list[Candidate]:
    """The smallest strata become one, until each can have two of the sample of `size`."""
    if not candidates or not candidates[0].stratum:
        return candidates
    counts = Counter(candidate.stratum for candidate in candidates)
    most = max(1, size // FEWEST_OF_A_STRATUM)
    if len(counts) <= most:
        return candidates
    small = sorted(counts, key=lambda name: (counts[name], name.encode()))
    joined = set(small[: len(counts) - most + 1])
    return [
        Candidate(c.job_id, c.crew_id, TOGETHER, c.risk, c.reasons) if c.stratum in joined else c
        for c in candidates
    ]


def line_of(job_id: int, stratum: str, risk: float) -> PopulationLine:
    return PopulationLine(reference_of(job_id), stratum, risk)


def population_lines(record: AuditRound) -> list[PopulationLine]:
    """The sealed population as the draw takes it."""
    rows = PopulationJob.objects.filter(round=record).order_by("job_id")
    return [line_of(*row) for row in rows.values_list("job_id", "stratum", "risk").iterator(CHUNK)]


def population_pieces(record: AuditRound) -> Iterator[bytes]:
    """The population's file as it is hashed, CHUNK lines at a time."""
    number = Cast("job_id", TextField())  # ordered as references are: by bytes, of six digits
    padded = LPad(number, Greatest(Value(6), Length(number)), Value("0"))
    rows = PopulationJob.objects.filter(round=record).order_by(Collate(padded, "C"))
    lines = (line_of(*row) for row in rows.values_list("job_id", "stratum", "risk").iterator(CHUNK))
    while some := list(islice(lines, CHUNK)):
        yield population_text(some).encode()


def sealed_strata(record: AuditRound) -> tuple[Stratum, ...]:
    """The strata and their shares of the first sample, as they were sealed."""
    stored = record.population_seal.strata
    if not stored:  # sealed before strata were kept: one draw over all
        size = record.population_size
        return (Stratum("", size, float(size), record.sample_size),)
    return tuple(Stratum(s["name"], s["population"], s["risk"], s["sample"]) for s in stored)


def strata_now(record: AuditRound) -> tuple[Stratum, ...]:
    """The strata with what was drawn of them up to the last widening."""
    return widened(sealed_strata(record), record.widenings.count())


def plain_strata(strata: Iterable[Stratum]) -> list[dict[str, str | int | float]]:
    return [
        {"name": s.name, "population": s.population, "risk": round(s.risk, 2), "sample": s.sample}
        for s in strata
    ]


def weights_of(record: AuditRound) -> dict[int, float]:
    """By drawn job's id: jobs of the population it stands for in the whole sample of today.

    The stored weight is that of the sample it was drawn with; after a widening every job of a
    stratum stands for fewer.
    """
    weights = {s.name: s.weight for s in strata_now(record)}
    rows = DrawnJob.objects.filter(round=record).values_list("pk", "stratum")
    return {pk: weights[stratum] for pk, stratum in rows}


def results_by_stratum(
    record: AuditRound, severities: Iterable[str], *, first_sample_only: bool = False
) -> tuple[StratumResult, ...]:
    """What was read in each stratum, and how many of it are defective. Strata of which nothing
    was read yet are left out."""
    drawn = DrawnJob.objects.filter(round=record, findings__isnull=False)
    if first_sample_only:
        drawn = drawn.filter(widening__isnull=True)
    defective = drawn.filter(findings__severity__in=list(severities))
    read = Counter(drawn.distinct().values_list("stratum", "pk")).keys()
    bad = Counter(stratum for stratum, _ in set(defective.values_list("stratum", "pk")))
    counts = Counter(stratum for stratum, _ in read)
    return tuple(
        StratumResult(s.name, s.population, counts[s.name], bad[s.name])
        for s in sealed_strata(record)
        if counts[s.name]
    )


# --- What raises the risk of a job


def _risk(
    *, flagged: bool, warned: int, equal: bool, crew_share: float
) -> tuple[float, tuple[str, ...]]:
    risk, reasons = 1.0, []
    if flagged:
        risk += 1
        reasons.append("It was flagged short before it was certified.")
    if warned:
        risk += 1
        reasons.append(f"{warned} of its photos {'has' if warned == 1 else 'have'} a warning.")
    if equal:
        risk += 1
        reasons.append("Its readings are all equal in an area, or the same in two.")
    if crew_share:
        risk += OPEN_FLAGS_WEIGH * crew_share
        reasons.append(f"{crew_share:.0%} of its crew’s finished jobs have an open flag.")
    return float(f"{risk:.2f}"), tuple(reasons)


def _chunks(job_ids: Sequence[int]) -> Iterable[Sequence[int]]:
    return (job_ids[start : start + CHUNK] for start in range(0, len(job_ids), CHUNK))


def _flagged(job_ids: Sequence[int]) -> set[int]:
    return {
        job
        for some in _chunks(job_ids)
        for job in Shortfall.objects.filter(job_id__in=some).values_list("job_id", flat=True)
    }


def _warned(job_ids: Sequence[int]) -> Counter[int]:
    """By job: photos that the newest look at them has a warning about."""
    newer = PhotoInspection.objects.filter(photo=OuterRef("photo"), pk__gt=OuterRef("pk"))
    found: Counter[int] = Counter()
    for some in _chunks(job_ids):
        looks = PhotoInspection.objects.filter(photo__job_id__in=some).exclude(warnings=[])
        rows = looks.exclude(Exists(newer)).values_list("photo__job_id", flat=True)
        found.update(rows)
    return found


def _equal(job_ids: Sequence[int]) -> set[int]:
    found: set[int] = set()
    for some in _chunks(job_ids):
        latest = Assessment.objects.filter(job_id__in=some).latest_per_job()
        rows = latest.values_list("job_id", "arithmetic__depths__suspicion_kinds")
        found |= {job for job, kinds in rows if SUSPICIOUS.intersection(kinds or ())}
    return found


def _open_flags_by_crew(crew_ids: set[int]) -> dict[int, float]:
    """By crew: the share of its certified and short jobs that have an open flag today."""
    open_flags = Exists(Shortfall.objects.open().filter(job=OuterRef("job")))
    finished = Visit.objects.filter(
        crew_id__in=crew_ids,
        kind__in=LAYING_KINDS,
        status="done",
        job__stage__in=(Stage.CERTIFIED, Stage.SHORT),
    )
    rows = (
        finished.order_by()
        .values("crew_id")
        .annotate(
            jobs=Count("job_id", distinct=True),
            flags=Count("job_id", distinct=True, filter=open_flags),
        )
    )
    return {row["crew_id"]: row["flags"] / row["jobs"] for row in rows if row["flags"]}


# --- Names of strata


def _stratum_names(
    record: AuditRound, job_ids: Sequence[int], crews: dict[int, str]
) -> dict[int, str]:
    if record.strata_by == By.NOTHING:
        return {}
    if record.strata_by == By.CREW:
        named = {job: _clean(crews.get(job, "No crew")) for job in job_ids}
        if record.company_id is None:
            return named
        return {job: name.rpartition(": ")[2] for job, name in named.items()}
    if record.strata_by == By.KIND:
        back = _called_back(job_ids)
        return {job: "After a call-back" if job in back else "At once" for job in job_ids}
    columns = {
        By.COMPANY: "company__name",
        By.NATION: "property__nation",
        By.POSTCODE_AREA: "property__postcode",
    }
    rows = [
        row
        for some in _chunks(job_ids)
        for row in Job.objects.filter(pk__in=some).values_list("pk", columns[By(record.strata_by)])
    ]
    if record.strata_by == By.NATION:
        return {job: str(Nation(nation).label) for job, nation in rows}
    if record.strata_by == By.POSTCODE_AREA:
        return {job: area_of(postcode) or "Elsewhere" for job, postcode in rows}
    return {job: _clean(name) for job, name in rows}


def _clean(name: str) -> str:
    """Without tabs and breaks, which the population's file uses itself."""
    return " ".join(name.split())[:130]


def _called_back(job_ids: Sequence[int]) -> set[int]:
    return {
        job
        for some in _chunks(job_ids)
        for job in Visit.objects.filter(
            job_id__in=some, kind=Visit.Kind.CALL_BACK, status="done"
        ).values_list("job_id", flat=True)
    }
