"""The platform admin's pages of companies and schemes, and its home."""

from __future__ import annotations

from datetime import date

import pytest

from jobs.errors import Conflict, Stale
from jobs.models import Company, Role, Scheme, User
from jobs.platform.companies import found_company, rename_company
from jobs.platform.schemes import SchemeTerms, change_scheme
from tests.factories import (
    CompanyFactory,
    JobFactory,
    SchemeFactory,
    UserFactory,
)
from tests.jobs.planner_scene import an_office, signed_in

pytestmark = pytest.mark.django_db

SCHEME = {"name": "Warm Lofts", "code": "warm", "starts_on": "2027-01-01", "remedy_weeks": "6"}
ADMINS_PAGES = (
    "/platform/",
    "/platform/companies/",
    "/platform/companies/new/",
    "/platform/schemes/",
    "/platform/schemes/new/",
)


@pytest.fixture
def admin() -> User:
    return UserFactory(role="platform_admin")


def errors_of(answer) -> str:
    return str(answer.context["form"].errors)


# --- Home and lists


def test_home_says_what_is_missing(admin):
    CompanyFactory(name="Nobody Plans Here")
    SchemeFactory(name="Under Nobody")
    UserFactory(role="platform_admin")

    page = signed_in(admin).get("/", follow=True)
    said = {item.sentence: item.count for item in page.context["items"]}

    assert page.request["PATH_INFO"] == "/platform/"
    assert said["company has no planner"] == 1
    assert said["company has no compliance officer"] == 1
    assert said["company has no scheme to work under"] == 1
    assert said["scheme has no company"] == 1
    assert said["scheme has no auditor"] == 1
    assert said["open account was never signed in with"] == 1


def test_home_is_calm_when_nothing_is_missing(admin):
    office = an_office()
    office.person("compliance_officer")
    UserFactory(role="auditor", scheme=office.scheme)
    client = signed_in(admin)
    User.objects.update(last_login="2026-11-01T08:00Z")

    assert "Every company and scheme has who it needs." in client.get("/platform/").content.decode()


def test_a_closed_planner_plans_no_more(admin):
    office = an_office()
    User.objects.filter(pk=office.planner.pk).update(is_active=False)

    page = signed_in(admin).get("/platform/companies/?only=no_planner").content.decode()

    assert office.company.name in page


@pytest.mark.parametrize(
    ("address", "shown", "hidden"),
    [
        ("/platform/companies/?search=heron", "Heron Lofts", "Wren Lofts"),
        ("/platform/companies/?only=no_scheme", "Heron Lofts", "Wren Lofts"),
        ("/platform/schemes/?search=second", "Second Round", "First Round"),
        ("/platform/schemes/?only=no_company", "Second Round", "First Round"),
        ("/people/?search=ada+rook", "ada@example.test", "tom@example.test"),
        ("/people/?role=installer", "tom@example.test", "ada@example.test"),
        ("/people/?state=closed", "tom@example.test", "ada@example.test"),
    ],
)
def test_lists_are_narrowed(admin, address, shown, hidden):
    wren = CompanyFactory(name="Wren Lofts")
    CompanyFactory(name="Heron Lofts")
    SchemeFactory(name="First Round", companies=[wren])
    SchemeFactory(name="Second Round")
    UserFactory(email="ada@example.test", first_name="Ada", last_name="Rook", company=wren)
    UserFactory(email="tom@example.test", role="installer", company=wren, is_active=False)

    results = signed_in(admin).get(address).content.decode().partition('id="results"')[2]

    assert shown in results
    assert hidden not in results


@pytest.mark.parametrize("order", ["", "-", "nonsense"])
@pytest.mark.parametrize("address", ["/platform/companies/", "/platform/schemes/", "/people/"])
def test_lists_page_and_take_few_queries(admin, address, order, django_assert_max_num_queries):
    company = CompanyFactory()
    for number in range(55):
        CompanyFactory()
        SchemeFactory(companies=[company])
        UserFactory(company=company, first_name=f"P{number}")
    client = signed_in(admin)

    with django_assert_max_num_queries(10):
        page = client.get(f"{address}?order={order}name&page=2")

    assert page.context["page"].number == 2
    assert 5 <= len(page.context["page"].object_list) <= 7


@pytest.mark.parametrize("role", [role for role in Role if role != Role.PLATFORM_ADMIN])
def test_the_platform_is_kept_by_its_admin_alone(role):
    company, scheme = CompanyFactory(), SchemeFactory()
    client = signed_in(UserFactory(role=role))

    for url in (
        *ADMINS_PAGES,
        f"/platform/companies/{company.pk}/",
        f"/platform/schemes/{scheme.pk}/",
    ):
        assert client.get(url).status_code == client.post(url).status_code == 404, url


