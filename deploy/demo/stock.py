"""Rows of the demo made in bulk: homes, jobs, surveys, layer plans, visits."""

from __future__ import annotations

import random
from dataclasses import asdict, dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

from django.db.backends.postgresql.psycopg_any import DateTimeTZRange

from calculations import ENGINE_VERSION
from deploy.demo.courses import Course, Fate
from deploy.demo.people import SURVEY_CREW, Cast
from deploy.demo.places import Home
from deploy.demo.workshop import Worked
from jobs.catalogues import KEPT_AS, catalogue_of
from jobs.models import (
    Fixture,
    Hazard,
    Job,
    LayerPlan,
    LoftArea,
    Obstacle,
    Property,
    Scheme,
    Survey,
    Visit,
    VisitOperative,
)
from jobs.targets import DepthTarget

SURVEY_LASTS = timedelta(minutes=50)
PART_MODELS = {"areas": LoftArea, "obstacles": Obstacle, "fixtures": Fixture, "hazards": Hazard}


@dataclass(slots=True)
class Entry:
    """One invented job while its story is written."""

    number: int
    home: Home
    loft: dict[str, Any]
    crew: str
    course: Course
    has_layer_plan: bool = False
    job: Job = field(default_factory=Job)
    worked: Worked | None = None
    survey: Survey | None = None
    areas: dict[str, LoftArea] | None = None
    fitting: Visit | None = None
    call_back: Visit | None = None

    def stage(self, now: datetime) -> str:
        """The stage of the job by `now`, before anything is assessed."""
        course = self.course
        if course.called_off:
            return "called_off"
        if course.surveyed_at is None:
            return "to_survey"
        if course.fitting is None:
            return "to_plan" if self.has_layer_plan else "to_quantify"
        if is_over(course.fitting, now):
            return "to_assess" if course.fate is not Fate.NO_HANDOVER_YET else "on_site"
        return "on_site" if has_begun(course.fitting, now) else "booked"


def has_begun(times: tuple[datetime, datetime], now: datetime) -> bool:
    return times[0] < now - timedelta(minutes=10)


def is_over(times: tuple[datetime, datetime], now: datetime) -> bool:
    return times[1] < now - timedelta(minutes=30)


def make_jobs(cast: Cast, entries: list[Entry], now: datetime, chance: random.Random) -> None:
    """Homes and their jobs, each at the stage its course has reached by `now`.

    What is fitted stands at `to_assess`; assessing moves it on.
    """
    properties = Property.objects.bulk_create(
        Property(company=cast.company, reference=f"CL-{entry.number + 1:04d}", **asdict(entry.home))
        for entry in entries
    )
    jobs = Job.objects.bulk_create(
        Job(
            company=cast.company,
            property=home,
            scheme=_scheme(cast, home.nation, chance),
            stage=entry.stage(now),
            due_on=_due(entry, now, chance),
            called_off_reason=entry.course.called_off,
        )
        for entry, home in zip(entries, properties, strict=True)
    )
    for entry, job in zip(entries, jobs, strict=True):
        entry.job = job
        job.stage_since = _since(entry, now)
    Job.objects.bulk_update(jobs, ["stage_since"])


def _scheme(cast: Cast, nation: str, chance: random.Random) -> Scheme:
    if nation == "scotland" and chance.random() < 0.5:
        return cast.schemes[2]
    return chance.choices(cast.schemes[:2], weights=(65, 35))[0]


def _due(entry: Entry, now: datetime, chance: random.Random) -> date:
    """Most of what is open is due in the weeks ahead, a little of it is late."""
    if entry.course.fitting is not None and entry.course.fitting[0] < now:
        return entry.course.fitting[1].date() + timedelta(days=chance.randrange(0, 40))
    return now.date() + timedelta(days=chance.randrange(-6, 75))


