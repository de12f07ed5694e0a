"""Pictures of what audits found, each with its figures: on pages, in the report, in packs."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from calculations.charts import (
    CrewDepths,
    CrewPeriod,
    MapSpot,
    SpotKind,
    Table,
    draw_crews_over_time,
    draw_depths_by_crew,
    draw_findings_map,
)
from calculations.charts.crews_over_time import COVERAGE
from calculations.charts.tables import RowsAgain
from calculations.drawing import draw_agreement, draw_funnel, draw_p_chart
from calculations.sampling import (
    RateCount,
    RatePoint,
    Weighing,
    exact_point,
    funnel,
    overall_rate,
    p_chart,
    weighing_of,
)
from compliance.audits.read_jobs import JobDepths, ReadJob, depths_of, periods_of, read_jobs
from compliance.models import AuditRound, Remeasurement
from jobs.models import User
from jobs.models.jobs import reference_of
from jobs.planning.round_map import transverse_mercator

LEAST_PAIRS = 2
TALL = 1.5
SHOWN = ("jobs read", "defective", "rate", "lower limit", "upper limit", "stands out")
RATES = (*(name.replace(" ", "_") for name in SHOWN), "tells_as_jobs")


@dataclass(frozen=True, slots=True)
class Picture:
    """One picture: `svg` stands by itself; `table` is for reading, `data` for a spreadsheet.

    key: stands in addresses and file names. note: what to bear in mind, a sentence or two.
    """

    key: str
    title: str
    svg: str
    note: str
    table: Table
    data: Table

    @property
    def is_tall(self) -> bool:
        """Whether it is more than half as high again as wide, as a map of several regions is."""
        box = self.svg.split('viewBox="')[1].split('"')[0].split()
        return float(box[3]) > TALL * float(box[2])


def pictures_for(user: User | Any, record: AuditRound | None = None) -> list[Picture]:
    """All pictures of a round, or of all rounds, of what this person may see.

    Empty as long as nothing that the person may see was read.
    """
    jobs = read_jobs(user, record)
    if not jobs:
        return []
    drawn = [
        crews_compared(jobs),
        rate_over_time(jobs),
        crews_over_time(jobs),
        depths_by_crew(jobs, depths_of(job.job_id for job in jobs)),
        where_findings_lie(jobs),
        measured_again(user, record),
    ]
    return [picture for picture in drawn if picture is not None]


def crews_compared(jobs: Sequence[ReadJob]) -> Picture:
    """Funnel plot of the crews, with exact limits."""
    counts = _counts([(job.crew, job) for job in sorted(jobs, key=_by_crew)])
    rows = [((p.name,), p, p.stands_out) for p in funnel(counts)]
    return Picture(
        "crews",
        "Crews compared",
        draw_funnel(counts),
        "Exact binomial limits about the rate of all jobs read. Outside the outer line chance "
        "alone would hardly put a crew; inside, its rate differs from the others’ by no more "
        "than chance may." + _weighed(counts),
        *_rate_tables(("crew",), rows),
    )


def rate_over_time(jobs: Sequence[ReadJob]) -> Picture:
    """The p-chart of all jobs read."""
    periods = periods_of(jobs)
    counts = _counts([(period, job) for job, period in periods.items()])
    rows = [((p.name,), p, p.stands_out) for p in p_chart(counts)]
    return Picture(
        "over-time",
        "Defect rate over time",
        draw_p_chart(counts, what=_step(periods)),
        "By when the certificate was issued. Three-sigma limits; where fewer than five defective "
        "jobs are to be expected, exact binomial ones that chance keeps as often."
        + _weighed(counts),
        *_rate_tables(("certified_in",), rows),
    )


def crews_over_time(jobs: Sequence[ReadJob]) -> Picture:
    """Each crew's rate by period, with exact limits."""
    periods = periods_of(jobs)
    found: dict[tuple[str, str], list[ReadJob]] = defaultdict(list)
    for job, period in periods.items():
        found[job.crew, period].append(job)
    cells = [CrewPeriod(*key, *_counted(some, jobs)) for key, some in found.items()]
    target = overall_rate([cell.count for cell in cells])
    order = {period: nth for nth, period in enumerate(dict.fromkeys(periods.values()))}
    cells.sort(key=lambda cell: (cell.crew, order[cell.period]))
    points = [(cell, exact_point(cell.count, target, COVERAGE)) for cell in cells]
    rows = [((cell.crew, cell.period), p, p.stands_out) for cell, p in points]
    return Picture(
        "crews-over-time",
        "Crews over time",
        draw_crews_over_time(cells, tuple(order)),
        "Exact binomial limits about the rate of all jobs read. Where a crew has no mark, none "
        "of its jobs of that time was drawn." + _weighed([cell.count for cell in cells]),
        *_rate_tables(("crew", "certified_in"), rows),
    )


def depths_by_crew(jobs: Sequence[ReadJob], depths: Sequence[JobDepths]) -> Picture | None:
    """Histograms of the readings, by crew, against what the rule of each job asks."""
    if not depths:
        return None
    crew_of = {job.job_id: job.crew for job in jobs}
    by_crew: dict[str, list[JobDepths]] = defaultdict(list)
    for one in depths:
        by_crew[crew_of[one.job_id]].append(one)
    crews = [
        CrewDepths(
            crew,
            tuple(depth for one in found for depth in one.depths_mm),
            tuple(one.asked_mm for one in found for _ in one.depths_mm),
        )
        for crew, found in sorted(by_crew.items())
    ]
    rows = tuple(
        (c.crew, len(c.depths_mm), _mm(c.mean_mm), _mm(c.spread_mm), min(c.depths_mm), c.below)
        for c in crews
    )
    data = RowsAgain(
        lambda: (
            (crew_of[one.job_id], reference_of(one.job_id), depth, one.asked_mm)
            for one in depths
            for depth in one.depths_mm
        )
    )
    return Picture(
        "depths",
        "Depths by crew",
        draw_depths_by_crew(crews),
        "The installers’ readings on open floor, as the newest verdict of each job took them. A "
        "rule may allow for some readings below the depth it asks.",
        Table(("crew", "readings", "mean mm", "spread mm", "least mm", "below"), rows),
        Table(("crew", "job", "depth_mm", "asked_mm"), data),
    )


