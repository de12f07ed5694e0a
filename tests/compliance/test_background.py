"""What is started by an announcement, and what the beat finds after a crash."""

from __future__ import annotations

import hashlib
import time
from datetime import timedelta

import pytest
from django.db import transaction
from django.utils import timezone

from compliance import tasks
from compliance.assess import assess_job
from compliance.catching_up import jobs_to_assess, jobs_to_certify
from compliance.certificates.issue import make_again
from compliance.certificates.storage import read_pdf
from compliance.models import Assessment, Certificate, Seal
from deploy.schedule import BEAT_SCHEDULE
from jobs.announce import evidence_changed, visit_done
from jobs.models import Job, Visit
from tests.compliance.scene import bare, fitted, short_scene
from tests.factories import DepthReadingFactory, JobFactory

pytestmark = pytest.mark.django_db

WORKER_PATIENCE_S = 60.0


def test_a_finished_visit_is_judged_and_certified(django_capture_on_commit_callbacks):
    scene = fitted()

    with django_capture_on_commit_callbacks(execute=True):
        visit_done.send(Visit, visit=scene.visit)

    assert Assessment.objects.get().verdict == "meets"
    assert Certificate.objects.get().job == scene.job


def test_nothing_is_started_before_the_commit(django_capture_on_commit_callbacks):
    scene = fitted()

    with django_capture_on_commit_callbacks() as waiting:
        evidence_changed.send(Job, job=scene.job)

    assert len(waiting) == 1
    assert not Assessment.objects.exists()


def test_evidence_while_the_crew_is_at_work_starts_nothing(django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks() as waiting:
        evidence_changed.send(Job, job=JobFactory(stage="on_site"))

    assert waiting == []


def test_the_tasks_may_run_twice():
    scene = fitted()

    for _ in range(2):
        assert tasks.assess.delay(scene.job.pk).get() == "meets"
        tasks.certify.delay(scene.job.pk)

    assert (Assessment.objects.count(), Certificate.objects.count()) == (1, 1)


def test_a_task_for_a_job_without_verdict_stage_does_nothing():
    assert tasks.assess.delay(JobFactory(stage="booked").pk).get() == "nothing to judge"


def test_a_certificate_asked_for_a_short_job_is_no_error():
    scene, _ = short_scene()

    assert "no verdict that meets" in tasks.certify.delay(scene.job.pk).get()


def test_the_beat_finds_what_was_never_judged_and_certifies_it():
    scenes = [fitted(), bare()]

    assert tasks.catch_up.delay().get() == 2
    assert Assessment.objects.count() == len(scenes)
    assert Certificate.objects.get().job == scenes[0].job
    assert tasks.catch_up.delay().get() == 0


def test_the_beat_finds_a_verdict_without_its_certificate():
    scene = fitted()
    assess_job(scene.job.pk)

    assert list(jobs_to_certify()) == [scene.job.pk]


def test_the_beat_finds_evidence_that_came_after_the_verdict():
    scene = fitted()
    assess_job(scene.job.pk)
    DepthReadingFactory(visit=scene.visit, area=scene.area, x_mm=4000, y_mm=3000)

    assert jobs_to_assess(timezone.now()) == [scene.job.pk]


def test_evidence_stamped_just_before_the_verdict_is_looked_at_once_more():
    scene = fitted()
    assess_job(scene.job.pk)
    later = timezone.now() + timedelta(minutes=15)

    assert jobs_to_assess(later) == [scene.job.pk]
    assert jobs_to_assess(later) == []


def test_the_seal_task_covers_everything():
    fitted()

    size = tasks.seal_ledger.delay().get()

    assert Seal.objects.get().tree_size == size > 0


def test_every_task_of_ours_on_the_beat_exists():
    from deploy.celery import app

    ours = [e["task"] for e in BEAT_SCHEDULE.values() if e["task"].startswith("compliance.")]

    assert len(ours) >= 3
    assert set(ours) <= set(app.tasks)


@pytest.mark.django_db(transaction=True)
def test_a_worker_of_its_own_judges_and_certifies(running_worker):
    """Through the broker: the handover is committed here, the certificate is made there."""
    scene = fitted()
    with transaction.atomic():
        visit_done.send(Visit, visit=scene.visit)

    deadline = time.monotonic() + WORKER_PATIENCE_S
    while not Certificate.objects.exists() and time.monotonic() < deadline:
        time.sleep(0.1)

    certificate = Certificate.objects.get()
    assert certificate.issued_by is None
    assert hashlib.sha256(read_pdf(certificate.pdf_name)).hexdigest() == certificate.pdf_sha256
    assert make_again(certificate) == read_pdf(certificate.pdf_name)
