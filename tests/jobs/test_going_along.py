"""Who goes along with a visit stays with it when it moves; who cannot is told of by name before."""

from __future__ import annotations

import re
from datetime import date, time, timedelta

import pytest

from jobs.errors import Conflict, Refused
from jobs.models import Absence, Operative, Skill, Visit
from jobs.planning.absences import record_absence
from jobs.planning.answering import accept
from jobs.planning.booking import move_visit
from jobs.planning.calendars import at, holiday_on, midnight, works_on
from jobs.planning.disturbance import Disturbance
from jobs.planning.going_along import LeftBehind
from jobs.planning.lending import free_operatives, lend
from tests.factories import OperativeFactory
from tests.jobs.plan_scene import based_crew, booked, line_for, ready_run
from tests.jobs.planner_scene import api_for, signed_in
from tests.jobs.test_planning_page import text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def plover(office):
    return based_crew(office, name="Plover")


@pytest.fixture
def ana(plover) -> Operative:
    person = plover.operatives.first()
    person.name = "Ana Reed"
    person.save()
    return person


@pytest.fixture
def joined(office, crew, day, ana) -> Visit:
    """A visit from 9, with Ana of another crew."""
    visit = booked(office, crew, day, 9)
    return lend(visit, ana, by=office.planner, version=visit.version)


def away_all_day(office, day: date, **who) -> None:
    record_absence(
        office.company,
        by=office.planner,
        starts_at=midnight(day),
        ends_at=midnight(day) + timedelta(days=1),
        reason=Absence.Reason.ILL,
        **who,
    )


def on_it(visit: Visit) -> set[str]:
    return set(visit.visit_operatives.values_list("operative__name", flat=True))


def crew_is_away(office, day, plover):
    away_all_day(office, day, crew=plover)


def crew_is_off(office, day, plover):
    plover.works_on = [each for each in range(1, 8) if each != day.isoweekday()]
    plover.save()


def is_elsewhere(office, day, plover):
    booked(office, plover, day, 9)


KEPT = [
    (crew_is_away, "is away then with all of Plover"),
    (crew_is_off, "does not work on"),
    (is_elsewhere, "then. Choose somebody who is free then"),
]


@pytest.mark.parametrize(("keep", "why"), KEPT)
def test_who_is_not_offered_is_refused_over_the_api_as_well(
    office, crew, day, plover, ana, keep, why
):
    visit = booked(office, crew, day, 9)
    without_crew = OperativeFactory(company=office.company, crew=None, skills=["insulation"])
    keep(office, day, plover)

    assert free_operatives(visit) == [without_crew]
    api = api_for(office.planner)
    answer = api.post(
        f"/api/v1/visits/{visit.pk}/send-along/",
        {"operative": ana.pk},
        headers={"If-Match": api.get(f"/api/v1/visits/{visit.pk}/").headers["ETag"]},
    )

    assert answer.status_code == 409
    assert answer.json()["detail"].startswith("Ana Reed (Plover) ")
    assert why in answer.json()["detail"]
    with pytest.raises(Conflict, match=r"Ana Reed \(Plover\)"):
        lend(visit, ana, by=office.planner, version=visit.version)
    lend(visit, without_crew, by=office.planner, version=visit.version)  # of no crew: at work


def test_a_bank_holiday_is_named(office, crew, plover, ana):
    """Of the crew's nation: 2 January is one in Scotland alone [holidays library]."""
    plover.nation = "scotland"
    plover.save()
    days = (date(year, 1, 2) for year in range(2027, 2040))
    second = next(d for d in days if works_on(crew, d) and holiday_on(d, "scotland"))
    visit = booked(office, crew, second, 9)
    with pytest.raises(Conflict, match=r"does not work on 2 Jan \(.+\)"):
        lend(visit, ana, by=office.planner, version=visit.version)


def test_who_is_free_at_the_new_time_stays_with_the_visit(office, joined, ana, day):
    moved = move_visit(
        joined, by=office.planner, version=joined.version, starts_at=at(day, time(12))
    )
    row = moved.visit_operatives.get(operative=ana)
    assert row.during == moved.during


def test_who_goes_along_stays_when_another_crew_has_the_visit(office, joined, ana):
    wren = based_crew(office, name="Wren")
    moved = move_visit(joined, by=office.planner, version=joined.version, crew=wren)
    assert on_it(moved) == {ana.name, *wren.operatives.values_list("name", flat=True)}


