"""The planning page as a planner finds it: crews against days, what waits, the map, the news."""

from __future__ import annotations

import json
import re
from datetime import timedelta

import pytest
from django.db.backends.postgresql.psycopg_any import DateTimeTZRange
from django.utils import timezone

from jobs.models import Absence, Visit
from jobs.planning.agreeing import hold, tell_householder
from jobs.planning.booking import cancel_visit, move_visit
from tests.factories import LayerPlanFactory, UserFactory
from tests.jobs.board_scene import a_board, a_crew, a_job, a_need, a_visit, at_clock, next_week
from tests.jobs.planner_scene import signed_in

pytestmark = pytest.mark.django_db


def board_page(office, **asked):
    query = {"from": next_week().isoformat(), "days": 1} | asked
    return signed_in(office.planner).get("/planning/", query)


def text_of(answer) -> str:
    """What is read on the page, without its tags, in single spaces."""
    plain = re.sub(r"<[^>]+>", " ", answer.content.decode())
    return re.sub(r"\s+", " ", plain)


def test_a_visit_lies_at_its_time_and_is_as_long_as_it_lasts():
    office = a_board()
    visit = a_visit(office, a_crew(office, "Wren"), "1 Loft Lane", hour=8.5, hours=3.25)

    page = board_page(office).content.decode()

    # 08:30 is step 102 of five minutes, 3.25 h are 39 of them
    assert re.search(rf'f102 l39[^>]*"><a id="visit-{visit.pk}"', page)


def test_every_block_leads_to_the_visit_where_it_can_be_moved_without_a_script():
    office = a_board()
    visit = a_visit(office, a_crew(office, "Wren"), "1 Loft Lane")

    page = board_page(office).content.decode()

    assert f'href="/visits/{visit.pk}/"' in page
    assert b"Move it" in signed_in(office.planner).get(f"/visits/{visit.pk}/").content


def test_the_drive_between_two_visits_is_shown_and_one_too_tight_says_so():
    office = a_board()
    crew = a_crew(office, "Wren")
    a_visit(office, crew, "1 Loft Lane", hour=8, hours=2)
    a_visit(
        office,
        crew,
        "9 Far Road",
        hour=10.25,
        hours=2,
        job={"place": {"latitude_deg": 52.95, "longitude_deg": -1.20}},
    )

    words = text_of(board_page(office))

    assert re.search(r"Drive of \d+ min , \d+ min too tight", words)


def test_what_is_promised_held_and_late_says_so_in_a_word():
    office = a_board()
    crew = a_crew(office, "Wren")
    visit = a_visit(office, crew, "1 Loft Lane", job={"due_on": next_week() - timedelta(days=3)})
    visit = hold(visit, True, by=office.planner, version=visit.version)
    tell_householder(visit, by=office.planner, version=visit.version)

    words = text_of(board_page(office))

    assert re.search(r"1 Loft Lane LE1 late held promised", words)


def test_hours_and_van_volume_of_a_day_are_told():
    office = a_board()
    crew = a_crew(office, "Wren", day_starts_at="08:00", day_ends_at="16:00")
    visit = a_visit(office, crew, "1 Loft Lane", hours=4)
    LayerPlanFactory(
        job=visit.job,
        packed_volume_m3=12.5,
        quantities={"rolls": [{"roll": "own", "count": 10}]},
    )

    words = text_of(board_page(office))

    assert "4 of 8 h" in words
    assert "12.5 of 11 m³, 2 loads" in words


def test_an_absence_and_a_holiday_are_shown():
    office = a_board()
    crew = a_crew(office, "Wren")
    Absence.objects.create(
        company=office.company,
        crew=crew,
        during=DateTimeTZRange(at_clock(6), at_clock(20)),
        reason="ill",
    )

    assert "Ill" in text_of(board_page(office))
    assert "Christmas Day" in text_of(board_page(office, **{"from": "2026-12-25"}))


def test_a_break_without_room_is_told():
    office = a_board()
    a_visit(office, a_crew(office, "Wren"), "1 Loft Lane", hour=8, hours=7)

    assert "no room for the break" in text_of(board_page(office))


def test_one_five_or_ten_working_days_are_shown():
    office = a_board()
    a_crew(office, "Wren")

    for count in (1, 5, 10):
        page = board_page(office, days=count)
        assert len(page.context["board"].days) == count
        assert all(day.weekday() < 5 for day in page.context["board"].days)


