"""The round sheet: order, drives, what to mind, drawings; and who sees which of it."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from jobs.models import Hazard, VisitOperative
from jobs.planning.absences import record_absence
from jobs.planning.travel import drive_between
from jobs.rounds.round_sheet import round_sheet_for
from jobs.surveying.quantities import make_layer_plan
from tests.factories import LoftAreaFactory, SurveyFactory
from tests.jobs.loading.yard import a_yard, next_monday, on
from tests.jobs.planner_scene import api_for, signed_in

pytestmark = pytest.mark.django_db
MONDAY = next_monday()


@pytest.fixture
def yard():
    yard = a_yard()
    yard.depot.latitude_deg, yard.depot.longitude_deg = 52.60, -1.10
    yard.depot.save()
    return yard


def a_home(yard, number, rolls=4, **values):
    job = yard.planned_job({"W170": rolls})
    for name, value in {"address_line_1": f"{number} Tansy Row", **values}.items():
        setattr(job.property, name, value)
    job.property.save()
    return job


def surveyed(yard, number):
    """A job with a surveyed loft and layers worked out by the engine."""
    job = yard.office.job("to_plan")
    job.property.address_line_1 = f"{number} Tansy Row"
    job.property.save()
    survey = SurveyFactory(job=job, completed_at=timezone.now(), access_note="Hatch is stiff")
    LoftAreaFactory(survey=survey)
    Hazard.objects.create(survey=survey, kind="wet_timber", note="by the chimney")
    make_layer_plan(job, seconds=0)
    return job


def test_the_day_is_told_in_order_with_the_drive_before_each_visit(yard):
    near = a_home(yard, 1, latitude_deg=52.61, longitude_deg=-1.10)
    far = a_home(yard, 2, latitude_deg=52.70, longitude_deg=-1.20)
    yard.visit(far, MONDAY, 13)
    yard.visit(near, MONDAY, 8)

    sheet = round_sheet_for(yard.planner, yard.crew, MONDAY)

    assert sheet.begins_at == "Mill Lane"
    assert [stop.visit.job_id for stop in sheet.stops] == [near.pk, far.pk]
    assert sheet.stops[0].drive == drive_between((52.60, -1.10), (52.61, -1.10))
    assert sheet.stops[1].drive == drive_between((52.61, -1.10), (52.70, -1.20))
    assert sheet.drive.km == pytest.approx(sum(stop.drive.km for stop in sheet.stops))


def test_a_stop_carries_its_rolls_hazards_access_and_drawings(yard):
    yard.visit(surveyed(yard, 7), MONDAY, note="Ring twice")

    (stop,) = round_sheet_for(yard.planner, yard.crew, MONDAY).stops

    assert stop.hazards == ("Wet timber: by the chimney",)
    assert stop.access == ("Hatch is stiff", "Ring twice")
    assert sum(line.units for line in stop.rolls) > 0
    assert [drawing.title for drawing in stop.drawings] == ["Layer 1", "Photo points"]
    assert all(drawing.svg.startswith("<svg") for drawing in stop.drawings)
    assert [line.item for line in stop.checks] == ["hold_wet_timber"]


def test_a_day_of_two_loads_says_which_load_a_visit_takes_from(yard):
    yard.crew.van.load_volume_m3 = 2.0
    yard.crew.van.save()
    for hour in (8, 13):
        yard.visit(a_home(yard, hour, rolls=8), MONDAY, hour)
    sheet = round_sheet_for(yard.planner, yard.crew, MONDAY)
    assert [stop.loads for stop in sheet.stops] == [(1,), (2,)]
    assert [stop.back for stop in sheet.stops] == [
        (),
        ("Before it, back to Mill Lane for load 2",),
    ]


def test_the_drive_before_a_second_load_goes_by_way_of_the_depot(yard):
    yard.crew.van.load_volume_m3 = 2.0
    yard.crew.van.save()
    places = ((52.61, -1.10), (52.70, -1.20))
    for hour, (latitude, longitude) in zip((8, 13), places, strict=True):
        job = a_home(yard, hour, rolls=8, latitude_deg=latitude, longitude_deg=longitude)
        yard.visit(job, MONDAY, hour)
    depot = (52.60, -1.10)

    stop = round_sheet_for(yard.planner, yard.crew, MONDAY).stops[1]

    legs = drive_between(places[0], depot), drive_between(depot, places[1])
    assert stop.drive.km == pytest.approx(sum(leg.km for leg in legs))
    address = reverse("round_sheet", args=[yard.crew.pk, MONDAY])
    client = signed_in(yard.planner)
    assert "Before it, back to Mill Lane for load 2" in client.get(address).text
    paper = client.get(reverse("round_sheet_pdf", args=[yard.crew.pk, MONDAY]))
    assert paper.status_code == 200


def test_a_home_without_a_position_has_no_drive_and_the_next_is_reckoned_without_it(yard):
    nowhere = a_home(yard, 1, latitude_deg=None, longitude_deg=None)
    home = a_home(yard, 2, latitude_deg=52.70, longitude_deg=-1.20)
    yard.visit(nowhere, MONDAY, 8)
    yard.visit(home, MONDAY, 13)
    first, second = round_sheet_for(yard.planner, yard.crew, MONDAY).stops
    assert first.drive is None
    assert second.drive == drive_between((52.60, -1.10), (52.70, -1.20))


def test_an_installer_sees_its_crews_round_with_the_contact_and_a_stranger_nothing(yard):
    job = a_home(yard, 1, householder_name="Ada Tern", householder_phone="01632 960111")
    yard.visit(job, MONDAY)
    address = reverse("round_sheet", args=[yard.crew.pk, MONDAY])

    text = signed_in(yard.installer()).get(address).text
    assert "Ada Tern" in text and 'href="tel:01632 960111"' in text

    stranger = yard.installer(crew=yard.office.crew())
    for name in ("round_sheet", "round_sheet_pdf", "load_list_pdf"):
        answer = signed_in(stranger).get(reverse(name, args=[yard.crew.pk, MONDAY]))
        assert answer.status_code == 404


def test_somebody_lent_for_one_visit_sees_that_visit_with_its_place_in_the_round(yard):
    yard.visit(a_home(yard, 1, householder_name="Ada Tern"), MONDAY, 8)
    own = yard.visit(a_home(yard, 2, householder_name="Bea Crake"), MONDAY, 13)
    lent = yard.installer(crew=yard.office.crew())
    VisitOperative.objects.create(visit=own, operative=lent.operative)

    told = api_for(lent).get(f"/api/v1/rounds/{yard.crew.pk}/{MONDAY}/").data

    assert [(stop["number"], stop["visit"]) for stop in told["stops"]] == [(2, own.pk)]
    assert "Ada Tern" not in str(told)


def test_who_is_away_is_named_as_away(yard):
    own = yard.visit(a_home(yard, 1), MONDAY, 8)
    here, away = yard.installer(), yard.installer()
    for person in (here, away):
        VisitOperative.objects.create(visit=own, operative=person.operative)
    record_absence(
        yard.office.company,
        by=yard.planner,
        operative=away.operative,
        starts_at=on(MONDAY, 0),
        ends_at=on(MONDAY + timedelta(days=1), 0),
    )

    (stop,) = round_sheet_for(yard.planner, yard.crew, MONDAY).stops

    assert f"{away.operative.name} (away)" in stop.operatives
    assert here.operative.name in stop.operatives


def test_the_round_takes_as_many_queries_for_many_visits_as_for_one(
    yard, django_assert_max_num_queries
):
    yard.visit(surveyed(yard, 1), MONDAY, 8, hours=1.0)
    for hour in (10, 12, 14):
        yard.visit(surveyed(yard, hour), MONDAY, hour, hours=1.0)
    with django_assert_max_num_queries(24):
        sheet = round_sheet_for(yard.planner, yard.crew, MONDAY)
    assert len(sheet.stops) == 4


def test_a_day_without_visits_is_said_to_be_one(yard):
    address = reverse("round_sheet", args=[yard.crew.pk, MONDAY + timedelta(days=2)])
    assert "No visit on this day." in signed_in(yard.planner).get(address).text
