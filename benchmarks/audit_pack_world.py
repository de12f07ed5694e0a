"""Ten thousand certified jobs for `benchmarks.audit_pack`, copied from a true one."""

from __future__ import annotations

import copy
import hashlib
import uuid
from collections.abc import Callable, Sequence
from datetime import timedelta
from typing import Any

from django.db import models
from django.utils import timezone

from compliance.audits import rounds
from compliance.audits.answers import DAYS_TO_ANSWER
from compliance.audits.planning import RoundTerms, commit_round
from compliance.certificates.code import new_code
from compliance.models import Assessment, Certificate, DrawnJob, Finding
from compliance.verify.references import canonical_sha256
from jobs.evidence.content_store import open_kept
from jobs.models import DepthReading, Handover, Job, Photo, PreStartCheck, Property, Survey, Visit
from tests.compliance.scene import Scene
from tests.factories import UserFactory

Keep = Callable[..., tuple[str, str]]
PhotoFor = Callable[[int, int], tuple[str, str, int]]
"""Of a job's number and the place of a photo in it: stored name, SHA-256 and bytes."""


def copies_of(
    scene: Scene, certificate: Certificate, start: int, count: int, photos: int, keep: Keep
) -> None:
    """`count` jobs like the scene's, with evidence, verdict and certificate of their own."""
    from benchmarks.audit_pack import photo_bytes

    def random_photo(number: int, nth: int) -> tuple[str, str, int]:
        content = photo_bytes()
        return *keep("photos", content), len(content)

    numbers = range(start, start + count)
    verdicts = judged_copies(scene, certificate.assessment, numbers, photos, random_photo)
    with open_kept(certificate.pdf_name) as file:
        paper = file.read()
    Certificate.objects.bulk_create(_certificate(certificate, one, paper, keep) for one in verdicts)


def judged_copies(
    scene: Scene, verdict: Assessment, numbers: range, photos: int, photo: PhotoFor
) -> list[Assessment]:
    """Jobs like the scene's, with evidence and a verdict of their own, and no certificate."""
    homes = _made(
        Property,
        [
            like(scene.job.property, reference=f"B{n:06}", address_line_1=f"{n} Example Row")
            for n in numbers
        ],
    )
    jobs = _made(Job, [like(scene.job, property_id=home.pk) for home in homes])
    surveys = _made(Survey, [like(scene.survey, job_id=job.pk) for job in jobs])
    areas = _made(type(scene.area), [like(scene.area, survey_id=s.pk) for s in surveys])
    visits = _made(
        Visit,
        [
            like(scene.visit, job_id=job.pk, during=_later(scene.visit.during, n))
            for job, n in zip(jobs, numbers, strict=True)
        ],
    )
    readings = _evidence(DepthReading, scene.visit.depth_readings.order_by("pk"), visits)
    for of_visit, area in zip(readings, areas, strict=True):
        for reading in of_visit:
            reading.area_id = area.pk
    DepthReading.objects.bulk_create([row for rows in readings for row in rows])
    checks = _evidence(PreStartCheck, scene.visit.pre_start_checks.all(), visits)
    PreStartCheck.objects.bulk_create([row for rows in checks for row in rows])
    handovers = _evidence(Handover, scene.visit.handovers.all(), visits)
    Handover.objects.bulk_create([row for rows in handovers for row in rows])
    pattern = list(scene.job.photos.order_by("pk"))
    taken: list[list[Photo]] = []
    for number, visit in zip(numbers, visits, strict=True):
        found = []
        for nth in range(photos):
            name, digest, size_bytes = photo(number, nth)
            made = like(
                pattern[nth % len(pattern)],
                visit_id=visit.pk,
                job_id=visit.job_id,
                sha256=digest,
                original_name=name,
                size_bytes=size_bytes,
                client_key=uuid.uuid4(),
            )
            found.append(made)
        taken.append(found)
    Photo.objects.bulk_create([row for rows in taken for row in rows], batch_size=2000)
    verdicts = [
        _verdict(verdict, *row)
        for row in zip(surveys, jobs, readings, taken, checks, handovers, strict=True)
    ]
    return list(Assessment.objects.bulk_create(verdicts))