@pytest.mark.parametrize("asked", [{"from": "soon"}, {"days": "7"}, {"from": "", "days": "-1"}])
def test_days_that_cannot_be_become_the_usual_ones(asked):
    office = a_board()
    a_crew(office, "Wren")

    page = signed_in(office.planner).get("/planning/", asked)

    assert page.status_code == 200
    assert page.context["board"].count == 5


def test_what_waits_is_listed_with_what_it_asks_for():
    office = a_board()
    a_crew(office, "Wren")
    a_need(office, "7 Waiting Way", due_on=timezone.localdate() - timedelta(days=1), priority=5)

    words = text_of(board_page(office))

    assert "To be planned 1" in words
    assert re.search(r"7 Waiting Way .* Fitting visit, 3:00 h .*late .*priority 5", words)


@pytest.mark.parametrize(
    ("narrowed", "shown"),
    [
        ({"need-kind": "survey"}, []),
        ({"need-kind": "fitting"}, ["1 Easy Street", "2 Deck Drive"]),
        ({"need-priority": "4"}, ["2 Deck Drive"]),
        ({"need-skill": "raised_deck"}, ["2 Deck Drive"]),
        ({"need-due": "late"}, ["1 Easy Street"]),
        ({"need-due": "none"}, ["2 Deck Drive"]),
    ],
)
def test_what_waits_is_narrowed(narrowed, shown):
    office = a_board()
    a_need(office, "1 Easy Street", due_on=timezone.localdate() - timedelta(days=1), priority=2)
    a_need(office, "2 Deck Drive", priority=5, skills=["raised_deck"])

    page = signed_in(office.planner).get("/planning/needs/", narrowed).content.decode()

    for home in ("1 Easy Street", "2 Deck Drive"):
        assert (home in page) == (home in shown)


def test_why_something_waits_names_a_free_place_or_what_keeps_it_out():
    office = a_board()
    a_crew(office, "Wren")
    client = signed_in(office.planner)
    asked = {"from": next_week().isoformat(), "days": 1}
    free = a_need(office, "1 Easy Street")
    special = a_need(office, "2 Deck Drive", skills=["raised_deck"])
    long = a_need(office, "3 Long Lane", part_hours=[9.0])

    def why(need):
        return text_of(client.get(f"/planning/needs/{need.pk}/why/", asked))

    assert "there is room: Wren" in why(free)
    assert re.search(r"No crew .* “Working with a raised deck”\. What would help: ", why(special))
    assert "What would help: " in why(long)


def test_the_map_tells_the_round_in_words_too():
    office = a_board()
    crew = a_crew(office, "Wren")
    a_visit(office, crew, "2 Second Street", hour=13, hours=2)
    a_visit(office, crew, "1 First Street", hour=8, hours=2)

    page = board_page(office)

    assert "<svg viewBox" in page.content.decode()
    assert re.search(r"08:00 1 First Street.*13:00 2 Second Street", text_of(page))


def test_a_crews_row_is_drawn_by_itself():
    office = a_board()
    crew = a_crew(office, "Wren")
    a_visit(office, crew, "1 Loft Lane")
    asked = {"from": next_week().isoformat(), "days": 1}

    row = signed_in(office.planner).get(f"/planning/crews/{crew.pk}/", asked).content.decode()

    assert f'<tbody class="crew" id="crew-{crew.pk}"' in row
    assert "1 Loft Lane" in row
    assert "<html" not in row


def test_many_crews_are_drawn_as_they_come_into_sight():
    office = a_board()
    crews = [a_crew(office, f"Crew {n:02d}") for n in range(12)]
    a_visit(office, crews[0], "1 First Street")
    a_visit(office, crews[-1], "2 Last Street")

    page = board_page(office, days=5).content.decode()

    assert 'data-place="1 First Street"' in page
    assert 'data-place="2 Last Street"' not in page
    assert page.count("intersect once") == 2


