"""The survey pages: what is typed is drawn, kept, and finished; and the pages of layers."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from jobs.models import Survey
from jobs.surveying.quantities import make_layer_plan
from jobs.surveying.records import complete_survey, save_draft, start_survey
from tests.factories import (
    CrewFactory,
    JobFactory,
    OperativeFactory,
    UserFactory,
    VanFactory,
    VisitFactory,
)
from tests.jobs.test_surveying import a_loft

pytestmark = pytest.mark.django_db


@pytest.fixture
def surveyor(client):
    person = UserFactory(role="surveyor")
    client.force_login(person)
    return person


@pytest.fixture
def job(surveyor):
    return JobFactory(company=surveyor.company)


def typed(**changes) -> dict[str, str]:
    """The form as a surveyor fills it in: one rectangle and the hatch."""
    return {
        "survey-surveyed_on": "2026-11-02",
        "survey-roof_form": "duo_pitch",
        "survey-roof_pitch_deg": "35",
        "survey-rafter_depth_mm": "100",
        "survey-underlay": "felt",
        "survey-eaves_opening_mm": "10",
        "survey-ridge_opening_mm": "0",
        "areas-TOTAL_FORMS": "1",
        "areas-INITIAL_FORMS": "0",
        "areas-0-name": "Main loft",
        "areas-0-length_m": "8",
        "areas-0-width_m": "6",
        "areas-0-eaves_sides": "1, 3",
        "areas-0-joist_spacing_mm": "400",
        "areas-0-joist_depth_mm": "100",
        "areas-0-joist_width_mm": "47",
        "areas-0-joist_direction_deg": "90.0",
        "areas-0-existing_depth_mm": "100",
        "areas-0-existing_condition": "keep",
        "obstacles-TOTAL_FORMS": "1",
        "obstacles-INITIAL_FORMS": "0",
        "obstacles-0-kind": "hatch",
        "obstacles-0-name": "Hatch",
        "obstacles-0-length_m": "0.7",
        "obstacles-0-width_m": "0.6",
        "obstacles-0-left_m": "3",
        "obstacles-0-lower_m": "2",
        "fixtures-TOTAL_FORMS": "0",
        "fixtures-INITIAL_FORMS": "0",
        "hazards-TOTAL_FORMS": "0",
        "hazards-INITIAL_FORMS": "0",
    } | changes


def test_what_is_typed_is_drawn_without_being_saved(client, job):
    client.get(reverse("survey_form", args=[job.pk]))

    drawn = client.post(reverse("survey_sketch", args=[job.pk]), typed())

    assert "<svg" in drawn.text
    assert "48.0" in drawn.text
    assert "Nothing is missing" in drawn.text
    assert not Survey.objects.exists()


def test_looking_at_the_form_begins_no_survey(client, job):
    assert client.get(reverse("survey_form", args=[job.pk])).status_code == 200

    assert not Survey.objects.exists()


def test_a_second_survey_begins_from_the_first(client, job):
    address = reverse("survey_form", args=[job.pk])
    client.post(address, typed(do="finish"))

    again = client.get(address)

    assert 'value="Main loft"' in again.text
    assert "<svg" in again.text
    assert Survey.objects.count() == 1


def test_the_sketch_says_what_is_wrong_and_where(client, job):
    client.get(reverse("survey_form", args=[job.pk]))

    drawn = client.post(
        reverse("survey_sketch", args=[job.pk]),
        typed(**{"areas-0-corners": "0 0\n8 6\n8 0\n0 6", "areas-0-joist_depth_mm": "20"}),
    )

    assert "Area 1, Joist depth" in drawn.text
    assert "<svg" not in drawn.text


def test_a_survey_is_saved_and_finished(client, job):
    address = reverse("survey_form", args=[job.pk])

    saved = client.post(address, typed(do="save"))
    finished = client.post(address, typed(do="finish"))

    assert saved.status_code == finished.status_code == 302
    survey = Survey.objects.get()
    assert survey.completed_at
    assert survey.areas.get().outline_mm == [[0, 0], [8000, 0], [8000, 6000], [0, 6000]]
    assert survey.areas.get().eaves_edges == [0, 2]


def test_an_unfinished_one_says_why_and_keeps_every_word(client, job):
    without_hatch = typed(do="finish", **{"obstacles-TOTAL_FORMS": "0", "survey-note": "Cold day"})

    shown = client.post(reverse("survey_form", args=[job.pk]), without_hatch)

    assert shown.status_code == 422
    assert "The hatch is not on the drawing" in shown.text
    assert "Cold day" in shown.text
    assert Survey.objects.get().areas.count() == 1


def test_corners_stand_in_for_length_and_width(client, job):
    shape = typed(
        do="save",
        **{
            "areas-0-length_m": "",
            "areas-0-width_m": "",
            "areas-0-corners": "0 0, 8 0, 8 3, 4 3, 4 6, 0 6",
        },
    )

    client.post(reverse("survey_form", args=[job.pk]), shape)

    assert len(Survey.objects.get().areas.get().outline_mm) == 6


def test_a_second_surveyors_save_is_not_overwritten(client, job, surveyor):
    address = reverse("survey_form", args=[job.pk])
    client.post(address, typed(do="save", version="1"))

    stale = client.post(address, typed(do="save", version="1"))

    assert stale.status_code == 422
    assert "changed by someone else" in stale.text


def test_what_was_measured_is_not_lost_when_the_job_went_on_meanwhile(client, surveyor):
    job = JobFactory(company=surveyor.company, stage="booked")

    page = client.post(reverse("survey_form", args=[job.pk]), typed(**{"areas-0-length_m": "8.17"}))

    assert page.status_code == 422
    assert "until a fitting visit is booked" in page.content.decode()
    assert "8.17" in page.content.decode()
    assert not Survey.objects.exists()


def test_another_companys_survey_is_not_there(client, surveyor):
    foreign = JobFactory()

    assert client.get(reverse("survey_form", args=[foreign.pk])).status_code == 404


@pytest.fixture
def planned(job, surveyor):
    done = complete_survey(
        save_draft(start_survey(job, surveyor, timezone.localdate()), a_loft()), surveyor
    )
    make_layer_plan(job)
    return done


def test_the_layer_plan_shows_layers_rolls_and_reasons(client, job, planned):
    shown = client.get(reverse("layer_plan", args=[job.layer_plans.get().pk]))

    assert shown.text.count("<svg") >= 1
    for words in (
        "Cut list",
        "What it saves",
        "kg CO₂e",
        "Least possible",
        "U-value after",
        "Dust masks",
        "Why these layers",
    ):
        assert words in shown.text


def test_the_load_list_adds_up_the_day_and_carries_kit_once(client, job, planned, surveyor):
    company = surveyor.company
    crew = CrewFactory(company=company)
    van = VanFactory(company=company, load_volume_m3=0.5)
    today = timezone.now().replace(hour=9, minute=0)
    VisitFactory(job=job, crew=crew, van=van, during=(today, today + timedelta(hours=4)))
    client.force_login(UserFactory(role="planner", company=company))

    shown = client.get(reverse("load_list", args=[crew.pk, timezone.localdate(today)]))

    plan = job.layer_plans.get()
    assert plan.quantities["rolls"][0]["name"] in shown.text
    assert "come back to the depot between them" in shown.text
    assert shown.text.count('load-name">Tape measure') == 1


def test_an_installer_sees_its_own_crews_load_list_only(client, job, planned, surveyor):
    company = surveyor.company
    mine, other = CrewFactory(company=company), CrewFactory(company=company)
    installer = UserFactory(role="installer", company=company)
    OperativeFactory(company=company, crew=mine, user=installer)
    today = timezone.now().replace(hour=9, minute=0)
    VisitFactory(job=job, crew=mine, during=(today, today + timedelta(hours=4)))
    client.force_login(installer)
    day = timezone.localdate(today)

    assert client.get(reverse("load_list", args=[mine.pk, day])).status_code == 200
    assert client.get(reverse("load_list", args=[other.pk, day])).status_code == 404
