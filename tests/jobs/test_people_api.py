"""/api/v1/people/, /companies/ and /schemes/ as they are kept."""

from __future__ import annotations

import pytest

from jobs.models import Company, Role, Scheme, User
from tests.factories import CompanyFactory, SchemeFactory, UserFactory
from tests.jobs.account_scene import link_in, set_password
from tests.jobs.planner_scene import an_office, api_for

pytestmark = pytest.mark.django_db

PEOPLE, COMPANIES, SCHEMES = (f"/api/v1/{area}/" for area in ("people", "companies", "schemes"))
PERSON = {"email": "new@example.test", "first_name": "Ada", "role": "planner"}
SCHEME = {"name": "Warm Lofts", "code": "warm", "starts_on": "2027-01-01"}


@pytest.fixture
def admin() -> User:
    return UserFactory(role="platform_admin")


def first_field(answer) -> str:
    return answer.json()["errors"][0]["field"]


# --- People


def test_an_account_is_opened_once_for_a_key(admin, mailoutbox, django_capture_on_commit_callbacks):
    client, body = api_for(admin), PERSON | {"company": CompanyFactory().pk}

    with django_capture_on_commit_callbacks(execute=True):
        first, again = (
            client.post(PEOPLE, body, headers={"Idempotency-Key": "same"}) for _ in range(2)
        )

    assert (first.status_code, first.json()) == (201, again.json())
    assert first.json()["awaits_password"] is True
    assert "/password/reset/" not in first.content.decode()
    assert [mail.to for mail in mailoutbox] == [[PERSON["email"]]]


def test_a_link_is_given_on_demand_and_works(admin):
    client = api_for(admin)
    pk = client.post(PEOPLE, PERSON | {"role": "platform_admin"}).json()["id"]

    answer = client.post(f"{PEOPLE}{pk}/invitation/")
    set_password(link_in(answer.json()["link"]))
    refused = client.post(f"{PEOPLE}{pk}/invitation/")

    assert User.objects.get(pk=pk).has_usable_password()
    assert (answer.status_code, refused.status_code) == (200, 400)
    assert "has set a password already" in refused.json()["detail"]


def test_a_planner_opens_and_closes_its_companys(admin):
    office = an_office()
    client = api_for(office.planner)

    opened = client.post(PEOPLE, PERSON | {"role": "installer"})
    url = f"{PEOPLE}{opened.json()['id']}/"
    closed = client.patch(url, {"is_active": False}, headers={"If-Match": client.get(url)["ETag"]})

    assert opened.json()["company"] == office.company.pk
    assert (closed.status_code, closed.json()["is_active"]) == (200, False)


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"role": "auditor"}, "role"),
        ({"role": "platform_admin"}, "role"),
        ({"company": "other"}, "company"),
        ({"role": "auditor", "scheme": "other"}, "scheme"),
    ],
)
def test_a_planner_opens_nobody_elses(body, field):
    other = {"company": CompanyFactory().pk, "scheme": SchemeFactory().pk}
    sent = {name: other[name] if value == "other" else value for name, value in body.items()}

    answer = api_for(an_office().planner).post(PEOPLE, PERSON | sent)

    assert (answer.status_code, first_field(answer)) == (400, field)


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"role": "installer"}, "role"),
        ({"first_name": "X"}, "role"),
        ({"email": "x@y.test"}, "email"),
    ],
)
def test_a_planner_edits_nothing_but_whether_an_account_is_open(body, field):
    office = an_office()
    person = office.person("surveyor")

    answer = api_for(office.planner).patch(f"{PEOPLE}{person.pk}/", body, headers={"If-Match": "*"})

    assert (answer.status_code, first_field(answer)) == (400, field)


