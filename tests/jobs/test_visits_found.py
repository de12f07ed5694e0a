"""Which visits are an installer's, and which begin on a day, by whichever way looked up."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import connection
from django.db.models import Q

from jobs.models import Visit, VisitOperative
from tests.factories import CrewFactory, OperativeFactory, UserFactory, VisitFactory

pytestmark = pytest.mark.django_db

# The clocks of Europe/London went forward on 29 March 2026 and back on 25 October 2026.
MOMENTS = [
    datetime(2026, 3, 28, 23, 59, tzinfo=UTC),
    datetime(2026, 3, 29, 0, 0, tzinfo=UTC),
    datetime(2026, 3, 29, 22, 59, tzinfo=UTC),
    datetime(2026, 3, 29, 23, 0, tzinfo=UTC),
    datetime(2026, 10, 24, 22, 59, tzinfo=UTC),
    datetime(2026, 10, 24, 23, 0, tzinfo=UTC),
    datetime(2026, 10, 25, 23, 59, tzinfo=UTC),
    datetime(2026, 10, 26, 0, 0, tzinfo=UTC),
]
DAYS = [date(2026, 3, 28) + timedelta(days=n) for n in range(4)]
DAYS += [date(2026, 10, 24) + timedelta(days=n) for n in range(4)]


@pytest.fixture
def at_the_edges_of_days():
    return [VisitFactory(during=(m, m + timedelta(minutes=1))) for m in MOMENTS]


def found(visits) -> list[int]:
    return sorted(visits.values_list("pk", flat=True))


@pytest.mark.usefixtures("at_the_edges_of_days")
def test_a_day_begins_and_ends_by_the_clock_on_the_wall():
    """Europe/London in the time zone database of IANA (rules GB-Eire and EU); PostgreSQL, which
    has a copy of its own, says the day of a moment."""
    for day in DAYS:
        by_clock = Visit.objects.filter(during__startswith__date=day)
        assert found(Visit.objects.on_day(day)) == found(by_clock)
        until = Visit.objects.filter(
            during__startswith__date__gte=DAYS[0], during__startswith__date__lt=day
        )
        assert found(Visit.objects.between(DAYS[0], day)) == found(until)
        over = Visit.objects.filter(status="booked", during__endswith__date__lt=day)
        assert found(Visit.objects.never_begun(day)) == found(over)
    assert sum(Visit.objects.on_day(day).count() for day in DAYS) == len(MOMENTS)


def test_an_installer_has_the_visits_of_the_crew_and_those_gone_along_on_once_each():
    person = UserFactory(role="installer")
    crew, other = CrewFactory(company=person.company), CrewFactory(company=person.company)
    operative = OperativeFactory(company=person.company, crew=crew, user=person, name="Own")
    mate = OperativeFactory(company=person.company, crew=crew, name="Mate")
    of_crew, lent, strange, cancelled, both = (
        VisitFactory(crew=of, job__company=person.company, during=(start, start + timedelta(1 / 9)))
        for of, start in zip((crew, other, other, crew, crew), MOMENTS[::1][:5], strict=True)
    )
    Visit.objects.filter(pk=cancelled.pk).update(status="cancelled")
    for visit, who in ((lent, operative), (both, operative), (both, mate), (strange, mate)):
        VisitOperative.objects.create(visit=visit, operative=who)
    VisitFactory()  # of another company

    mine = Visit.objects.booked_on_crew_of(person)

    joined = Visit.objects.live().filter(
        Q(crew__operatives__user=person) | Q(visit_operatives__operative__user=person)
    )
    assert found(mine) == found(joined.distinct()) == sorted([of_crew.pk, lent.pk, both.pk])
    operative.crew = None
    operative.save()
    assert found(Visit.objects.visible_to(person)) == sorted([lent.pk, both.pk])


def test_a_day_of_visits_is_looked_up_by_its_index():
    """However few there are here, the index fits the question (sequential scans are put last)."""
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL enable_seqscan = off")
    assert "visit_begins" in Visit.objects.order_by().on_day(DAYS[0]).explain()
