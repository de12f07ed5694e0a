"""The load list of a crew's day: load by load, for which visit, and what the depot has of it."""

from __future__ import annotations

import pytest

from jobs.loading.load_list import load_list_for, load_list_of_day
from jobs.loading.vans import Taken, mark_loaded
from jobs.models import Visit, VisitOperative
from jobs.planning.booking import cancel_visit
from tests.jobs.loading.yard import a_yard, accessory_line, next_monday

MONDAY = next_monday()
KIT = [accessory_line("gloves", 2), accessory_line("fine_saw", 1)]


@pytest.fixture
def yard(db):
    return a_yard(van_m3=4.0)  # 21 rolls of 0.19 m3


def rolls_of(load):
    return {line.item: line.units for line in load.rolls}


def test_a_day_that_fits_is_one_load_with_its_kit_once(yard):
    for hour in (8, 13):
        yard.visit(
            yard.planned_job({"W170": 8}, [*KIT, accessory_line("eaves_tray", 5)]), MONDAY, hour
        )

    found = load_list_of_day(yard.crew, MONDAY)

    assert len(found.loads) == 1
    load = found.loads[0]
    assert rolls_of(load) == {"W170": 16}
    assert [(line.item, line.quantity) for line in load.accessories] == [("eaves_tray", 10)]
    assert [line.item for line in load.protection] == ["gloves"]
    assert [line.item for line in load.tools] == ["fine_saw"]
    assert load.protection[0].quantity == 2


def test_a_day_larger_than_the_van_is_several_loads_in_the_order_of_the_visits(yard):
    first = yard.visit(yard.planned_job({"W170": 12}), MONDAY, 8)
    second = yard.visit(
        yard.planned_job({"W170": 30}, [accessory_line("eaves_tray", 5)]), MONDAY, 13
    )

    loads = load_list_of_day(yard.crew, MONDAY).loads

    assert [rolls_of(load) for load in loads] == [{"W170": 21}, {"W170": 21}]
    assert [[p.visit.pk for p in load.parts] for load in loads] == [
        [first.pk, second.pk],
        [second.pk],
    ]
    assert all(load.volume_m3 <= 4.0 for load in loads)
    assert [line.item for line in loads[0].accessories] == ["eaves_tray"]
    assert loads[1].accessories == ()


def test_each_line_says_what_the_depot_holds_after_the_loads_before_it(yard):
    yard.item("eaves_tray", unit="piece")
    yard.receive(W170=30, eaves_tray=4)
    yard.visit(yard.planned_job({"W170": 12}, [accessory_line("eaves_tray", 5)]), MONDAY, 8)
    yard.visit(yard.planned_job({"W170": 20}), MONDAY, 13)

    first, second = load_list_of_day(yard.crew, MONDAY).loads

    assert [(x.item, x.held, x.missing) for x in first.lines] == [
        ("W170", 30, 0),
        ("eaves_tray", 4, 1),
    ]
    assert [(x.item, x.held, x.missing) for x in second.lines] == [("W170", 18, 2)]


def test_what_is_to_be_cleared_or_kept_in_mind_is_told_apart_from_what_is_carried(yard):
    lines = [
        accessory_line("hold_wet_timber", 1, "check", name="Cause of damp found"),
        accessory_line("cable_on_top", 4.5, "m"),
        accessory_line("sealant", 1, "tube"),
    ]
    yard.visit(yard.planned_job({"W170": 1}, lines), MONDAY)

    found = load_list_of_day(yard.crew, MONDAY)

    assert [line.item for _, line in found.checks] == ["hold_wet_timber", "cable_on_top"]
    assert [line.item for line in found.accessories] == ["sealant"]


def test_a_call_back_takes_the_kit_and_no_rolls(yard):
    visit = yard.visit(yard.planned_job({"W170": 11}, KIT), MONDAY)
    Visit.objects.filter(pk=visit.pk).update(kind="call_back")

    (load,) = load_list_of_day(yard.crew, MONDAY).loads

    assert load.rolls == ()
    assert [line.item for line in (*load.protection, *load.tools)] == ["gloves", "fine_saw"]


def test_after_the_first_load_the_list_asks_for_what_is_left(yard):
    yard.receive(W170=60)
    yard.visit(yard.planned_job({"W170": 12}), MONDAY, 8)
    mark_loaded(yard.crew, MONDAY, 1, by=yard.planner)
    assert load_list_of_day(yard.crew, MONDAY).next_load is None

    yard.visit(yard.planned_job({"W170": 5}), MONDAY, 13)

    found = load_list_of_day(yard.crew, MONDAY)
    assert [rolls_of(load) for load in found.loads] == [{"W170": 12}, {"W170": 5}]
    assert found.next_load.number == 2


def test_a_difference_with_a_reason_is_not_asked_for_again(yard):
    yard.receive(W170=60)
    yard.visit(yard.planned_job({"W170": 12}), MONDAY, 8)
    mark_loaded(
        yard.crew, MONDAY, 1, by=yard.planner,
        taken={"W170": Taken(10, "two left on the van from Friday")},
    )  # fmt: skip

    assert load_list_of_day(yard.crew, MONDAY).next_load is None


def test_a_visit_cancelled_after_loading_leaves_the_list(yard):
    yard.receive(W170=60)
    visit = yard.visit(yard.planned_job({"W170": 12}), MONDAY, 8)
    mark_loaded(yard.crew, MONDAY, 1, by=yard.planner)
    cancel_visit(visit, "householder ill", yard.planner)

    found = load_list_of_day(yard.crew, MONDAY)
    assert found.visits == ()
    assert [load.parts for load in found.loads] == [()]


def test_somebody_lent_for_one_visit_sees_what_concerns_that_visit_only(yard):
    own = yard.visit(yard.planned_job({"W170": 12}, [accessory_line("hatch_catch", 2)]), MONDAY, 8)
    other_lines = [accessory_line("hold_asbestos", 1, "check"), accessory_line("eaves_tray", 9)]
    yard.visit(yard.planned_job({"W170": 5}, other_lines), MONDAY, 13)
    lent = yard.installer(crew=yard.office.crew())
    VisitOperative.objects.create(visit=own, operative=lent.operative)

    found = load_list_for(lent, yard.crew, MONDAY)

    assert [visit.pk for visit in found.visits] == [own.pk]
    assert [(line.item, line.units) for line in found.rolls] == [("W170", 12)]
    assert [line.item for line in found.accessories] == ["hatch_catch"]
    assert found.checks == ()
    assert not found.whole


def test_somebody_of_the_crew_sees_all_and_a_stranger_nothing(yard):
    yard.visit(yard.planned_job({"W170": 12}), MONDAY, 8)
    member, stranger = yard.installer(), yard.installer(crew=yard.office.crew())

    assert load_list_for(member, yard.crew, MONDAY).whole
    assert load_list_for(stranger, yard.crew, MONDAY) is None


def test_the_list_takes_as_many_queries_for_a_full_day_as_for_one_visit(
    yard, django_assert_max_num_queries
):
    for hour in range(8, 16):
        yard.visit(yard.planned_job({"W170": 2}, KIT), MONDAY, hour, hours=1.0)
    with django_assert_max_num_queries(8):
        found = load_list_of_day(yard.crew, MONDAY)
    assert [(line.item, line.units) for line in found.rolls] == [("W170", 16)]