def test_others_people_do_not_exist():
    client = api_for(an_office().planner)
    strangers = [
        an_office().planner,
        UserFactory(role="auditor"),
        UserFactory(role="platform_admin"),
    ]

    for stranger in strangers:
        url = f"{PEOPLE}{stranger.pk}/"
        assert client.get(url).status_code == 404
        assert client.patch(url, {"is_active": False}).status_code == 404
        assert client.post(f"{url}invitation/").status_code == 404
    assert [row["email"] for row in client.get(PEOPLE).json()["results"]] == [
        client.handler._force_user.email
    ]
    for name in ("company", "scheme"):
        assert client.get(f"{PEOPLE}?{name}={strangers[0].company_id}").json()["results"] == []


def test_an_edit_needs_the_etag_and_loses_to_an_earlier_one(admin):
    office = an_office()
    person, client = office.person("installer"), api_for(admin)
    url = f"{PEOPLE}{person.pk}/"
    etag = client.get(url)["ETag"]

    assert client.patch(url, {"role": "surveyor"}).status_code == 428
    done = client.patch(url, {"role": "surveyor"}, headers={"If-Match": etag})
    late = client.patch(url, {"role": "planner"}, headers={"If-Match": etag})

    assert (done.status_code, done.json()["role"], late.status_code) == (200, "surveyor", 412)
    assert client.delete(url).status_code == 405


def test_a_role_changes_with_its_place(admin):
    person, scheme = UserFactory(role="planner"), SchemeFactory()
    client, url = api_for(admin), f"{PEOPLE}{person.pk}/"

    half = client.patch(url, {"role": "auditor", "scheme": scheme.pk}, headers={"If-Match": "*"})
    whole = client.patch(
        url,
        {"role": "auditor", "scheme": scheme.pk, "company": None},
        format="json",
        headers={"If-Match": "*"},
    )

    assert (half.status_code, first_field(half)) == (400, "company")
    assert (whole.status_code, whole.json()["company"]) == (200, None)


@pytest.mark.parametrize("body", [{"is_active": False}, {"role": "planner"}])
def test_the_last_platform_admin_stays(admin, body):
    body = body | ({"company": CompanyFactory().pk} if "role" in body else {})

    answer = api_for(admin).patch(f"{PEOPLE}{admin.pk}/", body, headers={"If-Match": "*"})

    assert answer.status_code == 409
    assert "last platform admin" in answer.json()["detail"]


@pytest.mark.parametrize(
    ("given", "field", "status"),
    [
        ({"email": ""}, "email", 400),
        ({"email": "nowhere"}, "email", 400),
        ({"email": "Taken@Example.test"}, "email", 409),
        ({"first_name": ""}, "first_name", 400),
        ({"role": "king"}, "role", 400),
        ({"company": ""}, "company", 400),
        ({"company": 0}, "company", 400),
        ({"is_active": False}, "is_active", 400),
        ({"scheme": 0}, "scheme", 400),
    ],
)
def test_a_wrong_value_of_an_account_is_named(admin, given, field, status):
    UserFactory(email="taken@example.test")
    body = PERSON | {"company": CompanyFactory().pk}

    answer = api_for(admin).post(PEOPLE, body | given)

    assert (answer.status_code, first_field(answer)) == (status, field)


# --- Companies and schemes


def test_a_company_is_founded_and_renamed_under_its_etag(admin):
    client = api_for(admin)

    founded = client.post(COMPANIES, {"name": "Tall Eaves"})
    url = f"{COMPANIES}{founded.json()['id']}/"
    etag = client.get(url)["ETag"]
    renamed = client.patch(url, {"name": "Taller Eaves"}, headers={"If-Match": etag})
    late = client.patch(url, {"name": "Late"}, headers={"If-Match": etag})

    assert (founded.status_code, founded.json()["slug"]) == (201, "tall-eaves")
    assert (renamed.json()["name"], renamed.json()["slug"]) == ("Taller Eaves", "tall-eaves")
    assert (late.status_code, Company.objects.get().name) == (412, "Taller Eaves")
    assert client.patch(url, {"name": "X"}).status_code == 428
    assert client.delete(url).status_code == 405


