"""The planning problem holds what the database holds: who works when, what stands, what waits."""

from __future__ import annotations

from datetime import date, time, timedelta

import pytest
from django.utils import timezone

from jobs.errors import Conflict
from jobs.loading.movements import receive_delivery
from jobs.models import (
    Depot,
    Property,
    StockItem,
    Visit,
    VisitNeed,
)
from jobs.planning.absences import record_absence
from jobs.planning.agreeing import agree_window, hold, tell_householder
from jobs.planning.calendars import at, midnight, works_on
from jobs.planning.gather import Gathered, gather
from jobs.planning.present_plan import present_plan
from tests.factories import OperativeFactory
from tests.jobs.plan_scene import based_crew, booked, to_fit
from tests.jobs.planner_scene import Office, an_office

pytestmark = pytest.mark.django_db


def gathered(office: Office, day: date, days: int = 1) -> Gathered:
    return gather(office.company, day, days)


def hour(day: date, seconds: int) -> str:
    return f"{timezone.localtime(midnight(day) + timedelta(seconds=seconds)):%H:%M}"


def test_a_shift_has_the_crews_hours_break_skills_and_size(office, crew, day):
    shift = gathered(office, day).problem.shifts[0]
    assert (hour(day, shift.opens_s), hour(day, shift.closes_s)) == ("08:00", "16:30")
    assert [(hour(day, rest.earliest_s), rest.length_s) for rest in shift.breaks] == [
        ("11:30", 1800)
    ]
    assert (shift.skills, shift.crew_size) == (frozenset({"insulation"}), 2)


def test_a_crew_has_no_shift_on_days_it_does_not_work(office, crew, day):
    crew.works_on = [n for n in range(1, 8) if n != day.isoweekday()]
    crew.save()
    with pytest.raises(Conflict, match="No crew can be sent"):
        gathered(office, day)


def test_a_crew_that_is_away_all_day_has_no_shift(office, crew, day):
    other = based_crew(office)
    record_absence(
        office.company,
        by=office.planner,
        crew=crew,
        starts_at=midnight(day),
        ends_at=midnight(day + timedelta(days=1)),
    )
    assert {shift.crew for shift in gathered(office, day).problem.shifts} == {f"crew:{other.pk}"}


@pytest.mark.parametrize(
    ("away", "opens", "closes", "pauses"),
    [
        ((6, 10), "10:00", "16:30", []),
        ((15, 20), "08:00", "15:00", []),
        ((9, 10), "08:00", "16:30", ["09:00"]),
    ],
)
def test_hours_away_shorten_a_shift_or_interrupt_it(office, crew, day, away, opens, closes, pauses):
    record_absence(
        office.company,
        by=office.planner,
        crew=crew,
        starts_at=at(day, time(away[0])),
        ends_at=at(day, time(away[1])),
    )
    shift = gathered(office, day).problem.shifts[0]
    assert (hour(day, shift.opens_s), hour(day, shift.closes_s)) == (opens, closes)
    assert [hour(day, r.earliest_s) for r in shift.breaks if not r.within_visit] == pauses


def test_a_crew_without_its_skilled_operative_lacks_the_skill(office, crew, day):
    skilled = OperativeFactory(company=office.company, crew=crew, skills=["raised_deck"])
    assert "raised_deck" in gathered(office, day).problem.shifts[0].skills
    record_absence(
        office.company,
        by=office.planner,
        operative=skilled,
        starts_at=at(day, time(9)),
        ends_at=at(day, time(10)),
    )
    shift = gathered(office, day).problem.shifts[0]
    assert ("raised_deck" in shift.skills, shift.crew_size) == (False, 2)


def test_what_waits_asks_for_its_hours_skills_and_window(office, crew, day):
    need = to_fit(office)
    agree_window(need, at(day, time(9)), at(day, time(12)), by=office.planner, whole=True)
    visit = gathered(office, day).problem.visit(need.key)
    assert (visit.service_s, visit.skills, visit.crew_size) == (14400, {"insulation"}, 2)
    (window,) = visit.windows
    assert (hour(day, window.opens_s), hour(day, window.closes_s)) == ("09:00", "12:00")
    assert window.whole


