"""A loft that was fitted and measured: where tests of verdicts and certificates begin."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from functools import lru_cache
from typing import Any

from django.utils import timezone
from PIL import Image

from calculations.depths import DepthRequirement, where_to_measure
from compliance.assess import assess_job
from compliance.certificates.issue import issue_certificate
from compliance.models import Assessment, Certificate
from jobs.evidence.content_store import keep
from jobs.lofts import loft_of
from jobs.models import Job, LoftArea, Photo, PhotoInspection, Stage, Survey, User, Visit
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


@lru_cache
def small_picture(shade: int) -> bytes:
    """A JPEG of one shade."""
    file = io.BytesIO()
    Image.new("RGB", (64, 48), (shade % 256, shade // 256, 90)).save(file, "JPEG")
    return file.getvalue()


def look_at(photo: Photo, shade: int = 120) -> Photo:
    """The photo with the small copy that an inspection makes."""
    kept = keep(io.BytesIO(small_picture(shade)), "photo-copies", limit_bytes=100_000)
    PhotoInspection.objects.create(
        photo=photo,
        inspector_version="2",
        readable=True,
        width_px=64,
        height_px=48,
        exif_latitude_deg=51.5,
        exif_longitude_deg=-0.1,
        thumb_name=kept.name,
    )
    return photo


def seen_photo(**fields: Any) -> Photo:
    """A photo that was inspected; all of them look the same."""
    return look_at(PhotoFactory(**fields))


def fitted(
    depths: Sequence[float] = GOOD_DEPTHS, photo: Any = seen_photo, **job_fields: Any
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
