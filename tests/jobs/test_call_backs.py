"""What call-backs need: asked of whoever registered, and as ever where nobody did."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from calculations.catalogue import INVENTED_CATALOGUE, roll_by_code
from jobs import call_backs
from jobs.call_backs import CallBackNeeds, call_back_needs, register_call_back_source
from jobs.loading.load_list import load_list_of_day
from jobs.loading.needs import needs_of_job, needs_of_jobs, shares_of
from jobs.loading.stock import needed_by_day
from jobs.models import Stage, Visit, VisitKind
from jobs.planning.need_facts import USUAL_HOURS, facts_of, wanted_need
from tests.jobs.loading.yard import a_yard, next_monday

pytestmark = pytest.mark.django_db
MONDAY = next_monday()


@pytest.fixture
def yard(monkeypatch):
    monkeypatch.setattr(call_backs, "_sources", [])
    return a_yard()


def told_of(*jobs, count=3, found_at=None, hours=3.5):
    """A source that knows these jobs."""
    needs = CallBackNeeds(
        rolls={"W170": count},
        volume_m3=count * 0.19,
        crew_hours=hours,
        found_at=found_at or timezone.now(),
        reason="100 mm short",
        roll_types=(roll_by_code(INVENTED_CATALOGUE, "W170"),),
        accessories={"eaves_tray": 2},
    )
    ids = {job.pk for job in jobs}
    register_call_back_source(lambda asked: {pk: needs for pk in asked if pk in ids})


def call_back(yard, job, day=MONDAY, hour=8, **given):
    visit = yard.visit(job, day, hour, **given)
    Visit.objects.filter(pk=visit.pk).update(kind="call_back")
    visit.refresh_from_db()
    return visit


def wanted(job):
    return wanted_need(job, VisitKind.CALL_BACK, facts_of([job]))


def test_where_nobody_knows_a_call_back_takes_no_rolls_and_the_usual_hours(yard):
    job = yard.planned_job({"W170": 11})
    visit = call_back(yard, job)

    assert shares_of([visit])[visit.pk].rolls == {}
    assert needs_of_job(job, VisitKind.CALL_BACK).rolls == {}
    assert needs_of_job(job).rolls == {"W170": 11}
    assert wanted(job).part_hours == (USUAL_HOURS[VisitKind.CALL_BACK],)
    assert (wanted(job).volume_m3, wanted(job).crew_size) == (0.0, 1)


def test_a_call_back_loads_what_puts_the_job_right(yard):
    job = yard.planned_job({"W170": 11})
    told_of(job)
    call_back(yard, job)

    (load,) = load_list_of_day(yard.crew, MONDAY).loads

    assert [(line.item, line.units, line.reason) for line in load.rolls] == [
        ("W170", 3, "100 mm short")
    ]
    assert [(line.item, line.units) for line in load.accessories] == [("eaves_tray", 2)]
    assert load.volume_m3 == pytest.approx(3 * 0.19)
    assert needed_by_day(yard.depot, MONDAY, MONDAY + timedelta(days=1))[MONDAY].units == {
        "W170": 3,
        "eaves_tray": 2,
    }


def test_what_waits_knows_its_hours_its_volume_and_that_two_lay(yard):
    job = yard.planned_job({"W170": 11})
    told_of(job)

    assert wanted(job).part_hours == (3.5,)
    assert wanted(job).volume_m3 == pytest.approx(3 * 0.19)
    assert wanted(job).crew_size == 2


def test_a_job_never_planned_here_loads_its_call_back_and_is_not_called_unplanned(yard):
    job = yard.office.job(Stage.TO_PLAN)
    told_of(job)
    call_back(yard, job)

    found = load_list_of_day(yard.crew, MONDAY)

    assert found.without_plan == ()
    assert [line.item for line in found.rolls] == ["W170"]


def test_call_backs_over_two_days_share_the_rolls_and_an_earlier_one_gets_none(yard):
    job = yard.planned_job({"W170": 11})
    told_of(job, count=5, found_at=timezone.now() + timedelta(days=1))
    yesterday = timezone.localdate() - timedelta(days=1)
    before = call_back(yard, job, yesterday, hours=2)
    two = [call_back(yard, job, MONDAY + timedelta(days=n), hours=3) for n in range(2)]

    shares = shares_of([before, *two])

    assert shares[before.pk].rolls == {}
    assert sum(shares[visit.pk].rolls["W170"] for visit in two) == 5
    assert [shares[visit.pk].first for visit in two] == [True, False]


def test_the_first_source_that_knows_a_job_is_believed(yard):
    known, other = yard.planned_job({"W170": 1}), yard.planned_job({"W170": 1})
    told_of(known, count=1)
    told_of(known, other, count=9)

    found = call_back_needs([known.pk, other.pk])

    assert [found[job.pk].rolls["W170"] for job in (known, other)] == [1, 9]


def test_many_call_backs_are_shared_out_in_as_many_queries_as_one(
    yard, django_assert_max_num_queries
):
    jobs = [yard.planned_job({"W170": 4}) for _ in range(4)]
    told_of(*jobs)
    visits = [call_back(yard, job, MONDAY + timedelta(days=n)) for n, job in enumerate(jobs)]
    with django_assert_max_num_queries(2):
        assert len(shares_of(visits)) == 4
    with django_assert_max_num_queries(0):
        assert len(needs_of_jobs([job.pk for job in jobs], VisitKind.CALL_BACK)) == 4
