"""A crew, a van and an operative are in one place at a time: the database refuses the rest."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import IntegrityError, connection, transaction
from django.db.backends.postgresql.psycopg_any import DateTimeTZRange

from jobs.errors import Conflict, refusals_explained
from jobs.models import VisitOperative
from tests.factories import (
    A_MONDAY,
    CompanyFactory,
    CrewFactory,
    JobFactory,
    OperativeFactory,
    VanFactory,
    VisitFactory,
)

pytestmark = pytest.mark.django_db

OVERLAPPING = DateTimeTZRange(A_MONDAY + timedelta(hours=2), A_MONDAY + timedelta(hours=5))
AFTERWARDS = DateTimeTZRange(A_MONDAY + timedelta(hours=4), A_MONDAY + timedelta(hours=7))


def test_a_crew_is_not_booked_twice_at_once():
    first = VisitFactory()

    with pytest.raises(Conflict, match="This crew is already booked"), refusals_explained():
        VisitFactory(job__company=first.company, crew=first.crew, during=OVERLAPPING)


def test_a_crew_goes_on_to_the_next_visit_at_once():
    first = VisitFactory()

    second = VisitFactory(job__company=first.company, crew=first.crew, during=AFTERWARDS)

    assert second.during.lower == first.during.upper


def test_a_cancelled_visit_frees_its_crew():
    first = VisitFactory(status="cancelled")

    assert VisitFactory(job__company=first.company, crew=first.crew, during=OVERLAPPING).pk


def test_a_van_is_not_booked_twice_at_once_by_two_crews():
    company = CompanyFactory()
    van = VanFactory(company=company)
    VisitFactory(job__company=company, van=van)

    with pytest.raises(Conflict, match="This van is already booked"), refusals_explained():
        VisitFactory(job__company=company, van=van, during=OVERLAPPING)


def test_an_operative_lent_to_another_crew_is_not_booked_twice_at_once():
    company = CompanyFactory()
    lent = OperativeFactory(company=company)
    first, second = (VisitFactory(job__company=company) for _ in range(2))
    VisitOperative.objects.create(visit=first, operative=lent)

    with pytest.raises(Conflict, match="This operative is already booked"), refusals_explained():
        VisitOperative.objects.create(visit=second, operative=lent)


def test_moving_a_visit_onto_another_one_of_its_operative_is_refused():
    company = CompanyFactory()
    lent = OperativeFactory(company=company)
    first = VisitFactory(job__company=company)
    later = VisitFactory(job__company=company, during=AFTERWARDS)
    for visit in (first, later):
        VisitOperative.objects.create(visit=visit, operative=lent)

    later.during = OVERLAPPING
    with pytest.raises(Conflict, match="This operative is already booked"), refusals_explained():
        later.save()


def test_raw_sql_cannot_double_book_either():
    first = VisitFactory()
    second = VisitFactory(job__company=first.company)

    with (
        pytest.raises(IntegrityError, match="crew_in_one_place"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(
            "UPDATE jobs_visit SET crew_id = %s WHERE id = %s", [first.crew_id, second.pk]
        )


def test_a_visit_cannot_borrow_another_companys_crew():
    job = JobFactory()
    foreign_crew = CrewFactory()

    with pytest.raises(IntegrityError, match="visit_and_crew_of_one_company"), transaction.atomic():
        VisitFactory(job=job, crew=foreign_crew)
