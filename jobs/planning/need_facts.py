"""What visits a job needs at its stage, worked out from its survey, layer plan and verdicts."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta

from django.utils import timezone

from calculations.cables import check_cables
from calculations.loft import FixtureKind, HazardKind, LoftError, ObstacleKind
from jobs.call_backs import CallBackNeeds, call_back_needs
from jobs.loading.load_list import plans_of
from jobs.lofts import loft_of
from jobs.models import (
    LAYING_KINDS,
    Crew,
    Job,
    LayerPlan,
    Skill,
    Stage,
    Survey,
    Visit,
    VisitKind,
)
from jobs.planning.calendars import longest_working_seconds

# Which kinds a job at a stage waits for; what is booked already stays whatever the stage.
WANTED_AT: dict[str, tuple[VisitKind, ...]] = {
    Stage.TO_SURVEY: (VisitKind.SURVEY,),
    Stage.TO_PLAN: (VisitKind.ELECTRICAL, VisitKind.FITTING),
    Stage.SHORT: (VisitKind.CALL_BACK,),
}
# Which kinds may go on waiting at a stage that asks for none by itself.
LEFT_WAITING_AT: dict[str, tuple[VisitKind, ...]] = {
    Stage.BOOKED: (VisitKind.ELECTRICAL, VisitKind.FITTING, VisitKind.CALL_BACK),
    Stage.ON_SITE: (VisitKind.ELECTRICAL, VisitKind.FITTING, VisitKind.CALL_BACK),
    Stage.TO_ASSESS: (VisitKind.CALL_BACK,),
}

# How long visits take that no layer plan tells [h]: common practice, no published source.
USUAL_HOURS: dict[str, float] = {
    VisitKind.SURVEY: 1.0,
    VisitKind.ELECTRICAL: 1.5,
    VisitKind.FITTING: 4.0,
    VisitKind.CALL_BACK: 2.0,
}
# How many operatives at least: one may look, two lay (lifting and the way out of a loft): common
# practice, no published source.
USUAL_CREW_SIZE: dict[str, int] = {
    VisitKind.SURVEY: 1,
    VisitKind.ELECTRICAL: 1,
    VisitKind.FITTING: 2,
    VisitKind.CALL_BACK: 1,
}
USUAL_PRIORITY = 3
CALL_BACK_PRIORITY = 4
# Part of a day that driving takes [h]; what is left is a day's work at one home.
DRIVING_ALLOWANCE_H = 1.0
WITHOUT_CREWS_H = 7.0
LONGEST_PART_H = 14.0
SKILLS: dict[str, Skill] = {
    VisitKind.SURVEY: Skill.SURVEYING,
    VisitKind.ELECTRICAL: Skill.ELECTRICAL,
    VisitKind.FITTING: Skill.INSULATION,
    VisitKind.CALL_BACK: Skill.INSULATION,
}


@dataclass(frozen=True, slots=True)
class Wanted:
    """One visit a job needs, as worked out; names are those of `VisitNeed`."""

    kind: VisitKind
    part_hours: tuple[float, ...]
    crew_size: int
    skills: tuple[str, ...]
    volume_m3: float
    priority: int
    due_on: date | None
    preferred_crew_id: int | None


@dataclass(frozen=True, slots=True)
class JobFacts:
    """What is known of many jobs, each by job id; `day_hours` by company id.

    `call_backs`: what puts a job right, of those where somebody knows what is short.
    """

    plans: Mapping[int, LayerPlan]
    surveys: Mapping[int, Survey]
    last_crews: Mapping[int, int]
    day_hours: Mapping[int, float]
    call_backs: Mapping[int, CallBackNeeds] = field(default_factory=dict)


def facts_of(jobs: Iterable[Job]) -> JobFacts:
    """The facts of some jobs, in a constant number of queries."""
    jobs = list(jobs)
    ids = [job.pk for job in jobs]
    surveys = Survey.objects.filter(job_id__in=ids).complete().with_measurements()
    newest: dict[int, Survey] = {}
    for survey in surveys.order_by("-pk"):
        newest.setdefault(survey.job_id, survey)
    laid = Visit.objects.filter(job_id__in=ids, kind__in=LAYING_KINDS, status="done")
    last_crews = dict(laid.order_by("during").values_list("job_id", "crew_id"))
    return JobFacts(plans_of(jobs), newest, last_crews, day_hours_of(jobs), call_back_needs(ids))


def day_hours_of(jobs: Iterable[Job]) -> dict[int, float]:
    """By company: how much work at one home fits into a day of its crews [h]."""
    crews: dict[int, list[Crew]] = defaultdict(list)
    companies = {job.company_id for job in jobs}
    for crew in Crew.objects.filter(company_id__in=companies, is_active=True):
        crews[crew.company_id].append(crew)
    return {
        company: max(1.0, longest_working_seconds(own) / 3600 - DRIVING_ALLOWANCE_H)
        for company, own in crews.items()
    }


def wanted_needs(job: Job, facts: JobFacts) -> tuple[Wanted, ...]:
    """The visits a job at its stage waits for, in the order they must be made."""
    kinds = WANTED_AT.get(job.stage, ())
    return tuple(
        wanted_need(job, kind, facts)
        for kind in kinds
        if kind != VisitKind.ELECTRICAL or needs_electrician(job, facts)
    )


def wanted_need(job: Job, kind: VisitKind, facts: JobFacts) -> Wanted:
    """One visit of a kind for a job, as the facts say."""
    plan = facts.plans.get(job.pk)
    is_call_back = kind == VisitKind.CALL_BACK
    short = facts.call_backs.get(job.pk) if is_call_back else None
    hours, volume, crew_size = USUAL_HOURS[kind], 0.0, USUAL_CREW_SIZE[kind]
    if kind == VisitKind.FITTING and plan is not None:
        hours, volume = plan.crew_hours, plan.packed_volume_m3
    if short is not None:
        hours, volume = short.crew_hours, short.volume_m3
    if short is not None and short.rolls:
        crew_size = USUAL_CREW_SIZE[VisitKind.FITTING]
    return Wanted(
        kind=kind,
        part_hours=parts_of(hours, facts.day_hours.get(job.company_id, WITHOUT_CREWS_H)),
        crew_size=crew_size,
        skills=skills_needed(job, kind, facts),
        volume_m3=volume,
        priority=CALL_BACK_PRIORITY if is_call_back else USUAL_PRIORITY,
        due_on=_remedy_due(job) if is_call_back else job.due_on,
        preferred_crew_id=facts.last_crews.get(job.pk) if is_call_back else None,
    )


def parts_of(hours: float, day_hours: float) -> tuple[float, ...]:
    """Hours of each day's work, to the quarter hour up: one day if it fits, else equal parts.

    Equal parts leave room for other visits on each day, which a full first day and a short last
    one would not.
    """
    days = max(1, math.ceil(round(hours / min(day_hours, LONGEST_PART_H), 6)))
    quarter_hours = max(1, math.ceil(round(hours / days * 4, 6)))
    return (quarter_hours / 4,) * days


def skills_needed(job: Job, kind: VisitKind, facts: JobFacts) -> tuple[str, ...]:
    """The skill of the kind, and what the survey found that asks for more.

    Asbestos, or vermiculite that may hold it: awareness training before anybody who could disturb
    it is sent; it is no licence to touch it. A raised deck: who knows how to work under it.
    """
    skills = [SKILLS[kind]]
    survey = facts.surveys.get(job.pk)
    if survey is not None and kind in LAYING_KINDS:
        hazards = {hazard.kind for hazard in survey.hazards.all()}
        if hazards & {HazardKind.ASBESTOS, HazardKind.VERMICULITE}:
            skills.append(Skill.ASBESTOS_AWARENESS)
        decks = (o for o in survey.obstacles.all() if o.kind == ObstacleKind.DECK)
        if any(deck.underside_mm is not None for deck in decks):
            skills.append(Skill.RAISED_DECK)
    return tuple(str(skill) for skill in skills)


def needs_electrician(job: Job, facts: JobFacts) -> bool:
    """Whether a competent person must come before anything is laid over the cables.

    Damaged wiring, or a cable under high load that the engine refers to an electrician. When the
    measurements cannot be read, an electrician decides.
    """
    survey = facts.surveys.get(job.pk)
    if survey is None:
        return False
    if any(hazard.kind == HazardKind.DAMAGED_WIRING for hazard in survey.hazards.all()):
        return True
    heavy = {f.name for f in survey.fixtures.all() if f.kind == FixtureKind.CABLE and f.high_load}
    if not heavy:
        return False
    plan = facts.plans.get(job.pk)
    try:
        verdicts = check_cables(loft_of(survey), plan.target_depth_mm if plan else 0.0)
    except LoftError:
        return True
    return any(v.name in heavy and v.verdict == "refer_to_electrician" for v in verdicts)


def _remedy_due(job: Job) -> date:
    since = timezone.localtime(job.stage_since).date()
    return since + timedelta(weeks=job.scheme.remedy_weeks)
