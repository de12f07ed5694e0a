"""Which lines of a plan must be accepted together."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from jobs.models import VisitNeed
from jobs.planning.calendars import midnight
from jobs.planning.together import needed_by_line, with_partners
from tests.jobs.plan_scene import (
    booked,
    line_for,
    line_of_need,
    ready_run,
    to_fit,
)

pytestmark = pytest.mark.django_db


def hour(day, clock) -> datetime:
    return midnight(day) + timedelta(hours=clock)


def needed(run):
    return needed_by_line(run.proposals.with_place())


def test_who_takes_a_place_needs_its_holder_out_of_the_way_not_the_reverse(office, crew, day):
    run = ready_run(office)
    leaves = line_for(run, booked(office, crew, day, 8), crew, hour(day, 12))
    comes = line_of_need(run, to_fit(office), crew, hour(day, 9))

    assert needed(run) == {comes.pk: (leaves.pk,)}


def test_two_visits_that_change_places_need_each_other(office, crew, day):
    run = ready_run(office)
    first = line_for(run, booked(office, crew, day, 8), crew, hour(day, 12))
    second = line_for(run, booked(office, crew, day, 12), crew, hour(day, 8))

    assert needed(run) == {first.pk: (second.pk,), second.pk: (first.pk,)}


def test_what_needs_another_needs_what_that_one_needs(office, crew, day):
    run = ready_run(office)
    last = line_for(run, booked(office, crew, day, 12), crew, hour(day, 16))
    middle = line_for(run, booked(office, crew, day, 8), crew, hour(day, 12))
    first = line_of_need(run, to_fit(office), crew, hour(day, 8))

    assert with_partners([first.pk], needed(run)) == {first.pk, middle.pk, last.pk}


def test_what_follows_needs_what_must_come_before_it(office, crew, day):
    run = ready_run(office)
    before, after = to_fit(office), to_fit(office)
    VisitNeed.objects.filter(pk=after.pk).update(after=before)
    earlier = line_of_need(run, before, crew, hour(day, 8))
    later = line_of_need(run, after, crew, hour(day, 12))

    assert needed(run) == {later.pk: (earlier.pk,)}


def test_an_answered_line_is_needed_no_more(office, crew, day):
    run = ready_run(office)
    leaves = line_for(run, booked(office, crew, day, 8), crew, hour(day, 12))
    line_of_need(run, to_fit(office), crew, hour(day, 9))
    run.proposals.filter(pk=leaves.pk).update(answer="accepted")

    assert needed(run) == {}
