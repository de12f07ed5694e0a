"""A crew short of hands or skills: who could go along, which crew else, and sending them."""

from __future__ import annotations

from datetime import timedelta

import pytest

from jobs.errors import Conflict, Refused, Stale
from jobs.models import Absence, Operative, Visit
from jobs.planning.absences import record_absence
from jobs.planning.calendars import midnight
from jobs.planning.gather import gather
from jobs.planning.lending import free_operatives, lend, lent_to, take_back
from jobs.planning.misfits import misfits_of
from jobs.planning.present_plan import present_plan
from jobs.planning.wishes import MayMove, Wishes, wished
from tests.factories import OperativeFactory
from tests.jobs.plan_scene import based_crew, booked
from tests.jobs.planner_scene import an_office, api_for, signed_in
from tests.jobs.test_planning_page import text_of

pytestmark = pytest.mark.django_db
ILL = Absence.Reason.ILL


@pytest.fixture
def short(office, crew, day):
    """One of two is ill on the day of a visit; another crew of two is free all day."""
    visit = booked(office, crew, day, 9)
    away = crew.operatives.first()
    record_absence(
        office.company,
        by=office.planner,
        operative=away,
        starts_at=midnight(day),
        ends_at=midnight(day) + timedelta(days=1),
        reason=ILL,
    )
    based_crew(office, name="Plover")
    visit.refresh_from_db()
    return visit


def told(office, day) -> list[str]:
    """What stays and does not fit, with what helps, of a plan that may move nothing."""
    gathered = wished(gather(office.company, day, 3), Wishes(may_move=MayMove.NOTHING))
    found = misfits_of(gathered, present_plan(gathered))
    return [f"{reason.words} {reason.would_help}" for rows in found.values() for reason in rows]


def test_a_crew_short_of_hands_is_told_who_could_join_and_which_crew_could_go(office, day, short):
    (words,) = told(office, day)
    free = [person.name for person in Operative.objects.filter(crew__name="Plover")]
    assert f"Only 1 of {short.crew} can come; 2 are needed." in words
    assert all(f"{name} (Plover)" in words for name in free)
    assert "Plover could go at the same time." in words


def test_who_is_lent_counts_and_goes_along(office, day, short):
    person = Operative.objects.filter(crew__name="Plover").first()
    sent = lend(short, person, by=office.planner, version=short.version)
    assert told(office, day) == []
    assert lent_to(sent) == [person]
    with pytest.raises(Stale):
        lend(short, person, by=office.planner, version=short.version)
    take_back(sent, person, by=office.planner, version=sent.version)
    assert len(told(office, day)) == 1


def test_only_who_is_free_is_offered_and_the_database_refuses_the_others(office, crew, day, short):
    """Busy then, away then, of the crew itself, or of another company: not offered, and refused."""
    busy_crew, away_crew = based_crew(office, name="Busy"), based_crew(office, name="Away")
    booked(office, busy_crew, day, 10)
    busy, away = busy_crew.operatives.first(), away_crew.operatives.first()
    times = {
        "starts_at": midnight(day),
        "ends_at": midnight(day) + timedelta(days=1),
        "reason": ILL,
    }
    record_absence(office.company, by=office.planner, operative=away, **times)
    electrician = OperativeFactory(company=office.company, crew=None, skills=["electrical"])

    offered = free_operatives(short)
    assert not {busy, away, *crew.operatives.all()} & set(offered)
    assert offered[-1] == electrician  # those with the skill first
    for person, error in ((busy, Conflict), (away, Conflict), (crew.operatives.last(), Refused)):
        with pytest.raises(error):
            lend(short, person, by=office.planner, version=short.version)
    stranger = an_office().crew().operatives.get()
    with pytest.raises(Refused, match="no such person"):
        lend(short, stranger, by=office.planner, version=short.version)


def test_somebody_is_sent_along_on_the_page_and_over_the_api(office, short):
    person = Operative.objects.filter(crew__name="Plover").first()
    client, address = signed_in(office.planner), f"/visits/{short.pk}/"
    given = {"operative": person.pk, "version": short.version}
    assert person.name in client.get(address).text
    client.post(f"/planning/send-along/{short.pk}/", given)
    assert f"{person.name} goes along." in text_of(client.get(address))

    api, visit = api_for(office.planner), Visit.objects.get(pk=short.pk)
    back = api.post(
        f"/api/v1/visits/{short.pk}/send-along/",
        {"operative": person.pk, "lent": False},
        headers={"If-Match": api.get(f"/api/v1/visits/{short.pk}/").headers["ETag"]},
    )
    assert back.status_code == 200
    assert back.json()["version"] == visit.version + 1
    assert lent_to(visit) == []
