"""Taking in one home, opening further jobs for it, correcting it."""

from __future__ import annotations

from datetime import date

import pytest

from jobs.errors import Conflict, Refused
from jobs.history import history_of
from jobs.intake.properties import change_property, take_in_property
from jobs.models import Property, Stage
from jobs.stages import call_off
from tests.factories import CompanyFactory, SchemeFactory
from tests.jobs.planner_scene import an_office, values

pytestmark = pytest.mark.django_db


def test_a_home_is_taken_in_with_a_job_to_survey():
    office = an_office()

    job = take_in_property(
        office.company, office.scheme, values(due_on=date(2027, 3, 31)), office.planner
    )

    assert (job.stage, job.due_on, job.scheme) == (
        Stage.TO_SURVEY,
        date(2027, 3, 31),
        office.scheme,
    )
    assert job.property.postcode == "LE1 1AA"


def test_a_home_gets_a_second_job_under_another_scheme():
    office = an_office()
    first = take_in_property(office.company, office.scheme, values(), office.planner)
    other = SchemeFactory(companies=[office.company])

    second = take_in_property(office.company, other, values(), office.planner)

    assert second.property == first.property
    assert Property.objects.count() == 1


def test_a_called_off_job_makes_room_for_a_new_one():
    office = an_office()
    first = take_in_property(office.company, office.scheme, values(), office.planner)
    call_off(first, "householder declined")

    again = take_in_property(office.company, office.scheme, values(), office.planner)

    assert again.pk != first.pk
    assert again.property == first.property


def test_a_reference_is_known_in_one_company_only():
    office, other = an_office(), an_office()

    for each in (office, other):
        take_in_property(each.company, each.scheme, values(), each.planner)

    assert Property.objects.filter(reference="H-1").count() == 2


def test_the_same_home_twice_under_a_scheme_is_refused_with_the_job_it_has():
    office = an_office()
    job = take_in_property(office.company, office.scheme, values(), office.planner)

    with pytest.raises(Conflict, match=job.reference) as refusal:
        take_in_property(office.company, office.scheme, values(), office.planner)

    assert refusal.value.field == "reference"


@pytest.mark.parametrize(
    ("given", "scheme", "field"),
    [
        ({"nation": "scotland"}, {}, "nation"),
        ({"postcode": "CH7 1AA", "nation": "wales"}, {}, "nation_confirmed"),
        ({}, {"ends_on": date(2026, 1, 2)}, "scheme"),
    ],
)
def test_what_cannot_be_right_takes_nothing_in(given, scheme, field):
    office = an_office()
    for name, value in scheme.items():
        setattr(office.scheme, name, value)
    office.scheme.save()

    with pytest.raises(Refused) as refusal:
        take_in_property(office.company, office.scheme, values(**given), office.planner)

    assert refusal.value.field == field
    assert not Property.objects.exists()


def test_a_scheme_of_others_is_refused():
    office = an_office()
    foreign = SchemeFactory(companies=[CompanyFactory()])

    with pytest.raises(Refused, match="not in this scheme"):
        take_in_property(office.company, foreign, values(), office.planner)


def test_another_address_under_a_known_reference_is_refused():
    office = an_office()
    take_in_property(office.company, office.scheme, values(), office.planner)
    other = SchemeFactory(companies=[office.company])

    with pytest.raises(Conflict, match="already know"):
        take_in_property(
            office.company, other, values(address_line_1="2 Example Row"), office.planner
        )


@pytest.mark.django_db(transaction=True)  # each act in a transaction, and so a moment, of its own
def test_a_correction_is_stored_and_its_history_says_who_and_what():
    office = an_office()
    job = take_in_property(office.company, office.scheme, values(), office.planner)

    change_property(
        job.property, values(town="Newtown", householder_phone="01632 960001"), office.planner
    )

    job.property.refresh_from_db()
    assert job.property.town == "Newtown"
    corrected = history_of(job)[-1]
    assert corrected.what == "Home corrected"
    assert corrected.who == str(office.planner)
    assert "Town: Sampleton → Newtown." in corrected.detail
    assert "01632" not in corrected.detail


def test_a_correction_cannot_take_another_homes_reference():
    office = an_office()
    take_in_property(office.company, office.scheme, values(reference="H-2"), office.planner)
    job = take_in_property(office.company, office.scheme, values(), office.planner)

    with pytest.raises(Conflict, match="already has a property with this reference"):
        change_property(job.property, values(reference="H-2"), office.planner)
