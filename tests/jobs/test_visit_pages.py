"""Booking, moving, cancelling and listing visits by page."""

from __future__ import annotations

import re
from datetime import datetime, time, timedelta

import pytest
from django.utils import timezone

from jobs.models import Stage, Visit
from jobs.planning.booking import cancel_visit
from tests.factories import CrewFactory, JobFactory, LayerPlanFactory, VisitFactory
from tests.jobs.planner_scene import an_office, signed_in

pytestmark = pytest.mark.django_db
DAY = timezone.localdate() + timedelta(days=7)


def at_clock(hour):
    """On DAY, also if the run began before midnight."""
    return datetime.combine(DAY, time(), timezone.get_current_timezone()) + timedelta(hours=hour)


def typed(booked_crew, **given):
    return {
        "kind": "fitting",
        "crew": booked_crew.pk,
        "van": "usual",
        "day": DAY.isoformat(),
        "time": "08:00",
        "hours": "4",
        "note": "ring before",
    } | given


def test_a_visit_is_booked_with_the_crews_usual_van():
    office = an_office()
    job, crew = office.job(Stage.TO_PLAN), office.crew(van=office.van())

    answer = signed_in(office.planner).post(f"/jobs/{job.pk}/book/", typed(crew))

    assert answer.headers["Location"] == f"/jobs/{job.pk}/"
    visit = Visit.objects.get()
    assert (visit.van, visit.note, visit.booked_by) == (crew.van, "ring before", office.planner)
    assert timezone.localtime(visit.during.lower).hour == 8


def test_the_length_is_proposed_from_the_layer_plan():
    office = an_office()
    job = office.job(Stage.TO_PLAN)
    LayerPlanFactory(job=job, crew_hours=5.5)

    page = signed_in(office.planner).get(f"/jobs/{job.pk}/book/")

    assert page.context["form"]["hours"].value() == "5:30"
    assert "reckons with 5:30 h" in page.content.decode()


def test_a_busy_crew_is_told_with_where_it_is_and_nothing_typed_is_lost():
    office = an_office()
    crew = office.crew()
    first = office.booked(crew=crew, starts_at=at_clock(8))
    job = office.job(Stage.TO_PLAN)

    answer = signed_in(office.planner).post(f"/jobs/{job.pk}/book/", typed(crew, time="09:30"))

    page = answer.content.decode()
    assert "This crew is already booked on another visit at that time." in page
    assert f"{crew} is at {first.job.property.address_line_1}" in page
    for kept in ("ring before", 'value="09:30"', DAY.isoformat()):
        assert kept in page
    assert Visit.objects.count() == 1


@pytest.mark.parametrize(
    ("given", "field", "said"),
    [
        ({"day": "2020-01-01"}, "time", "has passed"),
        ({"day": "someday"}, "day", "valid date"),
        ({"time": "25:00"}, "time", "valid time"),
        ({"hours": "0:14"}, "hours", "At least 0:15"),
        ({"hours": "14:01"}, "hours", "At most 14:00"),
        ({"hours": "2:60"}, "hours", "no length of time"),
        ({"crew": ""}, "crew", "Choose one."),
        ({"van": "999999"}, "van", "valid choice"),
        ({"kind": "survey"}, "crew", "has the skill"),
        ({"kind": "call_back"}, "kind", "valid choice"),
    ],
)
def test_a_wrong_answer_is_told_at_its_field(given, field, said):
    office = an_office()
    job, crew = office.job(Stage.TO_PLAN), office.crew()

    answer = signed_in(office.planner).post(f"/jobs/{job.pk}/book/", typed(crew, **given))

    assert said in " ".join(answer.context["form"].errors[field])
    assert not Visit.objects.exists()


def test_crews_of_others_cannot_be_chosen():
    office = an_office()
    job = office.job(Stage.TO_PLAN)

    answer = signed_in(office.planner).post(f"/jobs/{job.pk}/book/", typed(CrewFactory()))

    assert "crew" in answer.context["form"].errors


def test_a_job_that_needs_no_visit_says_so():
    office = an_office()
    job = office.job(Stage.CERTIFIED)
    client = signed_in(office.planner)

    assert "No visit can be booked" in client.get(f"/jobs/{job.pk}/book/").content.decode()
    assert client.post(f"/jobs/{job.pk}/book/", typed(office.crew())).status_code == 200
    assert not Visit.objects.exists()


def test_where_every_crew_is_on_a_day_stands_beside_the_form():
    office = an_office()
    visit = office.booked(starts_at=at_clock(8))
    VisitFactory(during=visit.during, crew__name="Not ours")
    client = signed_in(office.planner)

    page = client.get("/visits/crews/", {"day": DAY.isoformat()}).content.decode()

    assert visit.job.property.address_line_1 in page
    assert "Not ours" not in page
    assert client.get("/visits/crews/", {"day": "rubbish"}).status_code == 200


def moved(visit, **given):
    return typed(visit.crew, van="", version=visit.version, time="10:00") | given


def test_a_visit_is_moved():
    office = an_office()
    visit = office.booked(starts_at=at_clock(8))
    client = signed_in(office.planner)

    assert client.get(f"/visits/{visit.pk}/").context["form"]["hours"].value() == "4:00"
    client.post(f"/visits/{visit.pk}/", moved(visit))

    visit.refresh_from_db()
    assert (timezone.localtime(visit.during.lower).hour, visit.version) == (10, 2)


