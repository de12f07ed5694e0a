"""The desk, the week and the header: what a planner sees first."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.utils import timezone

from jobs.models import Job, Property, Stage
from jobs.planning.week import monday_of
from tests.factories import UserFactory, VisitFactory
from tests.jobs.intake_files import line, looked_through, taken_in
from tests.jobs.planner_scene import an_office, signed_in, values

pytestmark = pytest.mark.django_db


def today_at(hour: int):
    return timezone.localtime().replace(hour=hour, minute=0, second=0, microsecond=0)


def test_the_root_leads_a_planner_to_the_desk():
    office = an_office()

    answer = signed_in(office.planner).get("/")

    assert answer.headers["Location"] == "/desk/"


def test_the_root_asks_a_stranger_to_sign_in(client):
    assert client.get("/").headers["Location"].startswith("/account/sign-in/")


def test_the_desk_says_what_needs_a_hand():
    office = an_office()
    office.job(Stage.TO_PLAN, due_on=date(2020, 1, 1))
    office.booked(starts_at=today_at(9) - timedelta(days=7))
    looked_through(office, line(1))

    page = signed_in(office.planner).get("/desk/").content.decode()

    assert "job is past its due date" in page
    assert "visit was never begun" in page
    assert "job waits for a fitting visit" in page
    assert "spreadsheet is looked through" in page


def test_a_loft_whose_layers_never_came_is_told_and_a_fresh_one_is_not():
    office = an_office()
    office.job(Stage.TO_QUANTIFY)
    left = office.job(Stage.TO_QUANTIFY)
    Job.objects.filter(pk=left.pk).update(stage_since=timezone.now() - timedelta(minutes=20))

    page = signed_in(office.planner).get("/desk/").content.decode()

    assert "surveyed loft has no layers worked out yet" in page


def test_an_idle_desk_is_calm():
    page = signed_in(an_office().planner).get("/desk/").content.decode()

    assert "Nothing needs a hand today." in page


def test_rows_to_mend_and_unconfirmed_homes_are_told():
    office = an_office()
    taken_in(office, line(1), line(2, postcode="LE1"))
    home = values(reference="B", postcode="CH7 1AA", nation="wales").of_property()
    Property.objects.create(company=office.company, **home)

    page = signed_in(office.planner).get("/desk/").content.decode()

    assert "row of the last spreadsheet has to be mended" in page
    assert "home near a border has a nation nobody confirmed" in page


def test_the_desk_shows_todays_visits_and_no_one_elses():
    office = an_office()
    mine = office.booked(starts_at=today_at(9))
    foreign = VisitFactory(during=mine.during)

    page = signed_in(office.planner).get("/desk/").content.decode()

    assert mine.job.property.address_line_1 + "<" in page
    assert foreign.job.property.address_line_1 + "<" not in page


def test_a_week_shows_each_crew_with_its_days():
    office = an_office()
    visit = office.booked()
    monday = monday_of(timezone.localtime(visit.during.lower).date())

    page = signed_in(office.planner).get(f"/week/{monday}/").content.decode()

    assert visit.crew.name in page
    assert "08:00–12:00" in page
    assert f"/visits/{visit.pk}/" in page


def test_a_week_with_a_booked_sunday_shows_it():
    office = an_office()
    visit = office.booked(
        starts_at=today_at(9) + timedelta(days=13 - timezone.localdate().weekday())
    )
    sunday = timezone.localtime(visit.during.lower).date()

    page = signed_in(office.planner).get(f"/week/{sunday}/").content.decode()

    assert f"{sunday:%a} {sunday.day}" in page


def test_htmx_gets_the_table_alone():
    client = signed_in(an_office().planner)

    answer = client.get("/week/2026-11-30/", headers={"HX-Request": "true"}).content.decode()

    assert "<table" in answer
    assert "<html" not in answer


@pytest.mark.parametrize("day", ["2026-13-01", "2026-02-30", "tomorrow"])
def test_a_day_that_is_none_is_not_found(day):
    assert signed_in(an_office().planner).get(f"/week/{day}/").status_code == 404


def test_the_desk_takes_few_queries_however_much_there_is(django_assert_max_num_queries):
    office = an_office()
    for hour in range(8, 16, 4):
        for _ in range(3):
            office.booked(starts_at=today_at(hour))
    client = signed_in(office.planner)

    with django_assert_max_num_queries(29):
        assert client.get("/desk/").status_code == 200


@pytest.mark.parametrize("role", ["installer", "surveyor", "compliance_officer"])
def test_the_desk_is_the_planners(role):
    assert signed_in(an_office().person(role)).get("/desk/").status_code == 404


def test_the_header_marks_where_one_is():
    page = signed_in(an_office().planner).get("/jobs/")

    current = [link for link in page.context["navigation"] if link.current]
    assert [link.url for link in current] == ["/jobs/"]


def test_a_platform_admin_has_a_first_page():
    admin = UserFactory(role="platform_admin")

    assert signed_in(admin).get("/", follow=True).status_code == 200
