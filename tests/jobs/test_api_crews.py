"""/api/v1/crews/, /vans/ and /operatives/"""

from __future__ import annotations

import pytest

from jobs.models import Crew, Operative, Van
from tests.factories import CrewFactory, OperativeFactory, UserFactory, VanFactory
from tests.jobs.planner_scene import an_office, api_for

pytestmark = pytest.mark.django_db
KINDS = {
    "crews": (Crew, CrewFactory, {"name": "North"}),
    "vans": (Van, VanFactory, {"name": "Ash", "load_volume_m3": 11.0}),
    "operatives": (Operative, OperativeFactory, {"name": "Alex Ames", "skills": ["insulation"]}),
}


@pytest.mark.parametrize("kind", KINDS)
def test_one_is_added_once_for_a_key(kind):
    model, _, values = KINDS[kind]
    office = an_office()
    client = api_for(office.planner)

    for _ in range(2):
        answer = client.post(f"/api/v1/{kind}/", values, headers={"Idempotency-Key": "same"})
        assert answer.status_code == 201, answer.json()

    assert model.objects.get().company == office.company


@pytest.mark.parametrize("kind", KINDS)
def test_an_edit_needs_the_etag_and_loses_to_an_earlier_one(kind):
    model, factory, _ = KINDS[kind]
    office = an_office()
    record = factory(company=office.company)
    client, url = api_for(office.planner), f"/api/v1/{kind}/{record.pk}/"
    etag = client.get(url)["ETag"]

    assert client.patch(url, {"name": "X"}).status_code == 428
    done = client.patch(url, {"name": "First"}, headers={"If-Match": etag})
    late = client.patch(url, {"name": "Second"}, headers={"If-Match": etag})

    assert (done.status_code, late.status_code) == (200, 412)
    assert (done.json()["version"], model.objects.get(pk=record.pk).name) == (2, "First")


@pytest.mark.parametrize("kind", KINDS)
def test_others_do_not_exist_and_roles_are_kept(kind):
    _, factory, values = KINDS[kind]
    office, url = an_office(), f"/api/v1/{kind}/"
    foreign = factory()

    assert api_for(office.planner).get(f"{url}{foreign.pk}/").status_code == 404
    assert api_for(office.planner).patch(f"{url}{foreign.pk}/", values).status_code == 404
    assert api_for(office.planner).get(url).json()["results"] == []
    assert api_for(office.person("surveyor")).get(url).status_code == 200
    assert api_for(office.person("surveyor")).post(url, values).status_code == 403
    assert api_for(office.person("installer")).get(url).status_code == 404
    assert api_for(UserFactory(role="auditor")).get(url).status_code == 404
    assert api_for(office.planner).delete(f"{url}{foreign.pk}/").status_code == 405


@pytest.mark.parametrize("kind", KINDS)
def test_lists_take_few_queries(kind, django_assert_max_num_queries):
    _, factory, _ = KINDS[kind]
    office = an_office()
    for _ in range(3):
        factory(company=office.company)
    client = api_for(office.planner)

    with django_assert_max_num_queries(2):
        assert len(client.get(f"/api/v1/{kind}/").json()["results"]) == 3


@pytest.mark.parametrize(
    ("kind", "given", "field", "status"),
    [
        ("crews", {"name": "Taken"}, "name", 409),
        ("crews", {"name": ""}, "name", 400),
        ("crews", {"day_starts_at": "16:00", "day_ends_at": "08:00"}, "day_ends_at", 400),
        ("crews", {"base_latitude_deg": 52.6}, "base_longitude_deg", 400),
        ("crews", {"van": 0}, "van", 400),
        ("vans", {"load_volume_m3": 0}, "load_volume_m3", 400),
        ("operatives", {"skills": ["flying"]}, "skills[0]", 400),
        ("operatives", {"crew": 0}, "crew", 400),
    ],
)
def test_a_wrong_value_is_named(kind, given, field, status):
    office = an_office()
    CrewFactory(company=office.company, name="Taken")

    answer = api_for(office.planner).post(f"/api/v1/{kind}/", KINDS[kind][2] | given)

    assert (answer.status_code, answer.json()["errors"][0]["field"]) == (status, field)


def test_a_crew_has_one_lead():
    office = an_office()
    crew = CrewFactory(company=office.company)
    OperativeFactory(company=office.company, crew=crew, leads_crew=True)

    answer = api_for(office.planner).post(
        "/api/v1/operatives/", {"name": "Second", "crew": crew.pk, "leads_crew": True}
    )

    assert answer.status_code in (400, 409)
    assert "already has a lead" in answer.json()["detail"]


def test_a_sign_in_is_of_the_company_and_of_somebody_who_goes_on_site():
    office = an_office()
    stranger = UserFactory(role="installer")

    for user in (stranger, office.planner):
        answer = api_for(office.planner).post(
            "/api/v1/operatives/", {"name": "Alex", "user": user.pk}
        )
        assert answer.status_code == 400
        assert answer.json()["errors"][0]["field"] == "user"


@pytest.mark.parametrize("address", ["crews/?van=", "operatives/?crew="])
def test_a_filter_does_not_tell_whether_others_have_a_record(address):
    client = api_for(an_office().planner)
    foreign = CrewFactory(van=None)

    for number in (foreign.pk, 987654321):
        answer = client.get(f"/api/v1/{address}{number}")
        assert (answer.status_code, answer.json()["results"]) == (200, [])
