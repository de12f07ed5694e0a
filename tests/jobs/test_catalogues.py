"""Lofts are planned with a company's own rolls, and keep what they were planned with."""

from __future__ import annotations

import pytest

from calculations.catalogue import INVENTED_CATALOGUE
from compliance.assess import assess_job, rerun
from compliance.gather import laid_conductivities
from jobs.catalogues import catalogue_of, was_invented
from jobs.errors import Conflict
from jobs.loading.needs import materials_of
from jobs.models import CompanyRollType, LayerPlan, Visit
from jobs.roll_types import keep_roll_type, set_in_use
from jobs.surveying import quantities
from jobs.surveying.quantities import make_layer_plan
from tests.compliance.scene import fitted
from tests.factories import CompanyRollTypeFactory, LayerPlanFactory, WorkStepFactory
from tests.jobs.on_site_scene import booked_scene

pytestmark = pytest.mark.django_db
LAID = {"rolls": [{"roll": "W170", "name": "Wool", "count": 4}], "layers": []}


def own_rolls(company, **values):
    """A company's own 100 and 170 mm, under codes that the invented catalogue has too.

    Of poorer wool than the 0.044 W/mK that lies in the lofts, so that theirs is the worst.
    """
    values = {"conductivity_w_mk": 0.048} | values
    return [
        CompanyRollTypeFactory(company=company, code=f"W{mm}", thickness_mm=mm, **values)
        for mm in (100, 170)
    ]


def changed(roll, **values):
    for name, value in values.items():
        setattr(roll, name, value)
    return keep_roll_type(roll, by=roll.entered_by)


def plan_of(scene):
    return make_layer_plan(scene.job, seconds=0)


def test_a_company_without_a_roll_in_use_plans_with_the_invented_ones():
    scene = booked_scene()
    CompanyRollTypeFactory(company=scene.job.company, is_active=False)

    assert catalogue_of(scene.job.company_id).rolls == INVENTED_CATALOGUE
    assert was_invented(plan_of(scene))


def test_with_one_in_use_only_its_own_are_laid():
    scene = booked_scene()
    own_rolls(scene.job.company, name="Own wool", conductivity_w_mk=0.047)

    plan = plan_of(scene)

    assert {line["name"] for line in plan.quantities["rolls"]} == {"Own wool"}
    assert not was_invented(plan)
    assert laid_conductivities([scene.job.pk]) == {scene.job.pk: 0.047}


def test_what_a_plan_was_made_with_stays_whatever_the_company_changes():
    scene = booked_scene()
    rolls = own_rolls(scene.job.company)
    plan_of(scene)

    for roll in rolls:
        changed(roll, conductivity_w_mk=0.06, packed_volume_m3=0.11, name="Other wool")
    set_in_use(rolls[1], False, by=rolls[1].entered_by)

    material = materials_of([scene.job.pk])[scene.job.pk]
    assert laid_conductivities([scene.job.pk]) == {scene.job.pk: 0.048}
    assert {material.roll_m3(code) for code in ("W100", "W170")} == {0.19}
    assert "Other wool" not in material.names.values()


def test_two_companies_with_the_same_code_lay_each_its_own():
    mine, theirs = booked_scene(), booked_scene()
    own_rolls(mine.job.company, conductivity_w_mk=0.046)
    own_rolls(theirs.job.company, conductivity_w_mk=0.052, packed_volume_m3=0.3)
    for scene in (mine, theirs):
        plan_of(scene)

    assert laid_conductivities([mine.job.pk, theirs.job.pk]) == {
        mine.job.pk: 0.046,
        theirs.job.pk: 0.052,
    }
    material = materials_of([theirs.job.pk])[theirs.job.pk]
    assert material.roll_m3("W170") == 0.3


def test_a_plan_of_before_rolls_were_kept_was_made_with_the_invented_ones():
    scene = booked_scene()
    LayerPlanFactory(job=scene.job, survey=scene.survey, quantities=LAID)
    own_rolls(scene.job.company, conductivity_w_mk=0.06)

    assert laid_conductivities([scene.job.pk]) == {scene.job.pk: 0.044}


def test_a_verdict_is_reached_again_to_the_letter_after_the_rolls_were_changed():
    scene = fitted()
    rolls = own_rolls(scene.job.company)
    plan_of(scene)
    verdict = assess_job(scene.job.pk)
    changed(rolls[0], conductivity_w_mk=0.06)

    assert rerun(verdict).agrees is True
    assert assess_job(scene.job.pk).inputs_sha256 == verdict.inputs_sha256


def test_asked_again_the_plan_is_the_same_until_a_roll_is_changed():
    scene = booked_scene()
    roll = own_rolls(scene.job.company)[1]
    first = plan_of(scene)
    assert plan_of(scene) == first

    changed(roll, cost=19.0)
    second = plan_of(scene)

    assert second != first
    assert plan_of(scene) == second
    kept = {row["code"]: row["version"] for row in second.quantities["catalogue"]}
    assert kept == {"W100": 1, "W170": 2}
    assert all("cost" not in row for row in second.quantities["catalogue"])


def begun(scene):
    Visit.objects.filter(pk=scene.visit.pk).update(status="on_site")


def stopped_after_a_layer(scene):
    WorkStepFactory(visit=scene.visit, step="first_layer", recorded_by=scene.installer)


@pytest.mark.parametrize("happened", [begun, stopped_after_a_layer])
def test_once_laying_has_begun_a_plan_made_anew_keeps_its_rolls(happened):
    scene = booked_scene()
    rolls = own_rolls(scene.job.company)
    first = plan_of(scene)
    happened(scene)
    changed(rolls[1], conductivity_w_mk=0.022, cost=1.0)
    LayerPlanFactory(
        job=scene.job, survey=scene.survey, engine_version="0.9", quantities=first.quantities
    )

    again = plan_of(scene)

    assert again.engine_version != "0.9"
    assert again.quantities == first.quantities


def test_rolls_that_change_while_a_plan_is_worked_out_are_not_mixed(monkeypatch):
    scene = booked_scene()
    roll = own_rolls(scene.job.company)[0]
    work_out = quantities.quantify

    def slowly(*given, **more):
        changed(roll, cost=20.0)
        return work_out(*given, **more)

    monkeypatch.setattr(quantities, "quantify", slowly)
    with pytest.raises(Conflict, match="changed while"):
        plan_of(scene)
    assert not LayerPlan.objects.exists()
    assert CompanyRollType.objects.get(pk=roll.pk).version == 2
