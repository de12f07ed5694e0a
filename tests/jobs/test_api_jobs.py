"""/api/v1/jobs/"""

from __future__ import annotations

from datetime import date

import pytest

from jobs.models import Job, Stage
from tests.compliance.audited import let_auditors_see
from tests.factories import JobFactory, PropertyFactory, SchemeFactory, UserFactory
from tests.jobs.planner_scene import an_office, api_for

pytestmark = pytest.mark.django_db
URL = "/api/v1/jobs/"


def test_a_job_is_opened_for_a_known_home():
    office = an_office()
    home = PropertyFactory(company=office.company)

    answer = api_for(office.planner).post(
        URL, {"property": home.pk, "scheme": office.scheme.pk, "due_on": "2027-03-31"}
    )

    assert answer.status_code == 201, answer.json()
    assert answer.json()["stage"] == "to_survey"
    assert answer.json()["reference"] == Job.objects.get().reference


def test_a_second_live_job_under_the_same_scheme_is_refused():
    office = an_office()
    job = office.job()

    answer = api_for(office.planner).post(
        URL, {"property": job.property_id, "scheme": office.scheme.pk}
    )

    assert answer.status_code == 409
    assert "already has a job under this scheme" in answer.json()["detail"]


def test_homes_and_schemes_of_others_do_not_exist():
    office = an_office()
    home = PropertyFactory(company=office.company)

    for sent in (
        {"property": PropertyFactory().pk, "scheme": office.scheme.pk},
        {"property": home.pk, "scheme": SchemeFactory().pk},
    ):
        assert api_for(office.planner).post(URL, sent).status_code == 400
    assert not Job.objects.exists()


def test_the_due_date_is_changed_under_if_match():
    office = an_office()
    job, client = office.job(), api_for(office.planner)
    etag = client.get(f"{URL}{job.pk}/")["ETag"]

    done = client.patch(f"{URL}{job.pk}/", {"due_on": "2027-04-01"}, headers={"If-Match": etag})
    late = client.patch(f"{URL}{job.pk}/", {"due_on": "2027-05-01"}, headers={"If-Match": etag})

    assert (done.status_code, late.status_code) == (200, 412)
    job.refresh_from_db()
    assert job.due_on == date(2027, 4, 1)


def test_a_job_stays_with_its_home_and_its_stage_is_not_written():
    office = an_office()
    job, client = office.job(), api_for(office.planner)
    etag = client.get(f"{URL}{job.pk}/")["ETag"]

    moved = client.patch(
        f"{URL}{job.pk}/", {"scheme": office.scheme.pk}, headers={"If-Match": etag}
    )
    client.patch(f"{URL}{job.pk}/", {"stage": "certified"}, headers={"If-Match": etag})

    assert moved.status_code == 400
    job.refresh_from_db()
    assert job.stage == Stage.TO_SURVEY


def test_a_job_is_called_off_with_a_reason_under_if_match():
    office = an_office()
    job, client = office.job(), api_for(office.planner)
    url, sent = f"{URL}{job.pk}/call-off/", {"reason": "householder declined"}

    assert client.post(url, sent).status_code == 428
    assert client.post(url, sent, headers={"If-Match": '"0-0"'}).status_code == 412
    done = client.post(url, sent, headers={"If-Match": client.get(f"{URL}{job.pk}/")["ETag"]})

    assert (done.status_code, done.json()["stage"]) == (200, "called_off")
    assert done.json()["called_off_reason"] == "householder declined"
    again = client.post(url, sent, headers={"If-Match": done["ETag"]})
    assert again.status_code == 200  # it is called off already; nothing changes


def test_calling_off_without_a_reason_is_refused():
    office = an_office()
    job = office.job()

    answer = api_for(office.planner).post(f"{URL}{job.pk}/call-off/", {})

    assert answer.json()["errors"][0]["field"] == "reason"


@pytest.mark.parametrize(
    ("asked", "expected"),
    [
        ({"stage": "to_plan"}, {"plan"}),
        ({"stage": ["to_plan", "to_survey"]}, {"plan", "survey", "late"}),
        ({"late": "true"}, {"late"}),
        ({"late": "false"}, {"plan", "survey"}),
        ({"nation": "scotland"}, {"plan"}),
        ({"search": "needle"}, {"survey"}),
    ],
)
def test_the_list_is_narrowed(asked, expected):
    office = an_office()
    office.job(Stage.TO_PLAN, property__reference="plan", property__nation="scotland")
    office.job(property__reference="survey", property__address_line_1="1 Needle Street")
    office.job(property__reference="late", due_on=date(2020, 1, 1))

    rows = api_for(office.planner).get(URL, asked).json()["results"]

    found = Job.objects.filter(pk__in=[row["id"] for row in rows])
    assert {job.property.reference for job in found} == expected


def test_jobs_of_a_crew_are_found():
    office = an_office()
    visit = office.booked()
    office.job()

    rows = api_for(office.planner).get(URL, {"crew": visit.crew_id}).json()["results"]

    assert [row["id"] for row in rows] == [visit.job_id]


def test_pages_go_on_by_cursor_in_two_queries(django_assert_num_queries):
    office = an_office()
    for _ in range(3):
        office.job()
    client = api_for(office.planner)

    with django_assert_num_queries(1):
        first = client.get(URL, {"page_size": 2}).json()
    second = client.get(first["next"]).json()

    assert [len(page["results"]) for page in (first, second)] == [2, 1]
    assert second["next"] is None


def test_jobs_of_others_do_not_exist():
    office, foreign = an_office(), JobFactory()
    client = api_for(office.planner)

    for url in (f"{URL}{foreign.pk}/", f"{URL}{foreign.pk}/call-off/", f"{URL}0/"):
        assert client.post(url, {"reason": "x"}).status_code in (404, 405)
        assert client.get(f"{URL}{foreign.pk}/").status_code == 404


def test_an_installer_sees_the_jobs_its_crew_is_booked_on():
    office = an_office()
    visit = office.booked()
    office.job()
    installer = office.person("installer")
    visit.crew.operatives.update(user=installer)

    rows = api_for(installer).get(URL).json()["results"]

    assert [row["id"] for row in rows] == [visit.job_id]


def test_an_auditor_sees_the_jobs_of_sealed_populations_and_changes_none():
    office = an_office()
    job = office.job()
    office.job()
    let_auditors_see(JobFactory())
    let_auditors_see(job)
    client = api_for(UserFactory(role="auditor", scheme=office.scheme))

    assert [row["id"] for row in client.get(URL).json()["results"]] == [job.pk]
    assert client.post(f"{URL}{job.pk}/call-off/", {"reason": "x"}).status_code == 403
