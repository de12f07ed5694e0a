"""Moving and placing on the planning page, as its script asks for it: JSON in, sentences out."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.db.backends.postgresql.psycopg_any import DateTimeTZRange
from django.utils import timezone

from jobs.models import Absence, AgreedWindow, Visit
from jobs.planning.agreeing import tell_householder
from jobs.planning.booking import move_visit
from tests.factories import UserFactory
from tests.jobs.board_scene import a_board, a_crew, a_need, a_visit, at_clock, next_week
from tests.jobs.planner_scene import signed_in

pytestmark = pytest.mark.django_db


def local(moment) -> str:
    return f"{timezone.localtime(moment):%Y-%m-%dT%H:%M}"


def shown():
    return {"from": next_week().isoformat(), "days": 1}


def moves(office, visit, crew, moment, version=None, by=None):
    given = {
        "visit": visit.pk,
        "version": visit.version if version is None else version,
        "crew": crew.pk,
        "starts_at": local(moment),
    }
    return signed_in(by or office.planner).post("/planning/move/", given)


def places(office, need, crew, moment):
    given = {"need": need.pk, "crew": crew.pk, "starts_at": local(moment)}
    return signed_in(office.planner).post("/planning/place/", given)


def fit(office, crew, moment, **thing):
    asked = {"crew": crew.pk, "starts_at": local(moment), **shown(), **thing}
    return signed_in(office.planner).get("/planning/fit/", asked).json()


def test_a_visit_goes_to_another_crew_with_that_crews_van():
    office = a_board()
    wren, heron = a_crew(office, "Wren"), a_crew(office, "Heron")
    visit = a_visit(office, wren, "1 Loft Lane")

    answer = moves(office, visit, heron, at_clock(9.5)).json()

    visit.refresh_from_db()
    assert (visit.crew, visit.van, visit.during.lower) == (heron, heron.van, at_clock(9.5))
    assert answer["words"].startswith("1 Loft Lane is moved to Heron, ")
    assert answer["version"] == visit.version
    assert sorted(answer["crews"]) == sorted([wren.pk, heron.pk])


def test_a_van_chosen_for_the_visit_alone_stays_with_it():
    office = a_board()
    wren, heron = a_crew(office, "Wren"), a_crew(office, "Heron")
    visit = a_visit(office, wren, "1 Loft Lane")
    spare = office.van(name="Spare van")
    visit = move_visit(visit, by=office.planner, version=visit.version, van=spare)

    moves(office, visit, heron, at_clock(9))

    visit.refresh_from_db()
    assert visit.van == spare


def test_a_busy_crew_is_refused_with_where_it_is():
    office = a_board()
    wren, heron = a_crew(office, "Wren"), a_crew(office, "Heron")
    visit = a_visit(office, wren, "1 Loft Lane")
    a_visit(office, heron, "5 Busy Street", hour=9)

    answer = moves(office, visit, heron, at_clock(8))

    assert answer.status_code == 409
    assert "already booked on another visit" in answer.json()["message"]
    visit.refresh_from_db()
    assert visit.crew == wren


def test_who_was_faster_is_told_and_nothing_is_overwritten():
    office = a_board()
    wren, heron = a_crew(office, "Wren"), a_crew(office, "Heron")
    visit = a_visit(office, wren, "1 Loft Lane")
    other = UserFactory(company=office.company, first_name="Sam", last_name="Second")
    move_visit(visit, by=other, version=1, starts_at=at_clock(11))

    answer = moves(office, visit, heron, at_clock(9), version=1)

    assert answer.status_code == 412
    assert answer.json()["message"].startswith("Sam Second moved 1 Loft Lane from Wren, ")
    assert answer.json()["crews"] == [wren.pk]
    assert Visit.objects.get().during.lower == at_clock(11)


def test_a_promised_visit_that_moves_has_to_be_told_again():
    office = a_board()
    wren = a_crew(office, "Wren")
    visit = a_visit(office, wren, "1 Loft Lane")
    visit = tell_householder(visit, by=office.planner, version=visit.version)

    answer = moves(office, visit, wren, at_clock(10)).json()

    assert "tell them again" in answer["words"]


def test_what_has_passed_is_refused():
    office = a_board()
    wren = a_crew(office, "Wren")
    visit = a_visit(office, wren, "1 Loft Lane")

    answer = moves(office, visit, wren, timezone.now() - timedelta(days=1))

    assert answer.status_code == 400
    assert "has passed" in answer.json()["message"]


@pytest.mark.parametrize(
    "given",
    [
        pytest.param({}, id="nothing"),
        pytest.param(
            {"visit": "1", "crew": "1", "starts_at": "soon", "version": "1"}, id="no time"
        ),
        pytest.param({"visit": "1", "crew": "x", "version": "1"}, id="no crew"),
    ],
)
def test_a_move_that_cannot_be_read_says_so(given):
    answer = signed_in(a_board().planner).post("/planning/move/", given)

    assert answer.status_code == 400
    assert "could not be read" in answer.json()["message"]


def test_what_waits_is_booked_with_the_crews_van():
    office = a_board()
    crew = a_crew(office, "Wren")
    need = a_need(office, "7 Waiting Way")

    answer = places(office, need, crew, at_clock(9)).json()

    visit = Visit.objects.get(pk=answer["visit"])
    assert (visit.need, visit.crew, visit.van) == (need, crew, crew.van)
    assert visit.during.upper - visit.during.lower == timedelta(hours=3)
    need.refresh_from_db()
    assert need.state == "booked"


def test_each_day_of_longer_work_is_booked_in_turn():
    office = a_board()
    crew = a_crew(office, "Wren")
    need = a_need(office, "7 Waiting Way", part_hours=[6.0, 2.5])

    places(office, need, crew, at_clock(8))
    places(office, need, crew, at_clock(8, next_week() + timedelta(days=1)))

    lengths = [v.during.upper - v.during.lower for v in need.visits.order_by("part")]
    assert lengths == [timedelta(hours=6), timedelta(hours=2.5)]


def test_a_fit_says_what_the_database_would_refuse():
    office = a_board()
    wren, heron = a_crew(office, "Wren"), a_crew(office, "Heron")
    swift = a_crew(office, "Swift", "surveying")
    visit = a_visit(office, wren, "1 Loft Lane")
    a_visit(office, heron, "5 Busy Street", hour=9)

    assert fit(office, wren, at_clock(9), visit=visit.pk)["fit"] == "yes"
    busy = fit(office, heron, at_clock(10), visit=visit.pk)
    assert busy["fit"] == "no"
    assert "Heron with Van Heron is at 5 Busy Street" in " ".join(busy["why"])
    unskilled = fit(office, swift, at_clock(9), visit=visit.pk)
    assert "Nobody in Swift has the skill" in " ".join(unskilled["why"])


def test_a_fit_at_a_price_names_the_price():
    office = a_board()
    crew = a_crew(office, "Wren", day_ends_at="16:00")
    need = a_need(office, "7 Waiting Way", due_on=next_week() - timedelta(days=1))
    AgreedWindow.objects.create(need=need, during=DateTimeTZRange(at_clock(8), at_clock(10)))

    dear = fit(office, crew, at_clock(14), need=need.pk)

    assert dear["fit"] == "dear"
    words = " ".join(dear["why"])
    assert "It was due on" in words
    assert "agreed to another time" in words
    assert "longer than its day" in words


def test_the_engine_warns_of_a_start_before_the_crew_can_be_there():
    office = a_board()
    crew = a_crew(office, "Wren", day_starts_at="08:00")
    far = {"latitude_deg": 53.2, "longitude_deg": -1.13}
    visit = a_visit(office, crew, "9 Far Road", hour=11, hours=2, job={"place": far})

    early = fit(office, crew, at_clock(8), visit=visit.pk)

    assert early["fit"] == "dear"
    assert "can start there at" in " ".join(early["why"])


def test_places_are_given_for_every_crew_and_day():
    office = a_board()
    wren, heron = a_crew(office, "Wren"), a_crew(office, "Heron")
    swift = a_crew(office, "Swift", "surveying")
    visit = a_visit(office, wren, "1 Loft Lane")
    a_visit(office, heron, "5 Busy Street", hours=8)

    asked = {"visit": visit.pk, **shown()}
    found = signed_in(office.planner).get("/planning/places/", asked).json()["places"]

    by_crew = {place["crew"]: place for place in found}
    assert by_crew[wren.pk]["fit"] == "yes"
    assert re.match(r"No gap is long enough: \d+ min short", by_crew[heron.pk]["words"])
    assert "Nobody in Swift can do it: " in by_crew[swift.pk]["words"]


def test_a_crew_that_is_away_is_no_place():
    office = a_board()
    crew = a_crew(office, "Wren")
    Absence.objects.create(
        company=office.company,
        crew=crew,
        during=DateTimeTZRange(at_clock(0), at_clock(23)),
        reason="ill",
    )
    need = a_need(office, "7 Waiting Way")

    asked = {"need": need.pk, **shown()}
    (place,) = signed_in(office.planner).get("/planning/places/", asked).json()["places"]

    assert (place["fit"], place["words"]) == ("no", "Wren is away: ill.")


def test_an_agreed_time_decides_where_a_place_begins():
    office = a_board()
    a_crew(office, "Wren")
    need = a_need(office, "7 Waiting Way")
    AgreedWindow.objects.create(need=need, during=DateTimeTZRange(at_clock(12), at_clock(13)))

    asked = {"need": need.pk, **shown()}
    (place,) = signed_in(office.planner).get("/planning/places/", asked).json()["places"]

    assert place["starts_at"] == "12:00"


def test_the_sheet_tells_reasons_prices_and_other_places():
    office = a_board()
    wren, heron = a_crew(office, "Wren"), a_crew(office, "Heron")
    visit = a_visit(office, wren, "1 Loft Lane")

    sheet = signed_in(office.planner).get(f"/planning/visits/{visit.pk}/", shown()).content.decode()

    assert "booked by hand" in sheet
    assert "Best elsewhere: Heron" in sheet
    assert heron.name in sheet


@pytest.mark.parametrize("mark", ["held", "promised"])
def test_a_visit_is_marked_from_its_sheet(mark):
    office = a_board()
    visit = a_visit(office, a_crew(office, "Wren"), "1 Loft Lane")

    answer = signed_in(office.planner).post(
        f"/planning/visits/{visit.pk}/mark/",
        {"mark": mark, "version": visit.version},
        headers={"HX-Request": "true"},
    )

    visit.refresh_from_db()
    assert answer.status_code == 200
    assert (visit.held, visit.promised_at is not None) == (mark == "held", mark == "promised")


def test_a_mark_on_a_visit_that_was_changed_is_refused():
    office = a_board()
    visit = a_visit(office, a_crew(office, "Wren"), "1 Loft Lane")

    answer = signed_in(office.planner).post(
        f"/planning/visits/{visit.pk}/mark/", {"mark": "held", "version": 99}
    )

    assert answer.status_code == 412
    visit.refresh_from_db()
    assert not visit.held


def test_another_companys_crews_visits_and_needs_are_not_found():
    office, other = a_board(), a_board()
    crew, foreign_crew = a_crew(office, "Wren"), a_crew(other, "Foreign")
    foreign_visit = a_visit(other, foreign_crew, "1 Foreign Street")
    foreign_need = a_need(other, "2 Foreign Street")
    visit = a_visit(office, crew, "1 Loft Lane")

    assert moves(office, foreign_visit, crew, at_clock(9)).status_code == 404
    assert places(office, foreign_need, crew, at_clock(9)).status_code == 404
    assert moves(office, visit, foreign_crew, at_clock(9)).status_code == 400
    foreign_visit.refresh_from_db()
    assert foreign_visit.crew == foreign_crew
