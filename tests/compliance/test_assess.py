"""A verdict: reached from the evidence, kept, and followed up."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from django.utils import timezone

from compliance.assess import assess_job, rerun, rerun_agrees
from compliance.judged_words import missing_told
from compliance.judging import Evidence
from compliance.models import Assessment, Certificate, DepthRule, Shortfall
from jobs.errors import Conflict
from jobs.models import Job, PhotoInspection, Stage
from tests.compliance.scene import bare, call_back, certified_scene, fitted, measure, short_scene
from tests.factories import (
    A_MONDAY,
    ArrivalFactory,
    DepthReadingFactory,
    HandoverFactory,
    JobFactory,
    PhotoFactory,
    PreStartCheckFactory,
    SurveyFactory,
    VisitFactory,
    WorkStepFactory,
)

pytestmark = pytest.mark.django_db


def test_a_loft_with_all_its_evidence_meets_its_rule():
    scene = fitted()

    assessment = assess_job(scene.job.pk)

    assert (assessment.verdict, assessment.missing) == ("meets", [])
    assert assessment.reading_count == 9
    assert assessment.least_depth_mm == 275
    assert assessment.rule.min_depth_mm == 270


def test_a_scottish_loft_is_judged_by_the_scottish_rule():
    scene = fitted(job_nation := (285.0,), property__nation="scotland")

    assessment = assess_job(scene.job.pk)

    assert assessment.rule.nation == "scotland"
    assert assessment.verdict == "short"
    assert assessment.deficit_mm == pytest.approx(350 - job_nation[0])


def test_the_same_evidence_gives_the_assessment_there_already_is():
    scene = fitted()

    first = assess_job(scene.job.pk)
    second = assess_job(scene.job.pk)

    assert second.pk == first.pk
    assert Assessment.objects.count() == 1


def test_a_new_reading_makes_a_new_assessment():
    scene = fitted()
    first = assess_job(scene.job.pk)
    DepthReadingFactory(visit=scene.visit, area=scene.area, x_mm=4000, y_mm=3000, depth_mm=281)

    second = assess_job(scene.job.pk)

    assert second.number == first.number + 1
    assert second.reading_count == first.reading_count + 1


def test_a_corrected_reading_stands_in_for_the_one_it_replaces():
    scene = fitted()
    wrong = scene.visit.depth_readings.first()
    DepthReadingFactory(
        visit=scene.visit,
        area=scene.area,
        x_mm=wrong.x_mm,
        y_mm=wrong.y_mm,
        depth_mm=120,
        replaces=wrong,
        correction_reason="read again",
    )

    assessment = assess_job(scene.job.pk)

    assert assessment.reading_count == 9
    assert (assessment.verdict, assessment.least_depth_mm) == ("short", 120)


def test_a_short_loft_is_flagged_with_deficit_cause_and_the_schemes_due_date():
    scene, assessment = short_scene(scheme__remedy_weeks=8)

    shortfall = Shortfall.objects.get(job=scene.job)

    assert assessment.verdict == "short"
    assert shortfall.deficit_mm == 270 - 165
    assert shortfall.deficit_area_m2 > 40
    assert shortfall.likely_cause == Shortfall.Cause.TOO_FEW_LAYERS
    assert shortfall.due_on == timezone.localdate(assessment.made_at) + timedelta(weeks=8)
    assert Job.objects.get(pk=scene.job.pk).stage == Stage.SHORT


def test_a_call_backs_readings_stand_in_for_earlier_ones_and_close_the_shortfall():
    scene, _ = short_scene()
    call_back(scene, (280.0, 290.0))

    assessment = assess_job(scene.job.pk)

    shortfall = Shortfall.objects.get(job=scene.job)
    assert assessment.verdict == "meets"
    assert shortfall.closed_by == assessment
    assert Job.objects.get(pk=scene.job.pk).stage == Stage.TO_ASSESS


def test_a_call_back_that_is_still_short_keeps_the_shortfall_and_its_due_date():
    scene, _ = short_scene()
    due_on = Shortfall.objects.get(job=scene.job).due_on
    call_back(scene, (255.0, 260.0))

    assessment = assess_job(scene.job.pk)

    shortfall = Shortfall.objects.get(job=scene.job)
    assert assessment.verdict == "short"
    assert (shortfall.deficit_mm, shortfall.due_on) == (15, due_on)


def test_new_evidence_that_no_longer_meets_withdraws_the_certificate_at_once():
    scene, certificate = certified_scene()
    DepthReadingFactory(visit=scene.visit, area=scene.area, x_mm=4000, y_mm=3000, depth_mm=90)

    assess_job(scene.job.pk)

    withdrawal = Certificate.objects.get(pk=certificate.pk).withdrawal
    assert withdrawal.withdrawn_by is None
    assert "Short" in withdrawal.reason
    assert Job.objects.get(pk=scene.job.pk).stage == Stage.SHORT


def test_new_evidence_that_still_meets_keeps_the_certificate():
    scene, certificate = certified_scene()
    PhotoFactory(visit=scene.visit, moment="after", sent_by=scene.installer)

    assessment = assess_job(scene.job.pk)

    assert assessment.number == 2
    assert Certificate.objects.current().get(job=scene.job) == certificate
    assert Job.objects.get(pk=scene.job.pk).stage == Stage.CERTIFIED


def _without_photos(scene):
    PreStartCheckFactory(visit=scene.visit)
    HandoverFactory(visit=scene.visit)
    measure(scene, (280.0,))


def _unsafe_start(scene):
    PreStartCheckFactory(visit=scene.visit, safe_to_start=False)


def _few_readings(scene):
    DepthReadingFactory(visit=scene.visit, area=scene.area)


def _readings_of_an_old_survey(scene):
    measure(scene, (280.0,))
    SurveyFactory(job=scene.job, completed_at=A_MONDAY)


MISSING = [
    (lambda scene: None, "No depth was measured yet.", "no reading at all"),
    (_few_readings, "Main loft: 8 more readings", "one reading of nine"),
    (_without_photos, "2 more photos taken before the work.", "no photo"),
    (lambda scene: None, "The pre-start check is missing.", "no check"),
    (_unsafe_start, "not safe to start", "a check that said stop"),
    (lambda scene: None, "The handover is not signed.", "no handover"),
    (_readings_of_an_old_survey, "belong to an earlier survey", "the loft was surveyed again"),
]


@pytest.mark.parametrize(("arrange", "sentence", "reason"), MISSING, ids=[m[2] for m in MISSING])
def test_unproven_says_exactly_what_is_missing(arrange, sentence, reason):
    scene = bare()
    arrange(scene)

    assessment = assess_job(scene.job.pk)

    assert assessment.verdict == "unproven"
    assert any(sentence in said for said in assessment.missing), assessment.missing


def test_without_a_survey_a_verdict_is_unproven():
    job = JobFactory(stage=Stage.TO_ASSESS)

    assessment = assess_job(job.pk)

    assert assessment.verdict == "unproven"
    assert "no finished survey" in assessment.missing[0]


def test_a_job_whose_crew_is_still_at_work_is_not_judged():
    job = JobFactory(stage=Stage.ON_SITE)

    with pytest.raises(Conflict, match="nothing to judge"):
        assess_job(job.pk)


def test_a_stored_assessment_can_be_reached_again():
    for scene in (fitted(), bare(), fitted((170.0, 300.0, 240.0))):
        assess_job(scene.job.pk)

    for assessment in Assessment.objects.all():  # as read back from the database
        assert rerun_agrees(assessment)
        assert rerun(assessment).same_arithmetic
    assert set(Assessment.objects.values_list("verdict", flat=True)) == {
        "meets",
        "short",
        "unproven",
    }


def test_a_changed_input_does_not_pass_for_the_stored_one():
    scene = fitted()
    assessment = assess_job(scene.job.pk)
    evidence = Evidence.from_dict(assessment.inputs)
    assessment.inputs = replace(evidence, unreadable_photos=1).to_dict()

    assert not rerun_agrees(assessment)
    assert "the record was changed" in rerun(assessment).in_words


def test_unproven_names_each_step_of_the_work_that_is_missing():
    scene = fitted()
    ArrivalFactory(visit=scene.visit, recorded_by=scene.installer)
    for step in ("eaves", "first_layer"):
        WorkStepFactory(visit=scene.visit, step=step, recorded_by=scene.installer)
    WorkStepFactory(
        visit=scene.visit,
        step="hatch_and_tank",
        outcome="not_done",
        note="No lagging left on the van",
        recorded_by=scene.installer,
    )

    assessment = assess_job(scene.job.pk)

    assert assessment.verdict == "unproven"
    assert assessment.missing == [
        "The step “cross layers” was not recorded.",
        "The step “hatch and tank” was left undone.",
    ]
    assert missing_told(assessment)[1] == (
        "The step “hatch and tank” was left undone: No lagging left on the van."
    )


def test_zones_without_a_reading_are_told_in_the_plural_and_stored_as_the_engine_says():
    scene = bare()
    told_of = {"visit": scene.visit, "area": scene.area, "measured_by": scene.installer}
    DepthReadingFactory(**told_of, x_mm=1000, y_mm=1000, depth_mm=285)
    assessment = assess_job(scene.job.pk)
    (stored,) = (said for said in assessment.missing if "in the zone round" in said)
    places = stored.partition("in the zone round ")[2].rstrip(".").split("; ")

    (told,) = (said for said in missing_told(assessment) if "zones" in said)

    assert len(places) > 1
    assert told.endswith(f"no reading in the {len(places)} zones round {'; '.join(places)}.")


def test_steps_that_are_all_done_or_not_needed_keep_no_certificate_back():
    scene = fitted()
    for step in ("eaves", "first_layer", "cross_layers", "hatch_and_tank"):
        outcome = "not_needed" if step == "hatch_and_tank" else "done"
        WorkStepFactory(visit=scene.visit, step=step, outcome=outcome, recorded_by=scene.installer)

    assert assess_job(scene.job.pk).verdict == "meets"


def test_a_loft_finished_before_a_rule_began_is_judged_by_the_older_one():
    DepthRule.objects.create(
        nation="england",
        starts_on=date(2026, 12, 15),
        min_depth_mm=400,
        source="Invented for a test",
        source_kind="common_practice",
        approved_at=A_MONDAY,
    )
    before, after = fitted(), bare()
    HandoverFactory(visit=after.visit, signed_at=A_MONDAY + timedelta(days=30))

    assert assess_job(before.job.pk).rule.min_depth_mm == 270
    assert assess_job(after.job.pk).rule.min_depth_mm == 400


def test_a_photo_that_cannot_be_read_counts_for_nothing():
    scene = fitted()
    photo = scene.visit.photos.filter(moment="after").first()
    PhotoInspection.objects.create(photo=photo, inspector_version="1", readable=False)

    assessment = assess_job(scene.job.pk)

    assert assessment.verdict == "unproven"
    assert assessment.missing == ["1 more photo taken after the work. Stored but unreadable: 1."]


def test_readings_of_a_survey_visit_prove_nothing():
    scene = bare()
    visit = VisitFactory(
        job=scene.job,
        kind="survey",
        status="done",
        during=(A_MONDAY - timedelta(days=9), A_MONDAY - timedelta(days=8)),
    )
    measure(scene, (290.0,), visit)

    assert assess_job(scene.job.pk).reading_count == 0