def test_an_admin_sees_no_jobs(admin):
    job = JobFactory()
    client = signed_in(admin)

    for url in ("/jobs/", f"/jobs/{job.pk}/", "/visits/", "/crews/", "/desk/"):
        assert client.get(url).status_code == 404, url


# --- Companies


def test_a_company_is_founded_and_renamed(admin):
    client = signed_in(admin)

    founded = client.post("/platform/companies/new/", {"name": "  Tall  Eaves Ltd "})
    company = Company.objects.get()
    assert founded.headers["Location"] == f"/platform/companies/{company.pk}/"
    assert (company.name, company.slug) == ("Tall Eaves Ltd", "tall-eaves-ltd")

    url, opened = f"/platform/companies/{company.pk}/", {"version": 1}
    client.post(url, opened | {"name": "Taller Eaves"})
    late = client.post(url, opened | {"name": "Late"})

    company.refresh_from_db()
    assert (company.name, company.slug) == ("Taller Eaves", "tall-eaves-ltd")
    assert "was changed by someone else" in errors_of(late)


def test_names_that_make_the_same_slug_are_numbered():
    assert [found_company(name).slug for name in ("A B", "A-B", "A, B")] == [
        "a-b",
        "a-b-2",
        "a-b-3",
    ]


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("", "Fill this in."),
        ("…", "no letter or figure"),
        ("x" * 121, "At most 120 characters"),
        ("wren lofts", "of this name already"),
    ],
)
def test_a_wrong_name_of_a_company_is_told(admin, name, said):
    CompanyFactory(name="Wren Lofts")

    answer = signed_in(admin).post("/platform/companies/new/", {"name": name})

    assert said in str(answer.context["form"].errors["name"])
    assert Company.objects.count() == 1


def test_a_company_is_not_renamed_over_an_edit_or_another():
    company, other = CompanyFactory(version=3), CompanyFactory(name="Taken")

    with pytest.raises(Stale):
        rename_company(company, "New", version=2)
    with pytest.raises(Conflict):
        rename_company(company, other.name)
    assert rename_company(company, company.name.upper(), version=3).version == 4


# --- Schemes


def test_a_scheme_is_founded_with_its_companies(admin):
    company = CompanyFactory()

    signed_in(admin).post("/platform/schemes/new/", SCHEME | {"companies": [company.pk]})

    scheme = Scheme.objects.get()
    assert (scheme.code, scheme.remedy_weeks) == ("warm", 6)
    assert (scheme.starts_on, scheme.ends_on) == (date(2027, 1, 1), None)
    assert list(scheme.companies.all()) == [company]


def test_a_schemes_terms_and_companies_are_changed(admin):
    leaving, coming = CompanyFactory(), CompanyFactory()
    scheme = SchemeFactory(companies=[leaving])
    form = SCHEME | {"ends_on": "2028-01-01", "companies": [coming.pk], "version": 1}

    signed_in(admin).post(f"/platform/schemes/{scheme.pk}/", form)

    scheme.refresh_from_db()
    assert (scheme.name, scheme.ends_on, scheme.version) == ("Warm Lofts", date(2028, 1, 1), 2)
    assert list(scheme.companies.all()) == [coming]


@pytest.mark.parametrize(
    ("given", "field", "said"),
    [
        ({"name": ""}, "name", "Fill this in."),
        ({"name": "taken round"}, "name", "of this name already"),
        ({"code": "TAKEN"}, "code", "of this code already"),
        ({"code": "two words"}, "code", "valid"),
        ({"starts_on": ""}, "starts_on", "Fill this in."),
        ({"starts_on": "soon"}, "starts_on", "valid date"),
        ({"ends_on": "2026-12-31"}, "ends_on", "ends before it starts"),
        ({"remedy_weeks": "0"}, "remedy_weeks", "At least 1"),
        ({"remedy_weeks": "105"}, "remedy_weeks", "At most 104"),
        ({"companies": ["0"]}, "companies", "valid choice"),
    ],
)
def test_a_wrong_term_is_told_at_its_field(admin, given, field, said):
    SchemeFactory(name="Taken Round", code="taken")

    answer = signed_in(admin).post("/platform/schemes/new/", SCHEME | given)

    assert said in str(answer.context["form"].errors[field])
    assert Scheme.objects.count() == 1


@pytest.mark.parametrize(("stage", "stays"), [("to_plan", True), ("called_off", False)])
def test_a_company_with_open_jobs_stays_under_the_scheme(stage, stays):
    office = an_office()
    office.job(stage, called_off_reason="" if stays else "declined")
    terms = SchemeTerms(office.scheme.name, office.scheme.starts_on)

    if stays:
        with pytest.raises(Conflict, match="has 1 open job under this scheme") as refused:
            change_scheme(office.scheme, terms, [])
        assert refused.value.field == "companies"
    else:
        change_scheme(office.scheme, terms, [])

    assert office.scheme.companies.exists() is stays
