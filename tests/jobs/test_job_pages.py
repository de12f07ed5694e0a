"""The list of jobs and one job's story."""

from __future__ import annotations

from datetime import date

import pytest

from jobs.intake.properties import change_property, take_in_property
from jobs.models import Stage
from jobs.planning.booking import cancel_visit, move_visit
from tests.compliance.audited import let_auditors_see
from tests.factories import JobFactory, UserFactory
from tests.jobs.planner_scene import an_office, at, signed_in, values

pytestmark = pytest.mark.django_db


def shown(client, **asked):
    return {job.property.reference for job in client.get("/jobs/", asked).context["page"]}


@pytest.mark.parametrize(
    ("asked", "expected"),
    [
        ({}, {"plan", "survey", "late"}),
        ({"stage": "to_plan"}, {"plan"}),
        ({"nation": "scotland"}, {"plan"}),
        ({"only": "late"}, {"late"}),
        ({"only": "unbooked"}, {"plan", "survey", "late"}),
        ({"only": "unconfirmed"}, {"survey"}),
        ({"search": "needle"}, {"survey"}),
        ({"search": "CH7"}, {"survey"}),
        ({"search": "nothing like it"}, set()),
        ({"stage": "no such stage"}, {"plan", "survey", "late"}),
        ({"scheme": "x", "crew": "-1", "page": "99"}, {"plan", "survey", "late"}),
    ],
)
def test_the_list_is_narrowed(asked, expected):
    office = an_office()
    office.job(Stage.TO_PLAN, property__reference="plan", property__nation="scotland")
    office.job(
        property__reference="survey",
        property__address_line_1="1 Needle Street",
        property__postcode="CH7 1AA",
        property__nation="wales",
    )
    office.job(property__reference="late", due_on=date(2020, 1, 1))

    assert shown(signed_in(office.planner), **asked) == expected


def test_jobs_are_found_by_their_reference_scheme_and_crew():
    office = an_office()
    visit = office.booked(office.job(Stage.TO_PLAN, property__reference="booked"))
    office.job(property__reference="other")
    client = signed_in(office.planner)

    assert shown(client, search=visit.job.reference) == {"booked"}
    assert shown(client, crew=visit.crew_id) == {"booked"}
    assert shown(client, scheme=office.scheme.pk) == {"booked", "other"}
    assert shown(client, only="unbooked") == {"other"}


def test_the_list_is_sorted_both_ways():
    office = an_office()
    for number in (1, 2):
        office.job(property__reference=str(number), due_on=date(2027, 1, number))
    client = signed_in(office.planner)

    for order, expected in (("due", ["1", "2"]), ("-due", ["2", "1"]), ("-nonsense", ["2", "1"])):
        page = client.get("/jobs/", {"order": order}).context["page"]
        assert [job.property.reference for job in page] == expected


def test_a_long_list_takes_few_queries(django_assert_max_num_queries):
    office = an_office()
    for _ in range(60):
        office.job()
    client = signed_in(office.planner)

    with django_assert_max_num_queries(14):
        page = client.get("/jobs/").context["page"]
        assert (len(page), page.paginator.count) == (50, 60)


def test_jobs_of_others_are_neither_listed_nor_found():
    office, foreign = an_office(), JobFactory()
    client = signed_in(office.planner)

    assert shown(client) == set()
    assert client.get(f"/jobs/{foreign.pk}/").status_code == 404
    assert client.post(f"/jobs/{foreign.pk}/call-off/", {"reason": "x"}).status_code == 404


@pytest.mark.django_db(transaction=True)  # each act in a transaction, and so a moment, of its own
def test_a_story_tells_home_visits_and_history():
    office = an_office()
    job = take_in_property(
        office.company,
        office.scheme,
        values(householder_phone="01632 960001", access_notes="key at no. 4"),
        office.planner,
    )
    change_property(job.property, values(town="Newtown"), office.planner)
    visit = office.booked(job, office.crew("surveying"), kind="survey", hours=1)
    move_visit(visit, by=office.planner, version=1, starts_at=at(24))
    cancel_visit(visit, "householder ill", office.planner)

    answer = signed_in(office.planner).get(f"/jobs/{job.pk}/")
    page = answer.content.decode()

    assert "Newtown" in page
    assert "Survey visit booked" in page
    assert "Mon 30 Nov 2026 08:00–09:00 → Tue 1 Dec 2026 08:00–09:00" in page
    assert "Survey visit: cancelled" in page
    assert "householder ill" in page
    keys = [section.key for section, _ in answer.context["sections"]]
    assert keys.index("property") < keys.index("visits") < keys.index("history")


def test_a_story_takes_few_queries(django_assert_max_num_queries):
    office = an_office()
    visit = office.booked()
    client = signed_in(office.planner)

    with django_assert_max_num_queries(45):
        assert client.get(f"/jobs/{visit.job_id}/").status_code == 200


def test_an_auditor_reads_the_story_without_the_householder():
    office = an_office()
    job = office.job(
        property__householder_name="A. Householder", property__householder_phone="01632 960001"
    )
    let_auditors_see(job)
    auditor = UserFactory(role="auditor", scheme=office.scheme)

    page = signed_in(auditor).get(f"/jobs/{job.pk}/").content.decode()

    assert "A. Householder" not in page
    assert "01632" not in page
    assert "Call off" not in page


@pytest.mark.parametrize(
    ("role", "status"),
    [("planner", 200), ("surveyor", 200), ("compliance_officer", 200), ("installer", 404)],
)
def test_who_reads_the_story(role, status):
    office = an_office()
    job = office.job()

    assert signed_in(office.person(role)).get(f"/jobs/{job.pk}/").status_code == status


def test_a_job_is_called_off_with_a_reason():
    office = an_office()
    job, client = office.job(), signed_in(office.planner)
    url = f"/jobs/{job.pk}/call-off/"

    refused = client.post(url, {"reason": ""}, follow=True)
    assert "Say why the job is called off." in refused.content.decode()
    client.post(url, {"reason": "householder declined"})

    job.refresh_from_db()
    assert (job.stage, job.called_off_reason) == (Stage.CALLED_OFF, "householder declined")
    assert "householder declined" in client.get(f"/jobs/{job.pk}/").content.decode()


def test_calling_off_is_the_planners_and_a_post():
    office = an_office()
    job = office.job()

    assert signed_in(office.planner).get(f"/jobs/{job.pk}/call-off/").status_code == 405
    surveyor = signed_in(office.person("surveyor"))
    assert surveyor.post(f"/jobs/{job.pk}/call-off/", {"reason": "x"}).status_code == 404
