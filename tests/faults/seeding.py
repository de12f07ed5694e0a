"""What the stack under test begins with: run there as a program, which prints JSON.

migrate | uploads CREWS | certificates CREWS JOBS
"""

from __future__ import annotations

import io
import json
import sys
from datetime import timedelta
from typing import Any

from django.test import override_settings
from factory.django import DjangoModelFactory

QUICK = ["django.contrib.auth.hashers.MD5PasswordHasher"]
"""Nobody signs in by a password here, and a good hash takes its time."""
NOT_LOOKED_AT_EACH = 5
"""Of so many jobs one has photos that no task came to yet."""


def migrate() -> list[object]:
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    return []


def uploads(crews: int) -> list[dict[str, object]]:
    """Crews with a visit, and an API token for each."""
    from tests.jobs.on_site_scene import booked_scene

    scenes = [booked_scene() for _ in range(crews)]
    return [
        {"visit": scene.visit.pk, "job": scene.job.pk, "token": token_of(scene.installer)}
        for scene in scenes
    ]


def certificates(crews: int, jobs: int) -> list[dict[str, object]]:
    """Crews on site at many jobs each; of each job all is recorded but its last readings."""
    from django.db import transaction

    from tests.factories import CompanyFactory, SchemeFactory

    with transaction.atomic():
        company, scheme = CompanyFactory(), SchemeFactory()
        scheme.companies.add(company)
        photos = kept_files()
        return [crew_with_jobs(company, scheme, photos, jobs // crews) for _ in range(crews)]


def kept_files() -> list[Any]:
    """Small pictures that stand for photos; several jobs may share them."""
    from jobs.evidence.content_store import keep
    from tests.compliance.scene import small_picture

    return [
        keep(io.BytesIO(small_picture(shade)), "photos", limit_bytes=9999) for shade in range(4)
    ]


def crew_with_jobs(company: Any, scheme: Any, photos: list[Any], jobs: int) -> dict[str, object]:
    from tests.factories import CrewFactory, OperativeFactory, UserFactory

    crew = CrewFactory(company=company)
    installer = UserFactory(role="installer", company=company)
    OperativeFactory(company=company, crew=crew, user=installer, leads_crew=True)
    planner = UserFactory(role="planner", company=company)
    made = [
        measured_job(company, scheme, crew, installer, planner, photos, number)
        for number in range(jobs)
    ]
    return {"token": token_of(installer), "jobs": made}


def measured_job(
    company: Any, scheme: Any, crew: Any, installer: Any, planner: Any, photos: list[Any], n: int
) -> dict[str, object]:
    from psycopg.types.range import TimestamptzRange

    from calculations.depths import DepthRequirement, where_to_measure
    from jobs.evidence.inspection import INSPECTOR_VERSION
    from jobs.lofts import loft_of
    from jobs.models import DepthReading, Photo, PhotoInspection
    from tests.factories import (
        A_MONDAY,
        JobFactory,
        LoftAreaFactory,
        PreStartCheckFactory,
        PropertyFactory,
        SurveyFactory,
        VisitFactory,
    )

    home = PropertyFactory(company=company)
    job = JobFactory(company=company, scheme=scheme, property=home, stage="on_site")
    survey = SurveyFactory(job=job, completed_at=A_MONDAY, surveyed_by=planner)
    outline = [[0, 0], [5000, 0], [5000, 4000], [0, 4000]]
    area = LoftAreaFactory(survey=survey, outline_mm=outline)
    begins = A_MONDAY + timedelta(hours=n)
    visit = VisitFactory(
        job=job, crew=crew, booked_by=planner, status="on_site", arrived_at=begins,
        during=TimestamptzRange(begins, begins + timedelta(hours=1)),
    )  # fmt: skip
    photographed = Photo.objects.bulk_create(
        Photo(
            visit=visit, job=job, moment=("before", "after")[i % 2], point_label=f"P{1 + i // 2}",
            sha256=kept.sha256, size_bytes=kept.size_bytes, media_type="image/jpeg",
            original_name=kept.name, sent_by=installer,
        )
        for i, kept in enumerate(photos)
    )  # fmt: skip
    if n % NOT_LOOKED_AT_EACH:
        PhotoInspection.objects.bulk_create(
            PhotoInspection(
                photo=photo, inspector_version=INSPECTOR_VERSION, readable=True, width_px=64,
                height_px=48, thumb_name=photo.original_name,
            )
            for photo in photographed
        )  # fmt: skip
    PreStartCheckFactory(visit=visit, checked_by=installer)
    points = where_to_measure(loft_of(survey), (), DepthRequirement(min_depth_mm=270))
    DepthReading.objects.bulk_create(
        DepthReading(
            visit=visit, area=area, x_mm=point.x_mm, y_mm=point.y_mm, depth_mm=275 + i % 20,
            measured_by=installer, measured_at=begins,
        )
        for i, point in enumerate(points[:-1])
    )  # fmt: skip
    last = points[-1]
    return {"job": job.pk, "visit": visit.pk, "x_mm": last.x_mm, "y_mm": last.y_mm}


def token_of(user: Any) -> str:
    from rest_framework.authtoken.models import Token

    return str(Token.objects.create(user=user).key)


SEEDS = {"migrate": migrate, "uploads": uploads, "certificates": certificates}


def go_on_counting() -> None:
    """Names that factories number must differ from those of an earlier seeding."""
    from jobs.models import Company
    from tests import factories

    made = [one for one in vars(factories).values() if isinstance(one, type)]
    for factory in made:
        if issubclass(factory, DjangoModelFactory) and not factory._meta.abstract:
            factory.reset_sequence(1000 * (1 + Company.objects.count()), force=True)


if __name__ == "__main__":
    if sys.argv[1] != "migrate":
        go_on_counting()
    with override_settings(PASSWORD_HASHERS=QUICK):
        print(json.dumps(SEEDS[sys.argv[1]](*map(int, sys.argv[2:]))))