@pytest.mark.parametrize("hours", [50 / 60, 1.2345, 4.0])
def test_a_visit_that_is_only_moved_keeps_its_length_to_the_second(hours):
    office = an_office()
    visit = office.booked(starts_at=at_clock(8), hours=hours)
    client = signed_in(office.planner)
    shown = client.get(f"/visits/{visit.pk}/").context["form"]["hours"].value()
    lasted = visit.during.upper - visit.during.lower

    client.post(f"/visits/{visit.pk}/", moved(visit, hours=shown))

    visit.refresh_from_db()
    assert re.fullmatch(r"[0-9]+:[0-9]{2}", shown)
    assert (visit.version, visit.during.upper - visit.during.lower) == (2, lasted)


@pytest.mark.parametrize(
    ("typed_as", "minutes"),
    [("0:50", 50), ("2:05", 125), ("2.5", 150), ("90 min", 90), ("1 h 20 min", 80), ("3 h", 180)],
)
def test_a_length_is_read_as_people_write_it(typed_as, minutes):
    office = an_office()
    visit = office.booked(starts_at=at_clock(8))

    signed_in(office.planner).post(f"/visits/{visit.pk}/", moved(visit, hours=typed_as))

    visit.refresh_from_db()
    assert visit.during.upper - visit.during.lower == timedelta(minutes=minutes)


def test_a_late_move_is_refused_and_changes_nothing():
    office = an_office()
    visit = office.booked(starts_at=at_clock(8))
    client = signed_in(office.planner)
    client.post(f"/visits/{visit.pk}/", moved(visit))

    answer = client.post(f"/visits/{visit.pk}/", moved(visit, time="13:00"))

    assert "changed by someone else" in answer.content.decode()
    visit.refresh_from_db()
    assert timezone.localtime(visit.during.lower).hour == 10


def test_a_move_onto_another_visit_says_which():
    office = an_office()
    first = office.booked(starts_at=at_clock(8))
    second = office.booked(crew=first.crew, starts_at=at_clock(13))

    answer = signed_in(office.planner).post(f"/visits/{second.pk}/", moved(second, time="09:00"))

    page = answer.content.decode()
    assert "This crew is already booked" in page
    assert first.job.property.address_line_1 in page


def test_a_visit_is_cancelled_with_a_reason():
    office = an_office()
    visit = office.booked(starts_at=at_clock(8))
    client, url = signed_in(office.planner), f"/visits/{visit.pk}/cancel/"

    assert "Say why" in client.post(url, {"reason": ""}, follow=True).content.decode()
    client.post(url, {"reason": "householder ill"})

    visit.refresh_from_db()
    assert (visit.status, visit.stop_reason) == ("cancelled", "householder ill")
    assert client.get(url).status_code == 405


def test_a_cancelled_visit_is_still_read_but_not_moved():
    office = an_office()
    visit = office.booked(starts_at=at_clock(8))
    cancel_visit(visit, "rain", office.planner)

    page = signed_in(office.planner).get(f"/visits/{visit.pk}/")

    assert page.context["form"] is None
    assert "rain" in page.content.decode()


def test_a_surveyor_reads_a_visit_and_moves_nothing():
    office = an_office()
    visit = office.booked(starts_at=at_clock(8))
    client = signed_in(office.person("surveyor"))

    assert client.get(f"/visits/{visit.pk}/").context["form"] is None
    client.post(f"/visits/{visit.pk}/", moved(visit))
    assert client.post(f"/visits/{visit.pk}/cancel/", {"reason": "x"}).status_code == 404

    visit.refresh_from_db()
    assert (visit.version, visit.status) == (1, "booked")


def test_visits_and_jobs_of_others_are_not_found():
    office, foreign = an_office(), VisitFactory()
    client = signed_in(office.planner)

    assert client.get(f"/visits/{foreign.pk}/").status_code == 404
    assert client.post(f"/visits/{foreign.pk}/cancel/", {"reason": "x"}).status_code == 404
    assert client.get(f"/jobs/{JobFactory().pk}/book/").status_code == 404
    assert list(client.get("/visits/").context["page"]) == []


@pytest.mark.parametrize(
    ("asked", "expected"),
    [
        ({}, {"coming"}),
        ({"show": "overdue"}, {"overdue"}),
        ({"show": "past"}, {"overdue"}),
        ({"show": "cancelled"}, {"cancelled"}),
        ({"kind": "survey"}, set()),
        ({"day": DAY.isoformat()}, {"coming"}),
        ({"show": "nonsense", "day": "nonsense", "crew": "x"}, {"coming"}),
    ],
)
def test_the_list_is_narrowed(asked, expected):
    office = an_office()
    for name, start in (
        ("coming", at_clock(8)),
        ("overdue", at_clock(8) - timedelta(days=30)),
        ("cancelled", at_clock(14)),
    ):
        visit = office.booked(office.job(Stage.TO_PLAN, property__reference=name), starts_at=start)
        if name == "cancelled":
            cancel_visit(visit, "asked for in a test", office.planner)

    page = signed_in(office.planner).get("/visits/", asked).context["page"]

    assert {visit.job.property.reference for visit in page} == expected


def test_the_list_takes_few_queries(django_assert_max_num_queries):
    office = an_office()
    crew = office.crew()
    for number in range(3):
        office.booked(crew=crew, starts_at=at_clock(8 + 4 * number))
    client = signed_in(office.planner)

    with django_assert_max_num_queries(12):
        assert len(client.get("/visits/").context["page"]) == 3


def test_visits_are_not_for_installers_here():
    assert signed_in(an_office().person("installer")).get("/visits/").status_code == 404