def test_the_page_takes_the_same_queries_however_much_is_booked(django_assert_num_queries):
    office = a_board()
    client = signed_in(office.planner)
    asked = {"from": next_week().isoformat(), "days": 10}

    def fill(crews, homes):
        for nth in range(crews):
            crew = a_crew(office, f"{crews} crews, {nth}")
            for hour in range(homes):
                a_visit(office, crew, f"{nth} {hour} Street", hour=8 + 2 * hour, hours=1)
            a_need(office, f"{nth} Waiting Way of {crews}")

    fill(1, 1)
    client.get("/planning/", asked)  # what is asked once a process is asked
    with CountQueries() as few:
        client.get("/planning/", asked)
    fill(4, 4)
    with django_assert_num_queries(few.count):
        client.get("/planning/", asked)
    assert few.count <= 20


class CountQueries:
    """How many queries were made."""

    def __enter__(self):
        from django.db import connection
        from django.test.utils import CaptureQueriesContext

        self.captured = CaptureQueriesContext(connection).__enter__()
        return self

    def __exit__(self, *why):
        self.captured.__exit__(*why)
        self.count = len(self.captured)


# --- What others change


def stamps(page):
    """What the browser sends with its question for news."""
    shown = page.content.decode()
    return {
        "from": next_week().isoformat(),
        "days": 1,
        "stamp": re.findall(r'name="stamp" value="([^"]+)"', shown),
        "need_stamp": re.search(r'name="need_stamp" value="([^"]+)"', shown)[1],
    }


def test_no_news_is_an_empty_answer():
    office = a_board()
    a_visit(office, a_crew(office, "Wren"), "1 Loft Lane")
    seen = stamps(board_page(office))

    assert signed_in(office.planner).get("/planning/news/", seen).status_code == 204


def test_a_move_by_another_planner_is_told_with_the_rows_to_draw_again():
    office = a_board()
    wren, heron = a_crew(office, "Wren"), a_crew(office, "Heron")
    visit = a_visit(office, wren, "1 Loft Lane")
    seen = stamps(board_page(office))
    other = UserFactory(company=office.company, first_name="Sam", last_name="Second")

    move_visit(visit, by=other, version=1, crew=heron, van=heron.van)
    answer = signed_in(office.planner).get("/planning/news/", seen)

    told = json.loads(answer.headers["HX-Trigger"])["planning:changed"]
    assert sorted(told["crews"]) == sorted([wren.pk, heron.pk])
    (news,) = told["news"]
    assert news["visit"] == visit.pk
    assert news["words"].startswith("Sam Second moved 1 Loft Lane from Wren, ")


@pytest.mark.parametrize("what", ["cancelled", "held", "absence", "need"])
def test_every_change_that_shows_is_news(what):
    office = a_board()
    crew = a_crew(office, "Wren")
    visit = a_visit(office, crew, "1 Loft Lane")
    seen = stamps(board_page(office))

    if what == "cancelled":
        cancel_visit(visit, "householder ill", office.planner)
    elif what == "held":
        hold(visit, True, by=office.planner, version=visit.version)
    elif what == "absence":
        Absence.objects.create(
            company=office.company,
            crew=crew,
            during=DateTimeTZRange(at_clock(8), at_clock(12)),
        )
    else:
        a_need(office, "7 Waiting Way")

    assert signed_in(office.planner).get("/planning/news/", seen).status_code == 200


def test_ones_own_change_is_not_told_as_news():
    office = a_board()
    visit = a_visit(office, a_crew(office, "Wren"), "1 Loft Lane")
    seen = stamps(board_page(office))

    move_visit(visit, by=office.planner, version=1, starts_at=at_clock(10))
    answer = signed_in(office.planner).get("/planning/news/", seen)

    assert json.loads(answer.headers["HX-Trigger"])["planning:changed"]["news"] == []


# --- Whose page it is


@pytest.mark.parametrize("role", ["surveyor", "installer", "compliance_officer", "auditor"])
def test_the_planning_page_is_the_planners(role):
    office = a_board()
    person = UserFactory(role=role) if role == "auditor" else office.person(role)

    assert signed_in(person).get("/planning/").status_code == 404


def test_another_companys_crews_and_visits_are_not_on_it():
    office, other = a_board(), a_board()
    a_visit(other, a_crew(other, "Foreign"), "1 Foreign Street")
    a_job(other, "2 Foreign Street")
    a_crew(office, "Wren")

    page = board_page(office).content.decode()

    assert "Wren" in page
    assert "Foreign" not in page
    assert Visit.objects.count() == 1