def where_findings_lie(jobs: Sequence[ReadJob]) -> Picture | None:
    """The map, by rounded positions; homes without a position are in the table only."""
    placed = [(job, job.at) for job in jobs if job.at is not None]
    if not placed:
        return None
    latitudes, longitudes = [at[0] for _, at in placed], [at[1] for _, at in placed]
    centre = (
        (min(latitudes) + max(latitudes)) / 2,
        (min(longitudes) + max(longitudes)) / 2,
    )
    spots = [
        MapSpot(*transverse_mercator(at, centre), job.worst, job.district) for job, at in placed
    ]
    found: dict[str, Counter[SpotKind]] = defaultdict(Counter)
    for job in jobs:
        found[job.district][job.worst] += 1
    rows = tuple(
        (district, sum(counts.values()), *(counts[kind] for kind in SpotKind))
        for district, counts in sorted(found.items())
    )
    data = RowsAgain(
        lambda: (
            (job.reference, job.crew, job.district, job.worst.value, *(job.at or (None, None)))
            for job in jobs
        )
    )
    missing = len(jobs) - len(placed)
    return Picture(
        "map",
        "Where findings lie",
        draw_findings_map(spots),
        "Each job by the worst found on it, to about a kilometre, so that no home can be told."
        + (f" {missing} without a known position are in the table only." if missing else ""),
        Table(("district", "jobs read", *(kind.value for kind in SpotKind)), rows),
        Table(("job", "crew", "district", "worst found", "latitude_deg", "longitude_deg"), data),
    )


def measured_again(user: User | Any, record: AuditRound | None) -> Picture | None:
    """The auditor's depths beside the installer's, where two or more were measured again."""
    rows = Remeasurement.objects.visible_to(user).filter(replaced_by__isnull=True)
    if record is not None:
        rows = rows.filter(drawn_job__round=record)
    found = list(
        rows.order_by("drawn_job_id", "reading_id").values_list(
            "drawn_job__job_id",
            "reading__visit__crew__name",
            "reading__visit__crew__company__name",
            "depth_mm",
            "reading__depth_mm",
        )
    )
    if len(found) < LEAST_PAIRS:
        return None
    pairs = [(float(again), float(first)) for *_, again, first in found]
    several = len({company for _, _, company, _, _ in found}) > 1
    data = tuple(
        (
            reference_of(job),
            f"{company}: {crew}" if several else crew,
            again,
            first,
            _mm(again - first),
        )
        for job, crew, company, again, first in found
    )
    names = ("job", "crew", "auditor_mm", "installer_mm", "difference_mm")
    table = Table(tuple(name.replace("_", " ") for name in names), data)
    return Picture(
        "measured-again",
        "Measured again",
        draw_agreement(pairs),
        "Bland and Altman’s picture: the auditor’s depth less the installer’s over the mean of "
        "both. About 95% of differences lie between the outer lines.",
        table,
        Table(names, data),
    )


def _counts(marked: Sequence[tuple[str, ReadJob]]) -> list[RateCount]:
    """Counts by name, in the order in which the names come."""
    found: dict[str, list[ReadJob]] = {}
    for name, job in marked:
        found.setdefault(name, []).append(job)
    jobs = [job for _, job in marked]
    return [RateCount(name, *_counted(some, jobs)) for name, some in found.items()]


def _counted(some: Sequence[ReadJob], jobs: Sequence[ReadJob]) -> tuple[int, int, Weighing | None]:
    """How many, how many of them defective, and what they weigh unless all of `jobs` weigh 1."""
    rows = [(job.weight, job.is_defective) for job in some]
    weighing = weighing_of(rows) if any(job.weight != 1.0 for job in jobs) else None
    return len(rows), sum(bad for _, bad in rows), weighing


def _weighed(counts: Sequence[RateCount]) -> str:
    """What to bear in mind where jobs weigh differently."""
    if all(count.weighing is None for count in counts):
        return ""
    return (
        " Jobs that were likelier to be drawn count for less, so that rates are those of all jobs "
        "of their rounds; limits go by so many jobs drawn alike as would tell as much."
    )


def _rate_tables(
    names: tuple[str, ...], rows: Sequence[tuple[tuple[str, ...], RatePoint, str]]
) -> tuple[Table, Table]:
    """The table for reading, with shares as per cent, and the one for a spreadsheet."""
    shown, data = [], []
    for name, point, out in rows:
        shares = (point.rate, point.low, point.high)
        counts = (point.inspected, point.defects)
        shown.append((*name, *counts, *(f"{share:.1%}" for share in shares), out or "no"))
        told = round(point.tells_as, 2)
        data.append((*name, *counts, *(round(share, 6) for share in shares), out, told))
    words = tuple(name.replace("_", " ") for name in names)
    return Table((*words, *SHOWN), tuple(shown)), Table((*names, *RATES), tuple(data))


def _by_crew(job: ReadJob) -> str:
    return job.crew


def _step(periods: dict[ReadJob, str]) -> str:
    return "week" if any(period[0].isdigit() for period in periods.values()) else "month"


def _mm(value: float) -> float:
    return round(value, 1)
