"""“Booked visits stay”: a run never takes one off, and says what does not fit any more."""

from __future__ import annotations

from datetime import timedelta

import pytest

from jobs.models import Absence, Visit
from jobs.planning.absences import record_absence
from jobs.planning.calendars import midnight
from jobs.planning.causes import causes_of
from jobs.planning.gather import gather
from jobs.planning.proposals import summary_of
from jobs.planning.wishes import MayMove, Wishes, wished
from tests.jobs.plan_scene import based_crew, booked, planned, to_fit

pytestmark = pytest.mark.django_db
STAY = Wishes(may_move=MayMove.NOTHING)
CLASHES = Wishes(may_move=MayMove.CLASHES)


def only_line(run):
    (line,) = run.proposals.all()
    return line


def test_a_visit_on_a_bank_holiday_stays_and_is_told(office, crew, day, monkeypatch):
    visit = booked(office, crew, day, 9)
    monkeypatch.setattr(
        "jobs.planning.calendars.holiday_on", lambda when, nation: "Long Day" * (when == day)
    )
    monkeypatch.setattr(
        "jobs.planning.misfits.holiday_on", lambda when, nation: "Long Day" * (when == day)
    )

    line = only_line(planned(office, day, wishes=STAY))

    assert (line.change, line.visit, line.during) == ("kept", visit, visit.during)
    assert "bank holiday (Long Day)" in line.reasons[0]["words"]
    assert line.reasons[0]["would_help"]


def test_a_visit_of_a_crew_that_is_away_stays_and_is_told(office, crew, day):
    visit = booked(office, crew, day, 9)
    based_crew(office)
    ill = Absence.Reason.ILL
    start = midnight(day)
    record_absence(
        office.company,
        by=office.planner,
        crew=crew,
        starts_at=start,
        ends_at=start + timedelta(days=1),
        reason=ill,
    )

    run = planned(office, day, wishes=STAY)
    line = only_line(run)

    assert (line.change, line.visit) == ("kept", visit)
    assert "is away then (ill" in line.reasons[0]["words"]
    assert (summary_of(run).taken_off, summary_of(run).misfits) == (0, 1)


def test_a_visit_from_which_the_crew_is_home_late_stays(office, crew, day):
    """The way home takes so long that a break on it would make it longer than the day allows."""
    far = to_fit(office, north_km=250.0)
    visit = office.booked(far.job, crew, starts_at=midnight(day) + timedelta(hours=8), hours=1)

    line = only_line(planned(office, day, wishes=STAY))

    assert (line.change, line.visit, line.during) == ("kept", visit, visit.during)


def test_a_drive_for_which_there_is_no_time_is_told(office, crew, day):
    booked(office, crew, day, 9, hours=2)
    far = to_fit(office, north_km=40.0)
    office.booked(far.job, crew, starts_at=midnight(day) + timedelta(hours=11), hours=2)

    lines = planned(office, day, wishes=STAY).proposals.order_by("during")

    assert [line.change for line in lines] == ["kept", "kept"]
    assert lines[0].reasons == []
    assert "The drive from" in lines[1].reasons[0]["words"]


def test_a_held_visit_that_another_will_last_into_is_put_aside(office, crew, day):
    first = booked(office, crew, day, 9, hours=2)
    held = booked(office, crew, day, 11, hours=2)
    Visit.objects.filter(pk__in=[first.pk, held.pk]).update(held=True)
    until = first.during.upper + timedelta(minutes=30)

    found = gather(office.company, day, 1, overruns={first.pk: until})

    assert [visit.during.lower for visit in found.aside.values()] == [first.during.upper]
    assert [visit.pk for visit in found.visits.values()] == [first.pk]


def free_keys(found) -> set[int]:
    return {found.visits[v.key].pk for v in found.problem.visits if v.promised and not v.fixed}


def test_only_what_an_overrun_pushes_on_may_move(office, crew, day):
    """The next one cannot be reached in time, the one behind it then neither; the last one can."""
    hours = (8, 10, 12, 13, 15.5)
    before, first, next_one, behind, last = (booked(office, crew, day, h, hours=1) for h in hours)
    other = booked(office, based_crew(office), day, 13, hours=1)
    until = first.during.upper + timedelta(hours=1.5)

    found = gather(office.company, day, 1, overruns={first.pk: until})
    calm = wished(found, CLASHES)

    everything = {before.pk, next_one.pk, behind.pk, last.pk, other.pk}
    assert free_keys(wished(found, Wishes())) == everything
    assert free_keys(calm) == {next_one.pk, behind.pk}
    dues = {v.key: v.due_s for v in calm.problem.visits}
    assert dues[f"visit:{next_one.pk}"] == calm.seconds(next_one.during.upper)


def test_only_visits_of_a_crew_that_is_away_may_move(office, crew, day):
    morning, noon = booked(office, crew, day, 9, hours=1), booked(office, crew, day, 14, hours=1)
    other = booked(office, based_crew(office), day, 9, hours=1)
    record_absence(
        office.company,
        by=office.planner,
        crew=crew,
        starts_at=midnight(day) + timedelta(hours=12),
        ends_at=midnight(day) + timedelta(days=1),
        reason=Absence.Reason.ILL,
    )

    found = wished(gather(office.company, day, 1), CLASHES)

    assert free_keys(found) == {noon.pk}
    assert "is there only from" in causes_of(found)[f"visit:{noon.pk}"].words
    assert {morning.pk, other.pk} <= {visit.pk for visit in found.visits.values()}
