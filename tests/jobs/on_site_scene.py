"""An installer whose crew is booked on a surveyed job: where on-site tests begin."""

from __future__ import annotations

import io
from dataclasses import dataclass
from datetime import timedelta
from typing import Any
from uuid import uuid4

from django.utils import timezone

from jobs.evidence.order_of_work import CALLS
from jobs.evidence.photos import store_photo
from jobs.evidence.questions import QUESTIONS
from jobs.evidence.work_points import points_of
from jobs.models import Job, LoftArea, Photo, Survey, User, Visit
from tests.factories import (
    A_MONDAY,
    CrewFactory,
    JobFactory,
    LoftAreaFactory,
    OperativeFactory,
    SurveyFactory,
    UserFactory,
    VisitFactory,
)

ARRIVED = A_MONDAY + timedelta(minutes=5)
ALL_SAFE: dict[str, object] = {q.code: "yes" if q.unsafe == "no" else "no" for q in QUESTIONS}
ALL_CLEAR: dict[str, object] = {"loft_closed": "yes", "site_clear": "yes"}
LAYING_CALLS = CALLS


@dataclass(frozen=True)
class Scene:
    installer: User
    visit: Visit
    job: Job
    survey: Survey
    area: LoftArea


def booked_scene(**visit_fields: Any) -> Scene:
    """A booked fitting visit, with a complete survey of one area of 8 m by 6 m."""
    job = JobFactory(stage="booked")
    survey = SurveyFactory(job=job, completed_at=timezone.now())
    area = LoftAreaFactory(survey=survey)
    crew = CrewFactory(company=job.company)
    installer = UserFactory(role="installer", company=job.company)
    OperativeFactory(company=job.company, crew=crew, user=installer, leads_crew=True)
    visit = VisitFactory(job=job, crew=crew, **visit_fields)
    return Scene(installer, visit, job, survey, area)


def scene_on_site(**visit_fields: Any) -> Scene:
    """The crew has begun: the pre-start check was safe."""
    scene = booked_scene(status="on_site", arrived_at=ARRIVED, **visit_fields)
    Job.objects.filter(pk=scene.job.pk).update(stage="on_site")
    scene.job.refresh_from_db()
    return scene


def stored(scene: Scene, content: bytes, **fields: Any) -> Photo:
    """A photo stored for the scene's visit."""
    values = {"moment": "before", "point_label": "P1", "by": scene.installer, **fields}
    photo, _ = store_photo(scene.visit, stream=io.BytesIO(content), **values)
    return photo


def arrived(scene: Scene, **fields: Any) -> dict[str, Any]:
    """What the arrival form sends when the loft is empty and safe."""
    told = {"let_in_by": "the householder", "loft_ready": "yes", "client_key": str(uuid4())}
    crew = scene.visit.crew.operatives.values_list("pk", flat=True)
    return {"operative_ids": list(crew), **told, **fields}


def step_done(step: str, **fields: Any) -> dict[str, Any]:
    """What the form of a step of laying sends when everything is in order."""
    answers = {point.code: "yes" for point in points_of(step)}
    return {**answers, "outcome": "done", "client_key": str(uuid4()), **fields}
