"""The visits of a job step by step, and what differs from the plan, in the job's story."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.urls import reverse

from jobs.contact import PERSON_HIDDEN
from jobs.evidence.work_points import not_in_order, points_of
from jobs.models import (
    Arrival,
    Job,
    Leave,
    Operative,
    Role,
    Stage,
    StopWork,
    User,
    Variation,
    Visit,
    WorkStep,
)
from jobs.pages.on_site_forms import WORDS_OF_ANSWER
from jobs.pages.registry import (
    Attention,
    StorySection,
    register_attention,
    register_story_section,
)

OFFICE = frozenset({Role.PLANNER, Role.COMPLIANCE_OFFICER})
UNDECIDED = (Stage.BOOKED, Stage.ON_SITE, Stage.TO_ASSESS, Stage.SHORT, Stage.TO_PLAN)


@dataclass(frozen=True, slots=True)
class ToldStep:
    """A step of the laying in words; wrong: the points answered no."""

    step: WorkStep
    answers: tuple[tuple[str, str], ...]
    wrong: tuple[str, ...]

    @classmethod
    def of(cls, step: WorkStep) -> ToldStep:
        rows = tuple(
            (point.text, WORDS_OF_ANSWER[step.answers[point.code]])
            for point in points_of(step.step)
            if point.code in step.answers
        )
        return cls(step, rows, tuple(p.text for p in not_in_order(step.step, step.answers)))


@dataclass(frozen=True, slots=True)
class ToldVisit:
    """What was recorded of one visit besides its evidence. who: names of those who came."""

    visit: Visit
    arrival: Arrival | None
    who: str
    steps: tuple[ToldStep, ...]
    stop: StopWork | None
    left: Leave | None


def work_section(job: Job, user: User) -> dict[str, Any] | None:
    """Visits with arrival, steps, stopped work and leaving. Who let the crew in is personal."""
    visits = job.visits.select_related("crew", "stop_work").prefetch_related(
        "arrivals__replaced_by", "work_steps__replaced_by", "leaves__replaced_by"
    )
    told = [told for visit in visits if (told := _told(visit, _names(job))) is not None]
    if not told:
        return None
    return {"visits": told, "shows_person": user.role not in PERSON_HIDDEN}


def _names(job: Job) -> dict[int, str]:
    return dict(Operative.objects.filter(company=job.company_id).values_list("pk", "name"))


def _told(visit: Visit, names: dict[int, str]) -> ToldVisit | None:
    arrival, left = _standing(visit.arrivals.all()), _standing(visit.leaves.all())
    steps = [row for row in visit.work_steps.all() if not hasattr(row, "replaced_by")]
    stop = getattr(visit, "stop_work", None)
    if not (arrival or left or steps or stop):
        return None
    who = [names.get(pk, f"operative {pk}") for pk in arrival.operative_ids] if arrival else []
    return ToldVisit(
        visit, arrival, ", ".join(who), tuple(ToldStep.of(row) for row in steps), stop, left
    )


def _standing(rows: Iterable[Any]) -> Any:
    """The row that no later one replaces."""
    standing = [row for row in rows if not hasattr(row, "replaced_by")]
    return standing[-1] if standing else None


def variations_of(job: Job) -> list[Variation]:
    """What differs from the plan of a job, as it stands; each with the photo it names."""
    return list(Variation.objects.current().filter(visit__job=job).with_photo())


def variations_section(job: Job, user: User) -> dict[str, Any] | None:
    found = variations_of(job)
    return {"variations": found} if found else None


def varied_jobs(user: User) -> list[Attention]:
    """Jobs that differ from their plan and are not decided yet."""
    rows = Variation.objects.current().visible_to(user).filter(visit__job__stage__in=UNDECIDED)
    found = list(rows.order_by().values_list("visit__job", flat=True).distinct()[:100])
    one = len(found) == 1
    url = reverse("job", args=found) if one else f"{reverse('job_list')}?only=varied"
    words = "job was done other than planned" if one else "jobs were done other than planned"
    return [Attention(len(found), f"{words}: read why", url)]


def register() -> None:
    """Join the shared pages. Called once, when the app is ready."""
    register_attention(OFFICE, varied_jobs)
    for key, title, order, template, build in (
        ("work", "The visits step by step", 45, "jobs/story/work.html", work_section),
        ("variations", "Other than planned", 47, "jobs/story/variations.html", variations_section),
    ):
        register_story_section(StorySection(key, title, order, template, build))