def test_a_visit_moves_without_somebody_only_when_the_mover_names_them(
    office, plover, joined, ana, day
):
    booked(office, plover, day, 14)
    given = {"by": office.planner, "version": joined.version, "starts_at": at(day, time(14))}
    with pytest.raises(LeftBehind, match=r"Ana Reed \(Plover\) is at .* and could not come along"):
        move_visit(joined, **given)
    assert ana.name in on_it(joined)

    moved = move_visit(joined, **given, may_leave_behind=[ana.pk])
    assert ana.name not in on_it(moved)


def test_the_skill_of_who_goes_along_counts_where_they_can_come(office, crew, day, joined, ana):
    crew.operatives.update(skills=[])
    ana.skills = [Skill.INSULATION]
    ana.save()
    moved = move_visit(
        joined, by=office.planner, version=joined.version, starts_at=at(day, time(12))
    )
    tomorrow = day + timedelta(days=1)
    away_all_day(office, tomorrow, operative=ana)
    with pytest.raises(Refused, match="has the skill"):
        move_visit(
            moved, by=office.planner, version=moved.version, starts_at=at(tomorrow, time(12))
        )


def test_the_visits_page_names_them_and_moves_without_them_when_that_is_ticked(
    office, plover, joined, ana, day
):
    booked(office, plover, day, 14)
    client, address = signed_in(office.planner), f"/visits/{joined.pk}/"
    asked = {"crew": joined.crew_id, "van": "usual", "day": day.isoformat(), "time": "14:00",
             "hours": "2", "version": joined.version}  # fmt: skip

    page = text_of(client.post(address, asked))
    assert "Ana Reed (Plover) is at" in page
    assert "could not come along. Tick to move it without them." in page
    assert ana.name in on_it(joined)

    done = client.post(address, {**asked, "may_leave_behind": [ana.pk]}, follow=True)
    assert "The visit is moved. Ana Reed (Plover) does not go along." in text_of(done)


def test_the_board_tells_it_while_the_visit_is_in_hand_and_asks_if_it_was_not_told(
    office, crew, plover, joined, ana, day
):
    booked(office, plover, day, 14)
    client, crew_id = signed_in(office.planner), joined.crew_id
    there = {"crew": crew_id, "starts_at": f"{day}T14:00", "visit": joined.pk}

    fit = client.get("/planning/fit/", there).json()
    assert (fit["fit"], fit["leaves"]) == ("dear", [ana.pk])
    assert fit["why"][0].startswith("Ana Reed (Plover) is at ")

    unseen = client.post("/planning/move/", {**there, "version": joined.version})
    assert (unseen.status_code, unseen.json()["leaves"]) == (409, [ana.pk])
    seen = {**there, "version": joined.version, "leaves": str(ana.pk)}
    words = client.post("/planning/move/", seen).json()["words"]
    assert words.endswith("Ana Reed (Plover) does not go along.")


def test_a_program_is_told_by_name_before_anything_moves(office, plover, joined, ana, day):
    booked(office, plover, day, 14)
    api, address = api_for(office.planner), f"/api/v1/visits/{joined.pk}/"
    given = {"starts_at": at(day, time(14)).isoformat()}
    tag = {"If-Match": api.get(address).headers["ETag"]}

    refused = api.patch(address, given, headers=tag)
    (left,) = refused.json()["left_behind"]
    assert (refused.status_code, left["operative"], left["name"]) == (409, ana.pk, "Ana Reed")

    moved = api.patch(address, {**given, "may_leave_behind": [ana.pk]}, headers=tag)
    assert moved.status_code == 200
    assert ana.pk not in moved.json()["operatives"]

    again = {"starts_at": at(day, time(9)).isoformat(), "bring_back": [ana.pk]}
    back = api.patch(address, again, headers={"If-Match": moved.headers["ETag"]})
    assert ana.pk in back.json()["operatives"]


