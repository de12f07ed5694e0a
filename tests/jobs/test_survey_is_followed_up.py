"""What a finished survey sets going: its visits end, the layers are worked out."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from compliance.models import DepthRule
from jobs.models import Job, LayerPlan, Stage, Survey, Visit
from jobs.surveying.records import complete_survey, save_draft, start_survey
from jobs.tasks import quantify_waiting_jobs
from tests.factories import VisitFactory
from tests.jobs.planner_scene import Office, an_office, signed_in
from tests.jobs.test_surveying import a_loft

pytestmark = pytest.mark.django_db


def survey_of(office: Office) -> Survey:
    """Measured, not finished yet."""
    draft = start_survey(office.job(), office.person("surveyor"), timezone.localdate())
    return save_draft(draft, a_loft())


def finish(survey: Survey) -> Job:
    complete_survey(survey, survey.surveyed_by)
    return Job.objects.get(pk=survey.job_id)


def page_of(office: Office, job: Job) -> str:
    return signed_in(office.planner).get(reverse("job", args=[job.pk])).content.decode()


def test_the_layers_are_worked_out_in_the_background(
    office: Office, django_capture_on_commit_callbacks: Any
) -> None:
    survey = survey_of(office)

    with django_capture_on_commit_callbacks(execute=True):
        finish(survey)

    job = Job.objects.get(pk=survey.job_id)
    assert job.stage == Stage.TO_PLAN
    assert job.layer_plans.get().survey_id == survey.pk


def test_a_job_whose_message_was_lost_is_sent_again(office: Office) -> None:
    job = finish(survey_of(office))

    quantify_waiting_jobs()
    quantify_waiting_jobs()

    job.refresh_from_db()
    assert job.stage == Stage.TO_PLAN
    assert job.layer_plans.count() == 1


def test_without_a_rule_the_job_waits_and_says_why(office: Office) -> None:
    DepthRule.objects.all().delete()
    job = finish(survey_of(office))

    quantify_waiting_jobs()

    assert not LayerPlan.objects.exists()
    assert "No depth rule is in force for England" in page_of(office, job)


def test_until_then_the_page_says_so_and_looks_again(office: Office) -> None:
    job = finish(survey_of(office))
    address = reverse("quantify_progress", args=[job.pk])
    client = signed_in(office.planner)

    assert "are being worked out" in page_of(office, job)
    assert address in page_of(office, job)
    assert client.get(address).status_code == 204

    quantify_waiting_jobs()

    assert client.get(address).headers["HX-Refresh"] == "true"
    assert "are being worked out" not in page_of(office, job)


def test_nobody_else_is_told_how_far_it_is(office: Office) -> None:
    address = reverse("quantify_progress", args=[finish(survey_of(office)).pk])

    assert signed_in(an_office().planner).get(address).status_code == 404
    assert Client().get(address).status_code == 302
    assert signed_in(office.planner).get("/jobs/0/quantify/progress/").status_code == 404


@pytest.mark.parametrize(
    ("days_from_today", "status"),
    [
        pytest.param(-3, "done", id="of a day gone by"),
        pytest.param(0, "done", id="of today"),
        pytest.param(2, "cancelled", id="of a later day, whose crew is free again"),
    ],
)
def test_its_survey_visits_are_over(office: Office, days_from_today: int, status: str) -> None:
    survey = survey_of(office)
    start = timezone.now() + timedelta(days=days_from_today)
    visit = VisitFactory(
        job=survey.job,
        kind="survey",
        crew=office.crew("surveying"),
        during=(start, start + timedelta(hours=1)),
    )

    finish(survey)

    assert Visit.objects.get(pk=visit.pk).status == status


def test_a_sketch_that_comes_after_the_finish_begins_no_survey(office: Office) -> None:
    survey = survey_of(office)
    job = finish(survey)

    answer = signed_in(office.planner).post(reverse("survey_sketch", args=[job.pk]), {})

    assert answer.status_code == 200
    assert [s.pk for s in job.surveys.all()] == [survey.pk]


def test_a_sketch_for_a_job_past_surveying_is_let_go(office: Office) -> None:
    job = office.job(Stage.BOOKED)

    answer = signed_in(office.planner).post(reverse("survey_sketch", args=[job.pk]), {})

    assert answer.status_code == 204