@pytest.mark.parametrize(
    ("name", "status"), [("", 400), ("—", 400), ("x" * 121, 400), ("TAKEN", 409)]
)
def test_a_wrong_name_of_a_company_is_named(admin, name, status):
    CompanyFactory(name="Taken")

    answer = api_for(admin).post(COMPANIES, {"name": name})

    assert (answer.status_code, first_field(answer)) == (status, "name")


def test_a_scheme_is_founded_and_its_companies_changed(admin):
    client, (first, second) = api_for(admin), (CompanyFactory(), CompanyFactory())

    founded = client.post(SCHEMES, SCHEME | {"companies": [first.pk]})
    url = f"{SCHEMES}{founded.json()['id']}/"
    etag = client.get(url)["ETag"]
    changed = client.patch(url, {"companies": [second.pk]}, headers={"If-Match": etag})
    late = client.patch(url, {"name": "Late"}, headers={"If-Match": etag})

    assert (founded.status_code, founded.json()["remedy_weeks"]) == (201, 8)
    assert (changed.json()["companies"], changed.json()["version"]) == ([second.pk], 2)
    assert (late.status_code, Scheme.objects.get().name) == (412, "Warm Lofts")


@pytest.mark.parametrize(
    ("given", "field", "status"),
    [
        ({"name": ""}, "name", 400),
        ({"name": "taken round"}, "name", 409),
        ({"code": "a b"}, "code", 400),
        ({"starts_on": "soon"}, "starts_on", 400),
        ({"ends_on": "2026-01-01"}, "ends_on", 400),
        ({"remedy_weeks": 0}, "remedy_weeks", 400),
        ({"companies": [0]}, "companies", 400),
    ],
)
def test_a_wrong_term_is_named(admin, given, field, status):
    SchemeFactory(name="Taken Round")

    answer = api_for(admin).post(SCHEMES, SCHEME | given)

    assert answer.status_code == status
    assert first_field(answer).startswith(field)


def test_the_code_of_a_scheme_stays(admin):
    scheme = SchemeFactory()

    answer = api_for(admin).patch(
        f"{SCHEMES}{scheme.pk}/", {"code": "other"}, headers={"If-Match": "*"}
    )

    assert (answer.status_code, first_field(answer)) == (400, "code")


def test_only_the_admin_is_told_who_works_under_a_scheme(admin):
    office = an_office()
    office.scheme.companies.add(CompanyFactory())
    url = f"{SCHEMES}{office.scheme.pk}/"

    assert len(api_for(admin).get(url).json()["companies"]) == 2
    assert "companies" not in api_for(office.planner).get(url).json()
    assert "companies" not in api_for(office.planner).get(SCHEMES).json()["results"][0]


# --- Who may


@pytest.mark.parametrize("role", [role for role in Role if role != Role.PLATFORM_ADMIN])
def test_roles_are_kept(role):
    client = api_for(UserFactory(role=role))
    company, scheme = CompanyFactory(), SchemeFactory()

    assert client.get(COMPANIES).status_code == 404
    assert client.post(COMPANIES, {"name": "X"}).status_code == 404
    assert client.patch(f"{COMPANIES}{company.pk}/", {"name": "X"}).status_code == 404
    assert client.post(SCHEMES, SCHEME).status_code == 403
    assert client.patch(f"{SCHEMES}{scheme.pk}/", {"name": "X"}).status_code == 403
    assert client.get(PEOPLE).status_code == (200 if role == "planner" else 404)


@pytest.mark.parametrize("area", [PEOPLE, COMPANIES, SCHEMES])
def test_lists_take_few_queries(admin, area, django_assert_max_num_queries):
    for _ in range(3):
        SchemeFactory(companies=[UserFactory().company])
    client = api_for(admin)

    with django_assert_max_num_queries(3):
        assert len(client.get(area).json()["results"]) >= 3
