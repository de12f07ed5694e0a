"""Many planners at the same moment: the database takes one booking and explains the others."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from django.db import connection

from jobs.errors import Conflict, Refused, Stale
from jobs.models import Stage, Visit
from jobs.planning.booking import move_visit
from tests.jobs.planner_scene import an_office, at

pytestmark = pytest.mark.django_db(transaction=True)
PLANNERS = 8


def all_at_once(*acts):
    """Run each act in a thread and connection of its own, begun together; their outcomes."""
    start = Barrier(len(acts))

    def run(act):
        start.wait(timeout=30)
        try:
            return act()
        except Refused as refusal:
            return refusal
        finally:
            connection.close()

    with ThreadPoolExecutor(len(acts)) as pool:
        return list(pool.map(run, acts))


def test_one_of_many_bookings_of_a_crew_at_once_is_taken():
    office = an_office()
    crew = office.crew()
    jobs = [office.job(Stage.TO_PLAN) for _ in range(PLANNERS)]

    outcomes = all_at_once(*(lambda job=job: office.booked(job, crew) for job in jobs))

    booked = [outcome for outcome in outcomes if isinstance(outcome, Visit)]
    refused = [outcome for outcome in outcomes if isinstance(outcome, Conflict)]
    assert (len(booked), len(refused)) == (1, PLANNERS - 1)
    assert Visit.objects.count() == 1
    for job in jobs:
        job.refresh_from_db()
    assert [job.stage for job in jobs].count(Stage.BOOKED) == 1


def test_crews_that_share_a_van_do_not_both_get_it():
    office = an_office()
    van = office.van()

    outcomes = all_at_once(*(lambda: office.booked(van=van) for _ in range(4)))

    assert len([outcome for outcome in outcomes if isinstance(outcome, Visit)]) == 1


def test_one_of_many_moves_of_a_visit_at_once_is_taken():
    office = an_office()
    visit = office.booked()

    outcomes = all_at_once(
        *(
            lambda day=day: move_visit(visit, by=office.planner, version=1, starts_at=at(24 * day))
            for day in range(1, 1 + PLANNERS)
        )
    )

    assert len([outcome for outcome in outcomes if isinstance(outcome, Visit)]) == 1
    assert len([outcome for outcome in outcomes if isinstance(outcome, Stale)]) == PLANNERS - 1
    visit.refresh_from_db()
    assert visit.version == 2
