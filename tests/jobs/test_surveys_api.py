"""/api/v1/surveys/ and /api/v1/layer-plans/: from measurements to layers without a page."""

from __future__ import annotations

import pytest
from rest_framework.test import APIClient

from jobs.models import LayerPlan, Stage, Survey
from tests.factories import JobFactory, UserFactory

pytestmark = pytest.mark.django_db

AREA = {
    "name": "Main loft",
    "outline_mm": [[0, 0], [8000, 0], [8000, 6000], [0, 6000]],
    "eaves_edges": [0, 2],
    "existing_depth_mm": 100,
}
HATCH = {
    "name": "Hatch",
    "kind": "hatch",
    "outline_mm": [[3000, 2000], [3700, 2000], [3700, 2600], [3000, 2600]],
}


@pytest.fixture
def surveyor():
    return UserFactory(role="surveyor")


@pytest.fixture
def api(surveyor):
    client = APIClient()
    client.force_authenticate(surveyor)
    return client


@pytest.fixture
def job(surveyor):
    return JobFactory(company=surveyor.company)


def sent(job, /, **changes):
    return {
        "job": job.pk,
        "surveyed_on": "2026-11-02",
        "areas": [AREA],
        "obstacles": [HATCH],
    } | changes


def test_a_survey_is_recorded_finished_and_quantified(api, job, django_capture_on_commit_callbacks):
    created = api.post("/api/v1/surveys/", sent(job))
    assert created.status_code == 201, created.data
    assert created.data["missing"] == []

    with django_capture_on_commit_callbacks(execute=True):
        done = api.post(f"/api/v1/surveys/{created.data['id']}/finish/")

    assert done.status_code == 200
    assert done.data["completed_at"]
    job.refresh_from_db()
    assert job.stage == Stage.TO_PLAN
    plan = LayerPlan.objects.get(job=job)
    assert plan.target_depth_mm == 270
    assert plan.u_after_w_m2k < plan.u_before_w_m2k
    shown = api.get(f"/api/v1/layer-plans/{plan.pk}/").data
    assert shown["roll_count"] == sum(r["count"] for r in shown["quantities"]["rolls"]) > 0


def test_an_outline_that_crosses_itself_is_kept_but_not_finished(api, job):
    crossing = AREA | {"outline_mm": [[0, 0], [8000, 6000], [8000, 0], [0, 6000]]}

    created = api.post("/api/v1/surveys/", sent(job, areas=[crossing]))
    refused = api.post(f"/api/v1/surveys/{created.data['id']}/finish/")

    assert created.status_code == 201
    assert refused.status_code == 400
    assert refused["Content-Type"] == "application/problem+json"
    assert refused.data["errors"][0]["field"] == "areas[0].outline_mm"
    assert refused.data["errors"][0]["remedy"]


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        pytest.param({"areas": [AREA | {"outline_mm": [[0, 0], [1, 1]]}]}, "areas", id="2 corners"),
        pytest.param({"areas": [AREA | {"joist_spacing_mm": 7}]}, "areas", id="spacing"),
        pytest.param({"surveyed_on": "yesterday"}, "surveyed_on", id="no date"),
        pytest.param({"roof_pitch_deg": 95}, "roof_pitch_deg", id="pitch"),
        pytest.param({"job": 0}, "job", id="no such job"),
    ],
)
def test_bad_input_names_the_field(api, job, changes, field):
    refused = api.post("/api/v1/surveys/", sent(job, **changes))

    assert refused.status_code == 400
    assert refused.data["errors"][0]["field"].startswith(field)
    assert not Survey.objects.exists()


def test_a_draft_changes_only_under_the_version_that_was_read(api, job):
    created = api.post("/api/v1/surveys/", sent(job))
    address = f"/api/v1/surveys/{created.data['id']}/"
    tag = api.get(address)["ETag"]

    without = api.patch(address, {"note": "No tag"})
    changed = api.patch(address, {"note": "First"}, headers={"If-Match": tag})
    stale = api.patch(address, {"note": "Second"}, headers={"If-Match": tag})

    assert (without.status_code, changed.status_code, stale.status_code) == (428, 200, 412)
    assert api.get(address).data["note"] == "First"
    assert len(api.get(address).data["areas"]) == 1


def test_the_same_key_creates_once(api, job):
    key = {"Idempotency-Key": "survey-of-today"}

    first = api.post("/api/v1/surveys/", sent(job), headers=key)
    second = api.post("/api/v1/surveys/", sent(job), headers=key)
    other = api.post("/api/v1/surveys/", sent(job, note="changed"), headers=key)

    assert first.data["id"] == second.data["id"]
    assert second["Idempotent-Replay"] == "true"
    assert other.status_code == 422


def test_a_planner_of_another_company_finds_nothing(api, job):
    created = api.post("/api/v1/surveys/", sent(job))
    api.force_authenticate(UserFactory(role="planner"))

    assert api.get(f"/api/v1/surveys/{created.data['id']}/").status_code == 404
    assert api.post("/api/v1/surveys/", sent(job)).status_code == 400


def test_an_installer_reads_but_does_not_write(api, job, surveyor):
    api.force_authenticate(UserFactory(role="installer", company=surveyor.company))

    assert api.post("/api/v1/surveys/", sent(job)).status_code == 403


def test_lists_cost_a_fixed_number_of_queries(api, surveyor, django_assert_num_queries):
    for _ in range(3):
        api.post("/api/v1/surveys/", sent(JobFactory(company=surveyor.company)))

    with django_assert_num_queries(5):
        listed = api.get("/api/v1/surveys/")

    assert len(listed.data["results"]) == 3


def test_a_plan_made_twice_is_one_plan(api, job):
    created = api.post("/api/v1/surveys/", sent(job))
    api.post(f"/api/v1/surveys/{created.data['id']}/finish/")

    first = api.post("/api/v1/layer-plans/", {"job": job.pk})
    second = api.post("/api/v1/layer-plans/", {"job": job.pk})
    drawing = api.get(f"/api/v1/layer-plans/{first.data['id']}/layers/1/")

    assert first.status_code == second.status_code == 201
    assert first.data["id"] == second.data["id"]
    assert drawing.content.decode().startswith("<svg")


def test_a_job_without_survey_has_nothing_to_quantify(api, job):
    refused = api.post("/api/v1/layer-plans/", {"job": job.pk})

    assert refused.status_code == 409
    assert "no finished survey" in refused.data["detail"]
