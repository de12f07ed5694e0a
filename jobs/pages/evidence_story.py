"""Evidence in a job's story, the installer's home, and stopped work in the office's list."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.urls import reverse

from calculations.drawing import draw_evidence, photo_points
from jobs.contact import PERSON_HIDDEN
from jobs.errors import Refused
from jobs.evidence.cautions import CAUTIONS
from jobs.evidence.questions import QUESTIONS, outcome_of
from jobs.evidence.site_record import engine_reading
from jobs.lofts import loft_of
from jobs.models import (
    DepthReading,
    Handover,
    Job,
    Photo,
    PreStartCheck,
    Role,
    Stage,
    User,
    Visit,
)
from jobs.pages.on_site_forms import WORDS_OF_ANSWER
from jobs.pages.on_site_parts import ShownPhoto
from jobs.pages.registry import (
    Attention,
    NavigationItem,
    StorySection,
    register_attention,
    register_home,
    register_navigation,
    register_story_section,
)
from jobs.surveying.quantities import current_survey
from jobs.targets import depth_target

OFFICE = frozenset({Role.PLANNER, Role.COMPLIANCE_OFFICER})
INSTALLER = frozenset({Role.INSTALLER})


@dataclass(frozen=True, slots=True)
class Pair:
    """Before and after at one photo point; further photos of it follow apart."""

    point: str
    before: ShownPhoto | None
    after: ShownPhoto | None
    further: tuple[ShownPhoto, ...]

    @property
    def doubts(self) -> list[tuple[str, str]]:
        """Each doubt with the word of the photo it is about."""
        shown = [photo for photo in (self.before, self.after, *self.further) if photo]
        return [
            (photo.photo.get_moment_display(), text) for photo in shown for text in photo.warnings
        ]


def photos_section(job: Job, user: User) -> dict[str, Any] | None:
    photos = Photo.objects.current().filter(job=job).prefetch_related("inspections")
    shown = [ShownPhoto.of(photo) for photo in photos]
    if not shown:
        return None
    return {
        "pairs": pairs_of(shown, _words_of_points(job)),
        "count": len(shown),
        "doubted": sum(bool(photo.warnings) for photo in shown),
    }


def _words_of_points(job: Job) -> dict[str, str]:
    survey = current_survey(job)
    points = photo_points(loft_of(survey)) if survey else ()
    return {point.label: f"{point.label}. {point.why}" for point in points}


def pairs_of(shown: Sequence[ShownPhoto], words: dict[str, str]) -> list[Pair]:
    """The photos by point, in the points' order; the latest before and after side by side."""
    order = [*words, *dict.fromkeys(photo.photo.point_label for photo in shown)]
    pairs = []
    for label in dict.fromkeys(order):
        here = [photo for photo in shown if photo.photo.point_label == label]
        if here:
            pairs.append(_pair(words.get(label, label or "At no point"), here))
    return pairs


def _pair(point: str, here: Sequence[ShownPhoto]) -> Pair:
    before = next((p for p in reversed(here) if p.photo.moment == "before"), None)
    after = next((p for p in reversed(here) if p.photo.moment == "after"), None)
    further = tuple(photo for photo in here if photo not in (before, after))
    return Pair(point, before, after, further)


def readings_section(job: Job, user: User) -> dict[str, Any] | None:
    readings = list(
        DepthReading.objects.filter(visit__job=job).select_related(
            "area", "measured_by", "replaces", "replaced_by", "visit"
        )
    )
    if not readings:
        return None
    return {"readings": readings, "svg": _drawing(job, readings)}


def _drawing(job: Job, readings: Sequence[DepthReading]) -> str:
    """The present readings on the present survey."""
    survey = current_survey(job)
    if survey is None:
        return ""
    standing = [r for r in readings if not hasattr(r, "replaced_by")]
    here = [engine_reading(r) for r in standing if r.area.survey_id == survey.pk]
    try:
        asked_mm = depth_target(job).depth_mm
    except Refused:
        asked_mm = None
    return draw_evidence(loft_of(survey), here, (), asked_mm)


@dataclass(frozen=True, slots=True)
class ToldCheck:
    """A pre-start check in words: question, answer, whether it was unsafe."""

    check: PreStartCheck
    answers: tuple[tuple[str, str, bool], ...]

    @classmethod
    def of(cls, check: PreStartCheck) -> ToldCheck:
        unsafe = {question.code for question in outcome_of(check.answers).unsafe}
        rows = (
            (q.text, WORDS_OF_ANSWER.get(check.answers[q.code], "?"), q.code in unsafe)
            for q in QUESTIONS
            if q.code in check.answers
        )
        return cls(check, tuple(rows))


@dataclass(frozen=True, slots=True)
class ToldHandover:
    handover: Handover
    cautions: tuple[str, ...]

    @classmethod
    def of(cls, handover: Handover) -> ToldHandover:
        words = {caution.code: caution.text for caution in CAUTIONS}
        return cls(handover, tuple(words.get(code, code) for code in handover.cautions_given))


def checks_section(job: Job, user: User) -> dict[str, Any] | None:
    """Checks, stopped work and handovers. The name and signature are personal: not an auditor's."""
    checks = PreStartCheck.objects.filter(visit__job=job).select_related("checked_by", "visit")
    handovers = Handover.objects.filter(visit__job=job).select_related("taken_by", "visit")
    # Stops that are facts of their own are told with their visit, step by step.
    stopped = job.visits.filter(status=Visit.Status.STOPPED, stop_work__isnull=True)
    context = {
        "checks": [ToldCheck.of(check) for check in checks],
        "handovers": [ToldHandover.of(handover) for handover in handovers],
        "stopped": list(stopped.select_related("crew")),
        "shows_person": user.role not in PERSON_HIDDEN,
    }
    return context if any(context[key] for key in ("checks", "handovers", "stopped")) else None


def stopped_work(user: User) -> list[Attention]:
    """Jobs whose last visit was stopped and that nobody has planned anew."""
    jobs = (
        Job.objects.visible_to(user)
        .filter(stage__in=(Stage.TO_PLAN, Stage.SHORT, Stage.TO_ASSESS))
        .filter(visits__status=Visit.Status.STOPPED)
        .exclude(visits__status__in=(Visit.Status.BOOKED, Visit.Status.ON_SITE))
        .distinct()
    )
    found = list(jobs.values_list("pk", flat=True)[:100])
    if len(found) == 1:
        url = reverse("job", args=found)
    else:
        url = f"{reverse('job_list')}?stage={Stage.TO_PLAN}"
    sentence = "stopped on site: read why, then plan anew"
    return [
        Attention(
            len(found), f"{'job was' if len(found) == 1 else 'jobs were'} {sentence}", url, "now"
        )
    ]


def register() -> None:
    """Join the shared pages. Called once, when the app is ready."""
    register_home(Role.INSTALLER, "on_site")
    register_navigation(NavigationItem("On site", "on_site", INSTALLER, 10))
    register_attention(OFFICE, stopped_work)
    for key, title, order, template, build in (
        ("photos", "Photos", 50, "jobs/story/photos.html", photos_section),
        ("readings", "Readings", 55, "jobs/story/readings.html", readings_section),
        ("checks", "Checks and handover", 58, "jobs/story/checks.html", checks_section),
    ):
        register_story_section(StorySection(key, title, order, template, build))
