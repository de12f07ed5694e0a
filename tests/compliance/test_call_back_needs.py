"""From a short loft to the van: the call-back carries the wool that is missing."""

from __future__ import annotations

import math
from datetime import datetime, time

import pytest
from django.utils import timezone

from calculations.catalogue import INVENTED_CATALOGUE, roll_by_code
from calculations.top_up import CUTTING_SHARE
from compliance.assess import assess_job
from compliance.call_back_needs import needs_from_shortfalls
from compliance.models import Shortfall
from compliance.pages.proof_forms import CallBackForm
from compliance.shortfalls import send_call_back
from jobs.call_backs import call_back_needs
from jobs.loading.load_list import load_list_of_day
from jobs.models import Visit
from jobs.planning.call_back_hours import USUAL
from jobs.planning.gather import gather
from jobs.planning.needs import open_parts
from jobs.rounds.round_sheet import round_sheet_for
from tests.compliance.scene import call_back, fitted, short_scene
from tests.factories import LayerPlanFactory, OperativeFactory
from tests.jobs.loading.yard import next_monday, roll_line

pytestmark = pytest.mark.django_db
MONDAY = next_monday(3)


def planned(scene, *codes):
    rolls = [roll_line(code, 12) for code in codes or ("W100", "W170")]
    LayerPlanFactory(
        job=scene.job, survey=scene.survey, quantities={"rolls": rolls, "accessories": []}
    )


def short_and_planned(*codes):
    scene = fitted((170.0, 165.0, 175.0))
    planned(scene, *codes)
    return scene, assess_job(scene.job.pk)


def sent(scene) -> Visit:
    shortfall = Shortfall.objects.get(job=scene.job)
    starts_at = timezone.make_aware(datetime.combine(MONDAY, time(9)))
    return send_call_back(shortfall, scene.visit.crew, starts_at, 2.0, scene.person("planner"))


def test_a_short_loft_puts_its_missing_wool_on_the_van_of_its_call_back():
    scene, verdict = short_and_planned("W100", "W170")
    visit = sent(scene)

    found = load_list_of_day(scene.visit.crew, MONDAY)

    (line,) = found.rolls
    roll = roll_by_code(INVENTED_CATALOGUE, line.item)
    floor = verdict.deficit_area_m2
    assert line.item in ("W100", "W170")
    assert roll.thickness_mm >= verdict.deficit_mm == 105.0
    assert line.units == math.ceil(floor * (1 + CUTTING_SHARE) / roll.area_m2)
    assert "105 mm short" in line.reason
    assert found.packed_volume_m3 == pytest.approx(line.units * roll.packed_volume_m3)
    (stop,) = round_sheet_for(scene.person("planner"), scene.visit.crew, MONDAY).stops
    assert stop.visit == visit
    assert [line.item for line in stop.rolls] == [roll.code]


def test_the_need_of_a_call_back_knows_volume_and_hours_at_once():
    scene, _ = short_and_planned()
    expected = call_back_needs([scene.job.pk])[scene.job.pk]

    need = scene.job.visit_needs.get(kind="call_back")

    assert need.volume_m3 == pytest.approx(expected.volume_m3) and need.volume_m3 > 0
    assert open_parts(need) == [1]
    assert expected.crew_hours <= need.part_hours[0] < expected.crew_hours + 0.25
    assert need.crew_size == 2


def test_a_plan_carries_the_wool_of_a_call_back_that_waits():
    scene, _ = short_and_planned()
    crew = scene.visit.crew
    OperativeFactory(company=scene.company, crew=crew, skills=["insulation"])
    home = scene.job.property
    home.latitude_deg, home.longitude_deg = 52.6, -1.1
    home.save()
    crew.base_latitude_deg, crew.base_longitude_deg = 52.63, -1.13
    crew.save()

    gathered = gather(scene.company, MONDAY, 5)

    need = scene.job.visit_needs.get(kind="call_back")
    visit = next(visit for visit in gathered.problem.visits if visit.key == need.key)
    assert visit.volume_m3 == pytest.approx(need.volume_m3)


def test_a_second_verdict_changes_what_waits():
    scene, _ = short_and_planned("W170")
    before = scene.job.visit_needs.get(kind="call_back").volume_m3
    call_back(scene, (200.0, 285.0, 285.0, 285.0, 285.0))
    assess_job(scene.job.pk)

    after = scene.job.visit_needs.filter(kind="call_back").order_by("pk").last().volume_m3

    assert 0 < after < before


def test_a_job_put_right_needs_nothing_and_without_a_plan_any_roll_will_do():
    scene, _ = short_scene()
    assert needs_from_shortfalls([scene.job.pk])[scene.job.pk].rolls

    call_back(scene, (285.0, 290.0))
    assess_job(scene.job.pk)

    assert needs_from_shortfalls([scene.job.pk]) == {}


def test_many_short_jobs_take_as_many_queries_as_one(django_assert_num_queries):
    """The third is for what companies lay, of jobs that have no plan."""
    ids = [short_scene()[0].job.pk for _ in range(3)]
    with django_assert_num_queries(3):
        assert set(needs_from_shortfalls(ids[:1])) == set(ids[:1])
    with django_assert_num_queries(3):
        assert set(needs_from_shortfalls(ids)) == set(ids)


def test_the_form_says_what_the_time_it_proposes_is_made_of():
    scene, _ = short_and_planned("W170")
    planner = scene.person("planner")

    def asked() -> tuple[float, str]:
        hours = CallBackForm(job=scene.job, user=planner)["hours"]
        return hours.initial, hours.help_text

    worked = needs_from_shortfalls([scene.job.pk])[scene.job.pk].crew_hours
    hours, told = asked()
    assert hours == math.ceil(worked * 4) / 4 > worked
    assert told == (
        f"{worked * 60:.0f} min of work for two people (setting up, carrying and laying wool, "
        "readings, handing over), rounded up to a quarter hour. Driving and breaks come on top."
    )

    need = scene.job.visit_needs.get(kind="call_back")
    need.part_hours = [3.0]
    need.save()
    assert asked()[0] == 3.0
    assert "known now; the time was worked out before" in asked()[1]

    need.set_by_hand = ["part_hours"]
    need.save()
    assert asked() == (3.0, "As your office set it for this call-back.")

    sent(scene)
    assert asked() == (2.0, USUAL)
