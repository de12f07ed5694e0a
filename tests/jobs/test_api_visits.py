"""/api/v1/visits/"""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from jobs.models import Stage, Visit
from tests.factories import CrewFactory, JobFactory, VisitFactory
from tests.jobs.planner_scene import an_office, api_for

pytestmark = pytest.mark.django_db
URL = "/api/v1/visits/"
TOMORROW = (timezone.now() + timedelta(days=1)).replace(hour=8, minute=0, second=0, microsecond=0)


def sent(office, **given):
    return {
        "job": office.job(Stage.TO_PLAN).pk,
        "kind": "fitting",
        "crew": office.crew().pk,
        "starts_at": TOMORROW.isoformat(),
        "hours": 4,
    } | given


def test_a_visit_is_booked_with_the_crews_usual_van():
    office = an_office()
    van = office.van()
    crew = office.crew(van=van)

    answer = api_for(office.planner).post(URL, sent(office, crew=crew.pk))

    assert answer.status_code == 201, answer.json()
    shown = answer.json()
    assert (shown["van"], shown["hours"], shown["status"]) == (van.pk, 4.0, "booked")
    assert shown["operatives"] == [crew.operatives.get().pk]
    assert Visit.objects.get().job.stage == Stage.BOOKED


def test_booked_once_for_a_key():
    office = an_office()
    body, client = sent(office), api_for(office.planner)

    for _ in range(2):
        assert client.post(URL, body, headers={"Idempotency-Key": "k"}).status_code == 201

    assert Visit.objects.count() == 1


def test_a_busy_crew_is_a_conflict_in_words():
    office = an_office()
    crew, client = office.crew(), api_for(office.planner)
    client.post(URL, sent(office, crew=crew.pk))

    answer = client.post(URL, sent(office, crew=crew.pk))

    assert answer.status_code == 409
    assert "This crew is already booked" in answer.json()["detail"]
    assert Visit.objects.count() == 1


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"starts_at": "2020-01-01T08:00:00Z"}, "starts_at"),
        ({"starts_at": "whenever"}, "starts_at"),
        ({"hours": 0}, "hours"),
        ({"hours": 15}, "hours"),
        ({"kind": "picnic"}, "kind"),
        ({"kind": "survey"}, "crew"),
        ({"crew": 0}, "crew"),
        ({"van": 0}, "van"),
        ({"job": 0}, "job"),
    ],
)
def test_a_wrong_value_is_named(given, field):
    office = an_office()

    answer = api_for(office.planner).post(URL, sent(office, **given))

    assert answer.status_code == 400
    assert answer.json()["errors"][0]["field"] == field
    assert not Visit.objects.exists()


def test_jobs_and_crews_of_others_do_not_exist():
    office = an_office()

    for given in ({"job": JobFactory(stage="to_plan").pk}, {"crew": CrewFactory().pk}):
        assert api_for(office.planner).post(URL, sent(office, **given)).status_code == 400


def test_a_visit_is_moved_under_if_match():
    office = an_office()
    client = api_for(office.planner)
    url = f"{URL}{client.post(URL, sent(office)).json()['id']}/"
    etag, later = client.get(url)["ETag"], {"starts_at": (TOMORROW + timedelta(days=1)).isoformat()}

    assert client.patch(url, later).status_code == 428
    done = client.patch(url, later, headers={"If-Match": etag})
    late = client.patch(url, later, headers={"If-Match": etag})

    assert (done.status_code, late.status_code) == (200, 412), done.json()
    assert done.json()["hours"] == 4.0
    assert Visit.objects.get().during.lower == TOMORROW + timedelta(days=1)


def test_a_move_onto_another_visit_is_a_conflict():
    office = an_office()
    crew, client = office.crew(), api_for(office.planner)
    client.post(URL, sent(office, crew=crew.pk))
    second = client.post(
        URL, sent(office, crew=crew.pk, starts_at=(TOMORROW + timedelta(hours=4)).isoformat())
    ).json()
    url = f"{URL}{second['id']}/"

    answer = client.patch(
        url, {"starts_at": TOMORROW.isoformat()}, headers={"If-Match": client.get(url)["ETag"]}
    )

    assert answer.status_code == 409


def test_a_visit_stays_with_its_job():
    office = an_office()
    visit, client = office.booked(), api_for(office.planner)
    url = f"{URL}{visit.pk}/"

    answer = client.patch(
        url, {"job": office.job().pk}, headers={"If-Match": client.get(url)["ETag"]}
    )

    assert answer.status_code == 400
    assert answer.json()["errors"][0]["field"] == "job"


def test_a_visit_is_cancelled_with_a_reason_under_if_match():
    office = an_office()
    visit, client = office.booked(), api_for(office.planner)
    url, reason = f"{URL}{visit.pk}/cancel/", {"reason": "householder ill"}

    assert client.post(url, {}).status_code == 400
    assert client.post(url, reason).status_code == 428
    etag = client.get(f"{URL}{visit.pk}/")["ETag"]
    done = client.post(url, reason, headers={"If-Match": etag})

    assert (done.status_code, done.json()["status"]) == (200, "cancelled")
    visit.job.refresh_from_db()
    assert visit.job.stage == Stage.TO_PLAN


def test_the_list_is_narrowed_in_two_queries(django_assert_num_queries):
    office = an_office()
    visit = office.booked()
    office.booked()
    client = api_for(office.planner)
    asked = {
        "crew": visit.crew_id,
        "starts_after": visit.during.lower.isoformat(),
        "starts_before": visit.during.upper.isoformat(),
    }

    with django_assert_num_queries(2):
        rows = client.get(URL, asked).json()["results"]

    assert [row["id"] for row in rows] == [visit.pk]


def test_visits_of_others_do_not_exist():
    office, foreign = an_office(), VisitFactory()
    client = api_for(office.planner)

    assert client.get(f"{URL}{foreign.pk}/").status_code == 404
    assert client.patch(f"{URL}{foreign.pk}/", {}).status_code == 404
    assert client.post(f"{URL}{foreign.pk}/cancel/", {"reason": "x"}).status_code == 404
    assert client.get(URL).json()["results"] == []


def test_an_installer_reads_its_crews_visits_and_books_none():
    office = an_office()
    visit = office.booked()
    office.booked()
    installer = office.person("installer")
    visit.crew.operatives.update(user=installer)
    client = api_for(installer)

    assert [row["id"] for row in client.get(URL).json()["results"]] == [visit.pk]
    assert client.post(URL, sent(office)).status_code == 403
    assert client.delete(f"{URL}{visit.pk}/").status_code in (403, 405)
