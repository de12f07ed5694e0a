"""The form a home is taken in or corrected with."""

from __future__ import annotations

import pytest

from jobs.models import Job, Property
from tests.factories import PropertyFactory, SchemeFactory
from tests.jobs.planner_scene import an_office, signed_in

pytestmark = pytest.mark.django_db
NEW = "/properties/new/"


def typed(office, **given):
    return {
        "reference": "H-1",
        "address_line_1": "1 Example Row",
        "town": "Sampleton",
        "postcode": "le11aa",
        "nation": "england",
        "scheme": office.scheme.pk,
    } | given


def test_a_home_is_taken_in_and_its_job_opens():
    office = an_office()

    answer = signed_in(office.planner).post(NEW, typed(office, due_on="2027-03-31"))

    job = Job.objects.get()
    assert answer.headers["Location"] == f"/jobs/{job.pk}/"
    assert (job.property.postcode, str(job.due_on)) == ("LE1 1AA", "2027-03-31")


@pytest.mark.parametrize(
    ("given", "field", "said"),
    [
        ({"reference": ""}, "reference", "Fill this in."),
        ({"nation": ""}, "nation", "Choose one."),
        ({"postcode": "nowhere"}, "postcode", "not of the form of a UK postcode"),
        ({"nation": "scotland"}, "nation", "not in Scotland"),
        ({"postcode": "CH7 1AA", "nation": "wales"}, "nation_confirmed", "both sides of a border"),
        ({"latitude_deg": "north"}, "latitude_deg", "not a number"),
        ({"latitude_deg": "52.6"}, "longitude_deg", "Half a position"),
        ({"householder_email": "x"}, "householder_email", "not an e-mail address"),
        ({"scheme": "0"}, "scheme", "Select a valid choice"),
    ],
)
def test_a_wrong_answer_is_told_at_its_field_and_nothing_typed_is_lost(given, field, said):
    office = an_office()

    answer = signed_in(office.planner).post(NEW, typed(office, address_line_2="Back lane") | given)

    form = answer.context["form"]
    assert said in " ".join(form.errors[field])
    assert "Back lane" in answer.content.decode()
    assert not Property.objects.exists()


def test_a_home_near_a_border_is_taken_in_once_confirmed():
    office = an_office()

    signed_in(office.planner).post(
        NEW, typed(office, postcode="CH7 1AA", nation="wales", nation_confirmed="on")
    )

    assert Property.objects.get().nation_confirmed


def test_the_same_home_again_names_its_job():
    office = an_office()
    client = signed_in(office.planner)
    client.post(NEW, typed(office))

    answer = client.post(NEW, typed(office))

    assert Job.objects.get().reference in " ".join(answer.context["form"].errors["reference"])


def test_a_scheme_of_others_cannot_be_chosen():
    office = an_office()

    answer = signed_in(office.planner).post(NEW, typed(office, scheme=SchemeFactory().pk))

    assert "scheme" in answer.context["form"].errors


def test_a_home_is_corrected():
    office = an_office()
    job = office.job()
    client = signed_in(office.planner)
    url = f"/properties/{job.property_id}/edit/"

    assert job.property.address_line_1 in client.get(url).content.decode()
    answer = client.post(url, typed(office, town="Newtown"))

    assert answer.headers["Location"] == f"/jobs/{job.pk}/"
    job.property.refresh_from_db()
    assert job.property.town == "Newtown"


def test_a_correction_cannot_take_another_homes_reference():
    office = an_office()
    PropertyFactory(company=office.company, reference="TAKEN")
    job = office.job()

    answer = signed_in(office.planner).post(
        f"/properties/{job.property_id}/edit/", typed(office, reference="TAKEN")
    )

    assert "already has a property with this reference" in str(answer.context["form"].errors)


def test_homes_are_the_planners_own():
    office, foreign = an_office(), PropertyFactory()

    assert signed_in(office.planner).get(f"/properties/{foreign.pk}/edit/").status_code == 404
    for role in ("surveyor", "installer", "compliance_officer"):
        client = signed_in(office.person(role))
        assert client.get(NEW).status_code == 404
        assert client.get(f"/properties/{office.job().property_id}/edit/").status_code == 404