@pytest.mark.parametrize("own", ["booked", "planned"])
def test_a_plan_tells_who_could_not_come_before_and_after_it_is_accepted(
    office, crew, plover, joined, ana, day, own
):
    """Their own crew is booked then, or the same plan sends it elsewhere then."""
    run, other = ready_run(office), booked(office, plover, day, 14 if own == "booked" else 18)
    line = line_for(run, joined, crew, at(day, time(14)))
    if own == "planned":
        line_for(run, other, plover, at(day, time(14)))
    client = signed_in(office.planner)

    page = f"/planning/runs/{run.pk}/"
    assert "Ana Reed (Plover) is" in text_of(client.get(page))
    run.wishes = {"disturbed": Disturbance(crew.pk, day, day).as_json()}
    run.save()
    assert "Ana Reed (Plover) is" in text_of(client.get(page))
    told = api_for(office.planner).get(f"/api/v1/proposed-visits/{line.pk}/").json()
    assert [each["operative"] for each in told["leaves_behind"]] == [ana.pk]

    answered = accept(run, office.planner)
    assert answered.refused == ()
    words = {done.visit_id: done.answer_words for done in answered.done}[joined.pk]
    assert words.startswith("Ana Reed (Plover) is at ")
    assert ana.name not in on_it(joined)


def test_a_plan_that_moves_both_takes_nobody_off(office, crew, plover, joined, ana, day):
    """Where their own visit makes room in the same plan, they go along as before."""
    run, other = ready_run(office), booked(office, plover, day, 14)
    line_for(run, joined, crew, at(day, time(14)))
    line_for(run, other, plover, at(day, time(9)))

    answered = accept(run, office.planner)

    assert (answered.refused, [line.answer_words for line in answered.done]) == ((), ["", ""])
    assert ana.name in on_it(joined)


def on_board(office, visit: Visit, day: date, hour: int, **given) -> dict:
    """A move on the board; what it answered."""
    there = {"visit": visit.pk, "version": visit.version, "starts_at": f"{day}T{hour:02}:00"}
    asked = {**there, "crew": visit.crew_id, **given}
    answer = signed_in(office.planner).post("/planning/move/", asked).json()
    visit.refresh_from_db()
    return answer


@pytest.mark.parametrize("only_ana", [False, True], ids=["", "who alone makes it possible"])
def test_a_move_taken_back_brings_back_who_was_left_behind(
    office, crew, plover, joined, ana, day, only_ana
):
    booked(office, plover, day, 14)
    gone = on_board(office, joined, day, 14, leaves=ana.pk)
    assert (gone["left"], ana.name in on_it(joined)) == ([ana.pk], False)
    if only_ana:
        crew.operatives.update(skills=[])

    taken_back = on_board(office, joined, day, 9, back=ana.pk)

    assert taken_back["words"].endswith("Ana Reed (Plover) goes along again.")
    assert joined.visit_operatives.get(operative=ana).during == joined.during


def test_a_move_taken_back_says_who_could_not_come_back(office, crew, plover, joined, ana, day):
    booked(office, plover, day, 14)
    on_board(office, joined, day, 14, leaves=ana.pk)
    booked(office, plover, day, 10)

    taken_back = on_board(office, joined, day, 9, back=ana.pk)

    assert "Ana Reed (Plover) is at " in taken_back["words"]
    assert taken_back["words"].endswith(" then and could not come back.")
    assert ana.name not in on_it(joined)


def test_nobody_of_another_company_is_brought_along(office, joined, day):
    stranger = OperativeFactory(skills=["insulation"])
    on_board(office, joined, day, 12, back=stranger.pk)
    assert stranger.name not in on_it(joined)


def test_the_board_says_what_the_server_says_of_a_skill_that_only_they_have(
    office, crew, plover, joined, ana, day
):
    """In the block, for the scripts; on every track; and of one place, where they cannot come."""
    crew.operatives.update(skills=[])
    tomorrow = day + timedelta(days=1)
    away_all_day(office, tomorrow, operative=ana)
    client, span = signed_in(office.planner), {"from": str(day), "days": "5"}

    block = re.search(rf'<a id="visit-{joined.pk}"[^>]*>', client.get("/planning/", span).text)
    assert block
    assert 'data-skills="insulation" data-along="insulation"' in block[0]

    places = client.get("/planning/places/", {"visit": joined.pk, **span}).json()["places"]
    said = {place["day"]: place for place in places if place["crew"] == crew.pk}
    assert said[str(day)]["fit"] == "yes"
    assert said[str(tomorrow)]["words"].endswith("insulation; who goes along cannot come.")
    for on, fit in ((day, "yes"), (tomorrow, "no")):
        there = {"visit": joined.pk, "crew": crew.pk, "starts_at": f"{on}T12:00", **span}
        told = client.get("/planning/fit/", there).json()
        assert (told["fit"] == "no") == (fit == "no"), told