def make_surveys(cast: Cast, entries: list[Entry]) -> None:
    """Finished surveys of every entry that was surveyed, with all their parts."""
    surveyed = [entry for entry in entries if entry.course.surveyed_at is not None]
    surveys = Survey.objects.bulk_create(
        Survey(
            job=entry.job,
            surveyed_by=cast.people["surveyor"],
            surveyed_on=entry.course.surveyed_at.date(),
            completed_at=entry.course.surveyed_at + SURVEY_LASTS,
            loft_is_empty=True,
            **_roof(entry.loft["roof"]),
        )
        for entry in surveyed
    )
    parts: dict[str, list[Any]] = {name: [] for name in PART_MODELS}
    for entry, survey in zip(surveyed, surveys, strict=True):
        entry.survey = survey
        for name, model in PART_MODELS.items():
            parts[name] += [model(survey=survey, **row) for row in entry.loft[name]]
    for name, model in PART_MODELS.items():
        model.objects.bulk_create(parts[name])
    by_survey: dict[int, dict[str, LoftArea]] = {}
    for area in parts["areas"]:
        by_survey.setdefault(area.survey_id, {})[area.name] = area
    for entry in surveyed:
        entry.areas = by_survey[entry.survey.pk]


def _roof(roof: dict[str, Any]) -> dict[str, Any]:
    names = {"form": "roof_form", "pitch_deg": "roof_pitch_deg", "span_m": "roof_span_m"}
    return {names.get(key, key): value for key, value in roof.items()}


def make_layer_plans(entries: list[Entry], targets: dict[str, DepthTarget]) -> None:
    kept = {pk: catalogue_of(pk).to_list() for pk in {entry.job.company_id for entry in entries}}
    LayerPlan.objects.bulk_create(
        LayerPlan(
            job=entry.job,
            survey=entry.survey,
            engine_version=ENGINE_VERSION,
            target_depth_mm=targets[entry.home.nation].depth_mm,
            target_source=targets[entry.home.nation].source[:200],
            quantities=entry.worked.quantities | {KEPT_AS: kept[entry.job.company_id]},
            net_area_m2=entry.worked.net_area_m2,
            roll_count=entry.worked.roll_count,
            packed_volume_m3=entry.worked.packed_volume_m3,
            crew_hours=entry.worked.crew_hours,
            u_before_w_m2k=entry.worked.u_before_w_m2k,
            u_after_w_m2k=entry.worked.u_after_w_m2k,
        )
        for entry in entries
        if entry.has_layer_plan and entry.worked is not None
    )


def make_visits(cast: Cast, entries: list[Entry], now: datetime) -> None:
    """Survey visits, fitting visits and call-backs, each with the operatives of its crew."""
    rows: list[Visit] = []
    for entry in entries:
        course = entry.course
        start = course.surveyed_at or course.survey_booked_for
        if start is not None:
            rows.append(
                _visit(cast, entry, "survey", SURVEY_CREW, (start, start + SURVEY_LASTS), now)
            )
        if course.fitting is not None:
            entry.fitting = _visit(cast, entry, "fitting", entry.crew, course.fitting, now)
            rows.append(entry.fitting)
        if course.call_back is not None:
            entry.call_back = _visit(cast, entry, "call_back", entry.crew, course.call_back, now)
            rows.append(entry.call_back)
    Visit.objects.bulk_create(rows)
    hands = {crew.pk: list(crew.operatives.all()) for crew in cast.crews.values()}
    VisitOperative.objects.bulk_create(
        VisitOperative(visit=visit, operative=operative)
        for visit in rows
        for operative in hands[visit.crew_id]
    )


def _visit(
    cast: Cast,
    entry: Entry,
    kind: str,
    crew: str,
    times: tuple[datetime, datetime],
    now: datetime,
) -> Visit:
    starts, ends = times
    over = is_over(times, now)
    on_site = has_begun(times, now) and not over and kind != "survey"
    return Visit(
        company=cast.company,
        job=entry.job,
        kind=kind,
        crew=cast.crews[crew],
        van=cast.crews[crew].van,
        during=DateTimeTZRange(starts, ends),
        booked_by=cast.people["planner"],
        status="done" if over else "on_site" if on_site else "booked",
        arrived_at=starts if over or on_site else None,
        left_at=ends if over else None,
    )


def _since(entry: Entry, now: datetime) -> datetime:
    course = entry.course
    if course.fitting is not None and course.fitting[1] < now:
        return course.fitting[1]
    return course.surveyed_at + SURVEY_LASTS if course.surveyed_at else now - timedelta(days=20)
