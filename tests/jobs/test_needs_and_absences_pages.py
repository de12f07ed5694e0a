"""Pages for absences, for what a visit asks for, and for the end of an electrical visit."""

from __future__ import annotations

import re
from datetime import date, time, timedelta

import pytest
from django.utils import timezone

from jobs.models import Absence, Stage, Visit, VisitNeed
from jobs.planning.absences import spell_absence
from jobs.planning.calendars import at, midnight
from jobs.planning.needs import need_for
from tests.jobs.plan_scene import a_day_ahead, based_crew, booked, to_fit
from tests.jobs.planner_scene import an_office, signed_in

pytestmark = pytest.mark.django_db


@pytest.fixture
def page(office):
    return signed_in(office.planner)


def away(crew, **values):
    day = a_day_ahead(crew)
    plain = {"who": f"crew-{crew.pk}", "first_day": day, "last_day": day, "reason": "ill"}
    return plain | values


# --- Absences


def test_a_whole_day_away_is_recorded(crew, page):
    answer = page.post("/absences/new/", away(crew), follow=True)
    absence = Absence.objects.get()
    day = a_day_ahead(crew)
    assert (absence.during.lower, absence.during.upper) == (
        midnight(day),
        midnight(day + timedelta(days=1)),
    )
    assert str(crew) in answer.content.decode()


def test_hours_away_are_recorded(crew, page):
    page.post("/absences/new/", away(crew, starts_at="13:00", ends_at="15:30"))
    absence = Absence.objects.get()
    assert timezone.localtime(absence.during.upper).time() == time(15, 30)


def test_what_is_booked_meanwhile_is_told(office, crew, page):
    booked(office, crew, a_day_ahead(crew), 9)
    answer = page.post("/absences/new/", away(crew), follow=True)
    assert "1 visit is booked in that time" in answer.content.decode()


def test_an_end_before_the_start_is_told_at_its_field(crew, page):
    earlier = a_day_ahead(crew) - timedelta(days=2)
    answer = page.post("/absences/new/", away(crew, last_day=earlier))
    assert "before it starts" in " ".join(answer.context["form"].errors["last_day"])


def test_an_absence_is_corrected_and_a_late_correction_refused(crew, page):
    page.post("/absences/new/", away(crew))
    absence = Absence.objects.get()
    given = away(crew, note="Flu", version=1)
    assert page.post(f"/absences/{absence.pk}/", given).status_code == 302
    late = page.post(f"/absences/{absence.pk}/", given)
    assert "changed by someone else" in late.content.decode()


def test_an_absence_is_taken_back(crew, page):
    page.post("/absences/new/", away(crew))
    page.post(f"/absences/{Absence.objects.get().pk}/end/", {"version": 1})
    assert not Absence.objects.exists()


def test_bank_holidays_stand_beside_the_crews_that_have_them(office, page):
    crew = based_crew(office, nation="scotland")
    holidays = page.get("/absences/").context["holidays"]
    assert {each.day for each in holidays}
    assert all(each.crews == (crew,) for each in holidays)


def test_another_companys_absence_is_not_found(crew, page):
    page.post("/absences/new/", away(crew))
    stranger = signed_in(an_office().planner)
    assert stranger.get(f"/absences/{Absence.objects.get().pk}/").status_code == 404


# --- What a visit asks for


def needed(need, **values):
    plain = {
        "part_hours": "4",
        "crew_size": 2,
        "skills": ["insulation"],
        "priority": 3,
        "version": need.version,
    }
    return plain | values


def test_what_is_needed_is_changed_and_says_what_was_set_by_hand(office, page):
    need = to_fit(office)
    page.post(f"/needs/{need.pk}/", needed(need, part_hours="5.5, 4", priority=5))
    need.refresh_from_db()
    assert (need.part_hours, need.priority) == ([5.5, 4.0], 5)
    shown = page.get(f"/needs/{need.pk}/").content.decode()
    assert "hours, priority" in shown
    assert "on 2 working days" in shown


def test_a_form_that_is_saved_untouched_changes_nothing(office, crew, page):
    """Dates stand in `value` as ISO 8601, which HTML asks of date inputs; others show as empty."""
    need = to_fit(office)
    stored = {"part_hours": [50 / 60, 4.1234], "after_gap_hours": 24.0}
    VisitNeed.objects.filter(pk=need.pk).update(due_on=date(2026, 12, 24), **stored)
    shown = page.get(f"/needs/{need.pk}/")
    for value in ('name="due_on" value="2026-12-24"', 'value="0:50, 4:07"', 'value="24:00"'):
        assert value in shown.text
    ids = re.findall(r' id="([^"]+)"', shown.text)
    assert len(ids) == len(set(ids))

    form = shown.context["form"]
    sent = {name: form[name].value() for name in form.fields if form[name].value()}
    page.post(f"/needs/{need.pk}/", sent | {"due_on": "2026-12-24"})
    need.refresh_from_db()
    assert (need.due_on, need.set_by_hand) == (date(2026, 12, 24), [])
    assert {name: getattr(need, name) for name in stored} == stored

    away_page = page.get("/absences/new/?first_day=").text
    assert f'name="last_day" value="{timezone.localdate()}"' in away_page