def test_work_of_several_days_is_put_as_parts(office, crew, day):
    need = to_fit(office)
    VisitNeed.objects.filter(pk=need.pk).update(part_hours=[5.0, 4.0])
    found = gathered(office, day, 7)
    assert found.problem.visit(need.key).parts_s == (18000, 14400)
    assert found.parts[need.key] == (1, 2)


def test_days_left_of_work_that_is_partly_booked_follow_it(office, crew, day):
    need = to_fit(office)
    VisitNeed.objects.filter(pk=need.pk).update(part_hours=[5.0, 4.0])
    first = booked(office, crew, day, 8, need=need, hours=5.0)
    found = gathered(office, day, 7)
    assert found.parts[need.key] == (2,)
    assert [after.key for after in found.problem.visit(need.key).after] == [f"visit:{first.pk}"]


def test_a_booked_visit_is_promised_where_it_stands(office, crew, day):
    visit = booked(office, crew, day, 9)
    tell_householder(visit, by=office.planner, version=visit.version)
    to_plan = gathered(office, day).problem.visit(f"visit:{visit.pk}")
    assert hour(day, to_plan.promised.starts_s) == "09:00"
    assert (to_plan.promised.crew, to_plan.promised.told) == (f"crew:{crew.pk}", True)
    assert not to_plan.fixed


def test_leaving_out_what_is_told_costs_more_than_what_is_booked(office, crew, day):
    told, silent = booked(office, crew, day, 8), booked(office, crew, day, 12)
    tell_householder(told, by=office.planner, version=told.version)
    waiting = to_fit(office)
    problem = gathered(office, day).problem
    points = [problem.visit(f"visit:{v.pk}").left_out_points for v in (told, silent)]
    assert points[0] > points[1] > problem.weights.leaving_out(waiting.priority)


def test_what_is_held_or_under_way_stays(office, crew, day):
    held, under_way, free = (booked(office, crew, day, hour, hours=2.0) for hour in (8, 11, 14))
    hold(held, True, by=office.planner, version=held.version)
    Visit.objects.filter(pk=under_way.pk).update(status="on_site")
    problem = gathered(office, day).problem
    fixed = {key: problem.visit(f"visit:{key}").fixed for key in (held.pk, under_way.pk, free.pk)}
    assert fixed == {held.pk: True, under_way.pk: True, free.pk: False}


def test_a_visit_booked_past_the_crews_hours_stays_and_is_told(office, crew, day):
    visit = booked(office, crew, day, 14)
    found = gathered(office, day)
    assert found.problem.visit(f"visit:{visit.pk}").fixed
    assert any("outside the hours" in note for note in found.notes)


def test_a_visit_past_hours_cut_by_an_absence_may_move(office, crew, day):
    visit = booked(office, crew, day, 12)
    record_absence(
        office.company,
        by=office.planner,
        crew=crew,
        starts_at=at(day, time(14)),
        ends_at=at(day, time(20)),
    )
    assert not gathered(office, day).problem.visit(f"visit:{visit.pk}").fixed


def test_a_visit_that_lasts_longer_stays_and_takes_longer(office, crew, day):
    visit = booked(office, crew, day, 8)
    found = gather(office.company, day, 1, overruns={visit.pk: at(day, time(14))})
    to_plan = found.problem.visit(f"visit:{visit.pk}")
    assert (to_plan.fixed, to_plan.service_s) == (True, 6 * 3600)


def test_a_visit_planned_across_the_break_is_only_as_long_as_its_work(office, crew, day):
    visit = booked(office, crew, day, 9, hours=4.5)
    assert gathered(office, day).problem.visit(f"visit:{visit.pk}").service_s == 4 * 3600


@pytest.mark.parametrize(
    ("spoil", "code"),
    [
        (
            lambda need, day: Property.objects.filter(pk=need.job.property_id).update(
                latitude_deg=None, longitude_deg=None
            ),
            "no_position",
        ),
        (
            lambda need, day: VisitNeed.objects.filter(pk=need.pk).update(
                earliest_on=day + timedelta(days=30)
            ),
            "not_yet",
        ),
        (
            lambda need, day: need.windows.create(
                during=(midnight(day + timedelta(days=30)), midnight(day + timedelta(days=31)))
            ),
            "agreed_later",
        ),
        (
            lambda need, day: need.windows.create(
                during=(midnight(date(2020, 1, 1)), midnight(date(2020, 1, 2)))
            ),
            "agreed_passed",
        ),
    ],
)
def test_what_cannot_be_planned_says_why_and_what_would_help(office, crew, day, spoil, code):
    need = to_fit(office)
    spoil(need, day)
    found = gathered(office, day)
    assert [(left.need, left.reason.code) for left in found.left] == [(need, code)]
    assert found.left[0].reason.would_help
    assert need.key not in found.needs