def drawn_whole(scheme: Any) -> int:
    """A round that draws every certified job of the scheme; one in ten is found defective."""
    auditor = UserFactory(role="auditor", scheme=scheme)
    nonce = hashlib.sha256(b"benchmark").digest()
    today = timezone.localdate()
    terms = RoundTerms(
        name="Everything",
        period_from=today - timedelta(days=2),
        period_to=today,
        plan="confidence",
        defective_share=0.1,
    )
    rounds.strata_to_draw = _all_of_them  # so that a plan asks for the whole population
    record = commit_round(scheme, auditor, terms, hashlib.sha256(nonce).hexdigest())
    drawn = rounds.draw_sample(rounds.seal_population(record), nonce.hex())
    due = today + timedelta(days=DAYS_TO_ANSWER)
    Finding.objects.bulk_create(
        (
            Finding(
                drawn_job=one,
                severity="minor" if one.draw_order % 10 == 0 else "sound",
                text="Tray missing in one bay." if one.draw_order % 10 == 0 else "",
                answer_due_on=due if one.draw_order % 10 == 0 else None,
                found_by=auditor,
            )
            for one in DrawnJob.objects.filter(round=drawn)
        ),
        batch_size=2000,
    )
    return int(drawn.pk)


def _all_of_them(record: Any, lines: Sequence[Any]) -> Any:
    from calculations.sampling.population import strata_of

    return strata_of(lines, len(lines))


def like(row: models.Model, **changes: object) -> Any:
    """An unsaved copy of a row."""
    fields = [f.attname for f in row._meta.concrete_fields if not f.primary_key]
    return type(row)(**{name: getattr(row, name) for name in fields} | changes)


def _made(model: type[models.Model], rows: list[Any]) -> list[Any]:
    return list(model._default_manager.bulk_create(rows, batch_size=1000))


def _later(during: Any, days: int) -> tuple[Any, Any]:
    return during.lower + timedelta(days=days), during.upper + timedelta(days=days)


def _evidence(model: type[models.Model], rows: Any, visits: Sequence[Visit]) -> list[list[Any]]:
    """By visit: unsaved copies of the scene's evidence."""
    pattern = list(rows)
    return [
        [like(row, visit_id=visit.pk, client_key=uuid.uuid4()) for row in pattern]
        for visit in visits
    ]


def _verdict(
    verdict: Assessment,
    survey: Survey,
    job: Job,
    readings: list[DepthReading],
    photos: list[Photo],
    checks: list[PreStartCheck],
    handovers: list[Handover],
) -> Assessment:
    inputs = copy.deepcopy(verdict.inputs)
    inputs["survey_id"] = survey.pk
    for said, reading in zip(inputs["readings"], readings, strict=True):
        said["id"] = reading.pk
    inputs["photos"] = [{"id": p.pk, "moment": p.moment, "sha256": p.sha256} for p in photos]
    inputs["pre_start_check"]["id"] = checks[0].pk
    inputs["handover"]["id"] = handovers[0].pk
    digest = canonical_sha256(inputs)
    return like(verdict, job_id=job.pk, inputs=inputs, inputs_sha256=digest)  # type: ignore[no-any-return]


def _certificate(
    certificate: Certificate, verdict: Assessment, paper: bytes, keep: Keep
) -> Certificate:
    code = new_code()
    name, digest = keep("certificates", paper, code)
    return like(  # type: ignore[no-any-return]
        certificate,
        job_id=verdict.job_id,
        assessment_id=verdict.pk,
        code=code,
        pdf_name=name,
        pdf_sha256=digest,
    )