def test_hours_that_cannot_be_are_told(office, page):
    need = to_fit(office)
    answer = page.post(f"/needs/{need.pk}/", needed(need, part_hours="a day"))
    assert "not how long a visit takes" in answer.content.decode()


def test_a_late_change_is_refused(office, page):
    need = to_fit(office)
    given = needed(need, priority=5)
    page.post(f"/needs/{need.pk}/", given)
    assert "changed by someone else" in page.post(f"/needs/{need.pk}/", given).content.decode()


def test_a_time_is_agreed_shown_and_taken_back(office, crew, page):
    need, day = to_fit(office), a_day_ahead(crew)
    given = {"day": day, "opens": "09:00", "closes": "12:00", "note": "After school"}
    page.post(f"/needs/{need.pk}/windows/", given)
    assert "After school" in page.get(f"/needs/{need.pk}/").content.decode()
    page.post(f"/needs/windows/{need.windows.get().pk}/drop/")
    assert not need.windows.exists()


def test_a_time_that_ends_before_it_starts_is_told(office, crew, page):
    need = to_fit(office)
    given = {"day": a_day_ahead(crew), "opens": "12:00", "closes": "09:00"}
    answer = page.post(f"/needs/{need.pk}/windows/", given)
    assert "before it starts" in answer.content.decode()


def test_a_need_is_withdrawn_with_a_reason_and_asked_for_again(office, page):
    need = to_fit(office)
    page.post(f"/needs/{need.pk}/withdraw/", {"version": need.version, "reason": "Sold."})
    need.refresh_from_db()
    assert (need.state, need.note) == ("withdrawn", "Sold.")
    page.post(f"/needs/{need.pk}/reopen/", {"version": need.version})
    need.refresh_from_db()
    assert need.state == "open"


def test_the_jobs_story_tells_what_it_waits_for(office, page):
    need = to_fit(office)
    assert f"/needs/{need.pk}/" in page.get(f"/jobs/{need.job_id}/").content.decode()


# --- The end of an electrical visit


def electrical(office):
    job = office.job(Stage.TO_PLAN)
    return office.booked(
        job,
        based_crew(office, "electrical", hands=1),
        kind="electrical",
        hours=1.5,
        starts_at=timezone.now() + timedelta(minutes=1),
    )


def test_what_the_electrician_found_ends_the_visit(office, page):
    visit = electrical(office)
    page.post(f"/visits/{visit.pk}/finish/", {"found": "Circuit made safe."})
    visit.refresh_from_db()
    assert (visit.status, visit.note) == ("done", "Circuit made safe.")
    assert need_for(visit.job, "electrical") is None


def test_without_a_word_it_is_not_ended(office, page):
    visit = electrical(office)
    answer = page.post(f"/visits/{visit.pk}/finish/", {"found": " "}, follow=True)
    assert "Say what was done" in answer.content.decode()
    assert Visit.objects.get(pk=visit.pk).status == "booked"


def test_a_fitting_visit_is_not_ended_so(office, crew, page):
    visit = booked(office, crew, a_day_ahead(crew), 9)
    page.post(f"/visits/{visit.pk}/finish/", {"found": "Nothing."})
    assert Visit.objects.get(pk=visit.pk).status == "booked"


def test_a_visit_of_a_later_day_is_not_over(office, page):
    visit = electrical(office)
    later = at(timezone.localdate() + timedelta(days=3), time(9))
    Visit.objects.filter(pk=visit.pk).update(during=(later, later + timedelta(hours=1)))
    page.post(f"/visits/{visit.pk}/finish/", {"found": "Done."})
    assert Visit.objects.get(pk=visit.pk).status == "booked"


def test_hours_of_one_day_name_the_day_once():
    monday = date(2026, 12, 7)
    assert spell_absence(at(monday, time(8)), at(monday, time(11))) == "Mon 7 Dec 2026, 08:00–11:00"
    assert spell_absence(midnight(monday), at(monday, time(11))) == "Mon 7 Dec 2026, 00:00–11:00"