def test_a_booked_visit_without_position_keeps_its_place(office, crew, day):
    visit = booked(office, crew, day, 9)
    Property.objects.filter(pk=visit.job.property_id).update(latitude_deg=None, longitude_deg=None)
    found = gathered(office, day)
    assert found.problem.visit(f"visit:{visit.pk}").fixed
    assert any("no position" in note for note in found.notes)


def test_a_crew_without_base_or_depot_is_left_out_and_told(office, crew, day):
    stray = office.crew()
    found = gathered(office, day)
    assert f"crew:{stray.pk}" not in {shift.crew for shift in found.problem.shifts}
    assert any(stray.name in note for note in found.notes)


def a_depot(office: Office, crew, **stock: int) -> Depot:
    depot = Depot.objects.create(
        company=office.company,
        name="Yard",
        nation="england",
        latitude_deg=52.64,
        longitude_deg=-1.1,
    )
    for weekday in range(5):
        depot.hours.create(weekday=weekday)
    crew.depot = depot
    crew.save()
    for code, quantity in stock.items():
        item = StockItem.objects.create(company=office.company, code=code, name=code)
        receive_delivery(depot, {item: quantity}, by=office.planner)
    return depot


def test_a_depot_has_its_hours_and_stock(office, crew, day):
    depot = a_depot(office, crew, W100=12)
    found = gathered(office, day, 7)
    (to_plan,) = found.problem.depots
    assert to_plan.key == f"depot:{depot.pk}"
    assert len(to_plan.windows) == sum(works_on(crew, each) for each in found.problem.days)
    assert to_plan.stock_by_day[0] == {"W100": 12}
    assert all(shift.depot == to_plan.key for shift in found.problem.shifts)


def test_an_electrical_visit_comes_before_its_fitting(office, crew, day):
    fitting = to_fit(office)
    electrical = fitting.job.visit_needs.create(
        company=office.company, kind="electrical", part_hours=[1.5], skills=["electrical"]
    )
    VisitNeed.objects.filter(pk=fitting.pk).update(after=electrical, after_gap_hours=2)
    problem = gathered(office, day).problem
    (after,) = problem.visit(fitting.key).after
    assert (after.key, after.gap_s) == (electrical.key, 7200)


def test_what_must_follow_a_visit_that_cannot_be_planned_cannot_be_either(office, crew, day):
    fitting, elsewhere = to_fit(office), to_fit(office)
    elsewhere.windows.create(
        during=(midnight(day + timedelta(days=30)), midnight(day + timedelta(days=31)))
    )
    VisitNeed.objects.filter(pk=fitting.pk).update(after=elsewhere)
    codes = {left.need: left.reason.code for left in gathered(office, day).left}
    assert codes == {elsewhere: "agreed_later", fitting: "waits_for_other"}


def test_the_present_plan_has_what_is_booked_in_order(office, crew, day):
    second, first = booked(office, crew, day, 13), booked(office, crew, day, 8)
    (round_,) = present_plan(gathered(office, day)).rounds
    assert [stop.key for stop in round_.stops] == [f"visit:{first.pk}", f"visit:{second.pk}"]


def test_the_queries_do_not_grow_with_crews_visits_or_days(
    office, crew, day, django_assert_max_num_queries
):
    a_depot(office, crew, W100=12)
    for number in range(6):
        other = based_crew(office)
        booked(office, other, day, 9)
        need = to_fit(office, number)
        agree_window(need, at(day, time(8)), at(day, time(12)), by=office.planner)
    with django_assert_max_num_queries(28):
        gathered(office, day, 14)


def test_another_companys_visits_are_no_part_of_it(office, crew, day):
    other = an_office()
    theirs = based_crew(other)
    booked(other, theirs, day, 9)
    to_fit(other)
    problem = gathered(office, day).problem
    assert problem.visits == ()
    assert {shift.crew for shift in problem.shifts} == {f"crew:{crew.pk}"}
