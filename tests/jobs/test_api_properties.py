"""/api/v1/schemes/ and /api/v1/properties/"""

from __future__ import annotations

import pytest

from jobs.models import Job, Property
from tests.compliance.audited import let_auditors_see
from tests.factories import PropertyFactory, SchemeFactory, UserFactory
from tests.jobs.planner_scene import an_office, api_for

pytestmark = pytest.mark.django_db
URL = "/api/v1/properties/"


def home(office, **given):
    return {
        "reference": "H-1",
        "address_line_1": "1 Example Row",
        "town": "Sampleton",
        "postcode": "le11aa",
        "nation": "england",
        "scheme": office.scheme.pk,
    } | given


def test_a_home_is_taken_in_with_its_job():
    office = an_office()

    answer = api_for(office.planner).post(URL, home(office, due_on="2027-03-31"))

    assert answer.status_code == 201, answer.json()
    job = Job.objects.get()
    assert answer.json()["jobs"] == [job.pk]
    assert answer.json()["postcode"] == "LE1 1AA"
    assert (job.company, str(job.due_on)) == (office.company, "2027-03-31")


def test_the_same_request_sent_twice_takes_in_one_home():
    office = an_office()
    client = api_for(office.planner)

    first, second = (
        client.post(URL, home(office), headers={"Idempotency-Key": "k-1"}) for _ in range(2)
    )

    assert first.json() == second.json()
    assert second["Idempotent-Replay"] == "true"
    assert Property.objects.count() == 1


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"postcode": "nowhere"}, "postcode"),
        ({"nation": "scotland"}, "nation"),
        ({"nation": "ireland"}, "nation"),
        ({"postcode": "CH7 1AA", "nation": "wales"}, "nation_confirmed"),
        ({"reference": ""}, "reference"),
        ({"latitude_deg": 52.6}, "longitude_deg"),
        ({"latitude_deg": 12.0, "longitude_deg": 0}, "latitude_deg"),
        ({"scheme": 0}, "scheme"),
        ({"due_on": "soon"}, "due_on"),
    ],
)
def test_a_wrong_answer_is_named(given, field):
    office = an_office()

    answer = api_for(office.planner).post(URL, home(office, **given))

    assert answer.status_code == 400
    assert answer.json()["errors"][0]["field"] == field
    assert not Property.objects.exists()


def test_a_scheme_of_others_does_not_exist():
    office = an_office()
    foreign = SchemeFactory()

    answer = api_for(office.planner).post(URL, home(office, scheme=foreign.pk))

    assert answer.status_code == 400
    assert answer.json()["errors"][0]["field"] == "scheme"


def test_a_correction_needs_the_etag_and_loses_to_an_earlier_one():
    office = an_office()
    client = api_for(office.planner)
    url = f"{URL}{client.post(URL, home(office)).json()['id']}/"
    etag = client.get(url)["ETag"]

    assert client.patch(url, {"town": "Newtown"}).status_code == 428
    done = client.patch(url, {"town": "Newtown"}, headers={"If-Match": etag})
    late = client.patch(url, {"town": "Oldtown"}, headers={"If-Match": etag})

    assert (done.status_code, late.status_code) == (200, 412)
    assert done["ETag"] != etag
    assert Property.objects.get().town == "Newtown"


def test_a_correction_is_judged_like_a_new_home():
    office = an_office()
    client = api_for(office.planner)
    url = f"{URL}{client.post(URL, home(office)).json()['id']}/"

    answer = client.patch(url, {"nation": "wales"}, headers={"If-Match": client.get(url)["ETag"]})

    assert answer.status_code == 400
    assert answer.json()["errors"][0]["field"] == "nation"


def test_homes_of_others_do_not_exist():
    office, foreign = an_office(), PropertyFactory()
    client = api_for(office.planner)

    assert client.get(f"{URL}{foreign.pk}/").status_code == 404
    assert client.patch(f"{URL}{foreign.pk}/", {"town": "X"}).status_code == 404
    assert client.get(URL).json()["results"] == []


def test_an_auditor_reads_the_homes_of_sealed_populations_without_the_householder():
    office = an_office()
    for name in ("H-1", "H-2"):
        sent = home(office, reference=name, householder_name="A. Householder")
        api_for(office.planner).post(URL, sent)
    let_auditors_see(Job.objects.get(property__reference="H-1"))
    auditor = UserFactory(role="auditor", scheme=office.scheme)

    [shown] = api_for(auditor).get(URL).json()["results"]

    assert (shown["reference"], shown["householder_name"]) == ("H-1", "")


@pytest.mark.parametrize(
    ("role", "read", "write"),
    [
        ("planner", 200, 201),
        ("surveyor", 200, 403),
        ("compliance_officer", 200, 403),
        ("installer", 200, 403),
    ],
)
def test_who_reads_and_who_takes_in(role, read, write):
    office = an_office()
    client = api_for(office.person(role))

    assert client.get(URL).status_code == read
    assert client.post(URL, home(office)).status_code == write


def test_a_platform_admin_finds_nothing_here():
    assert api_for(UserFactory(role="platform_admin")).get(URL).status_code == 404


def test_homes_cannot_be_deleted():
    office = an_office()
    record = PropertyFactory(company=office.company)

    assert api_for(office.planner).delete(f"{URL}{record.pk}/").status_code == 405


def test_the_list_is_narrowed(django_assert_num_queries):
    office = an_office()
    for number, postcode in enumerate(("LE1 1AA", "LE1 2AA", "NG1 1AA")):
        PropertyFactory(company=office.company, postcode=postcode, reference=f"P{number}")
    client = api_for(office.planner)

    with django_assert_num_queries(2):
        found = client.get(URL, {"postcode": "le1"}).json()["results"]

    assert {row["postcode"] for row in found} == {"LE1 1AA", "LE1 2AA"}


def test_schemes_are_the_companys_or_the_auditors_own():
    office = an_office()
    SchemeFactory()
    auditor = UserFactory(role="auditor", scheme=office.scheme)

    for person in (office.planner, auditor):
        rows = api_for(person).get("/api/v1/schemes/").json()["results"]
        assert [row["id"] for row in rows] == [office.scheme.pk]
    assert api_for(office.planner).post("/api/v1/schemes/", {}).status_code == 403
