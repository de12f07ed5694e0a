"""A loft that was fitted and measured: where tests of verdicts and certificates begin."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.utils import timezone

from calculations.depths import DepthRequirement, where_to_measure
from compliance.assess import assess_job
from compliance.certificates.issue import issue_certificate
from compliance.models import Assessment, Certificate
from jobs.lofts import loft_of
from jobs.models import Job, LoftArea, Stage, Survey, User, Visit
from tests.factories import (
    A_MONDAY,
    CrewFactory,
    DepthReadingFactory,
    HandoverFactory,
    JobFactory,
    LoftAreaFactory,
    OperativeFactory,
    PhotoFactory,
    PreStartCheckFactory,
    SurveyFactory,
    UserFactory,
    VisitFactory,
)

GOOD_DEPTHS = (285.0, 290.0, 280.0, 275.0, 295.0)
SHORT_DEPTHS = (170.0, 165.0, 175.0)


@dataclass(frozen=True)
class Scene:
    job: Job
    survey: Survey
    area: LoftArea
    visit: Visit
    installer: User

    @property
    def company(self) -> Any:
        return self.job.company

    def person(self, role: str) -> User:
        """Somebody of the job's company, or the auditor of its scheme."""
        if role == "auditor":
            return UserFactory(role=role, scheme=self.job.scheme)
        if role == "platform_admin":
            return UserFactory(role=role)
        return UserFactory(role=role, company=self.job.company)


def fitted(
    depths: Sequence[float] = GOOD_DEPTHS, photo: Any = PhotoFactory, **job_fields: Any
) -> Scene:
    """A job that waits for its verdict, with all the evidence its rule asks for.

    The readings stand where the engine wants them, with `depths` [mm] in turn. `photo` makes
    the photos.
    """
    scene = _visited(**job_fields)
    measure(scene, depths)
    for moment in ("before", "after"):
        for label in ("P1", "P2"):
            photo(visit=scene.visit, moment=moment, point_label=label, sent_by=scene.installer)
    PreStartCheckFactory(visit=scene.visit, checked_by=scene.installer)
    HandoverFactory(visit=scene.visit, taken_by=scene.installer)
    return scene


def bare(**job_fields: Any) -> Scene:
    """A job that waits for its verdict without any evidence."""
    return _visited(**job_fields)


def _visited(**job_fields: Any) -> Scene:
    job = JobFactory(stage=Stage.TO_ASSESS, **job_fields)
    survey = SurveyFactory(job=job, completed_at=timezone.now())
    area = LoftAreaFactory(survey=survey)
    crew = CrewFactory(company=job.company)
    installer = UserFactory(role="installer", company=job.company)
    OperativeFactory(company=job.company, crew=crew, user=installer, leads_crew=True)
    visit = VisitFactory(job=job, crew=crew, status="done", left_at=A_MONDAY + timedelta(hours=4))
    return Scene(job, survey, area, visit, installer)


def measure(scene: Scene, depths: Sequence[float], visit: Visit | None = None) -> None:
    """Readings [mm] at all the places the engine asks for, by `depths` in turn."""
    requirement = DepthRequirement(min_depth_mm=270)
    points = where_to_measure(loft_of(scene.survey), (), requirement)
    for i, point in enumerate(points):
        DepthReadingFactory(
            visit=visit or scene.visit,
            area=scene.area,
            x_mm=point.x_mm,
            y_mm=point.y_mm,
            depth_mm=depths[i % len(depths)],
            measured_by=scene.installer,
        )


def short_scene(**job_fields: Any) -> tuple[Scene, Assessment]:
    scene = fitted(SHORT_DEPTHS, **job_fields)
    return scene, assess_job(scene.job.pk)


def certified_scene(**job_fields: Any) -> tuple[Scene, Certificate]:
    scene = fitted(**job_fields)
    assess_job(scene.job.pk)
    return scene, issue_certificate(scene.job.pk)


def call_back(scene: Scene, depths: Sequence[float]) -> Visit:
    """A call-back that was made after the fitting, with its readings; the job waits again."""
    visit = VisitFactory(
        job=scene.job,
        crew=scene.visit.crew,
        kind="call_back",
        status="done",
        during=(A_MONDAY + timedelta(days=7), A_MONDAY + timedelta(days=7, hours=2)),
    )
    measure(scene, depths, visit)
    PreStartCheckFactory(
        visit=visit, checked_by=scene.installer, checked_at=A_MONDAY + timedelta(days=7)
    )
    return visit
