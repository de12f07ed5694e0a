"""Depth readings lie in the loft, are stored once, and are corrected by a new row."""

from __future__ import annotations

from uuid import uuid4

import pytest

from jobs.errors import Conflict, Refused
from jobs.evidence.readings import ReadingRow, record_readings
from jobs.models import DepthReading, Job
from tests.factories import LoftAreaFactory, SurveyFactory
from tests.jobs.on_site_scene import ARRIVED, booked_scene, scene_on_site

pytestmark = pytest.mark.django_db


def row(**fields) -> ReadingRow:
    return ReadingRow(
        **{"x_mm": 2000, "y_mm": 1500, "depth_mm": 285, "measured_at": ARRIVED, **fields}
    )


def test_readings_are_stored_in_order_with_their_area():
    scene = scene_on_site()

    stored = record_readings(scene.visit, [row(), row(x_mm=4000, depth_mm=290)], scene.installer)

    assert [r.depth_mm for r in stored] == [285, 290]
    assert {r.area for r in stored} == {scene.area}
    assert {r.measured_by for r in stored} == {scene.installer}


def test_a_point_finds_its_area_by_itself():
    scene = scene_on_site()
    outline = [[8000, 0], [11000, 0], [11000, 4000], [8000, 4000]]
    wing = LoftAreaFactory(survey=scene.survey, name="Wing", outline_mm=outline, eaves_edges=[])

    (stored,) = record_readings(scene.visit, [row(x_mm=9500, y_mm=2000)], scene.installer)

    assert stored.area == wing


def test_the_same_rows_sent_twice_are_stored_once():
    scene = scene_on_site()
    rows = [row(client_key=uuid4()), row(client_key=uuid4(), x_mm=5000)]

    first = record_readings(scene.visit, rows, scene.installer)
    again = record_readings(scene.visit, rows, scene.installer)

    assert again == first
    assert DepthReading.objects.count() == 2


def test_a_repeat_that_brings_one_more_stores_only_that():
    scene = scene_on_site()
    known, new = row(client_key=uuid4()), row(client_key=uuid4(), depth_mm=300)
    (first,) = record_readings(scene.visit, [known], scene.installer)

    stored = record_readings(scene.visit, [known, new], scene.installer)

    assert stored[0] == first
    assert DepthReading.objects.count() == 2


def test_a_known_row_is_given_back_even_when_the_job_is_over():
    scene = scene_on_site()
    known = row(client_key=uuid4())
    first = record_readings(scene.visit, [known], scene.installer)
    Job.objects.filter(pk=scene.job.pk).update(stage="to_assess")
    Job.objects.filter(pk=scene.job.pk).update(stage="certified")

    assert record_readings(scene.visit, [known], scene.installer) == first


@pytest.mark.parametrize(
    ("fields", "field", "why"),
    [
        ({"depth_mm": -1}, "depth_mm", "less than nothing"),
        ({"depth_mm": 1501}, "depth_mm", "deeper than any loft"),
        ({"depth_mm": float("nan")}, "depth_mm", "no number"),
        ({"x_mm": float("inf")}, "x_mm", "no place"),
        ({"x_mm": 9000}, "x_mm", "beyond the gable"),
        ({"x_mm": 9000, "area": "Main loft"}, "x_mm", "not in the area it names"),
        ({"area": "Attic"}, "area", "no such area"),
        ({"allowance": "cellar"}, "allowance", "no such allowance"),
        ({"correction_reason": "r" * 201}, "correction_reason", "longer than the column"),
        ({"replaces": 10**9, "correction_reason": "x"}, "replaces", "no such reading"),
    ],
)
def test_a_row_that_cannot_be_is_refused_by_its_place_and_none_is_stored(fields, field, why):
    scene = scene_on_site()

    with pytest.raises(Refused) as refusal:
        record_readings(scene.visit, [row(), row(**fields)], scene.installer)

    assert refusal.value.field == f"readings[1].{field}", why
    assert refusal.value.remedy
    assert not DepthReading.objects.exists()


def test_a_finger_just_beside_the_floor_is_forgiven():
    scene = scene_on_site()

    assert record_readings(scene.visit, [row(x_mm=8120)], scene.installer)


def test_a_stairwell_is_no_floor():
    scene = scene_on_site()
    scene.area.holes_mm = [[[2000, 2000], [4000, 2000], [4000, 4000], [2000, 4000]]]
    scene.area.save()

    with pytest.raises(Refused, match="does not lie in"):
        record_readings(scene.visit, [row(x_mm=3000, y_mm=3000)], scene.installer)


def test_a_correction_names_what_it_replaces_and_why():
    scene = scene_on_site()
    (first,) = record_readings(scene.visit, [row(depth_mm=27)], scene.installer)

    (second,) = record_readings(
        scene.visit,
        [row(depth_mm=270, replaces=first.pk, correction_reason="typed centimetres")],
        scene.installer,
    )

    assert second.replaces == first
    assert list(DepthReading.objects.current()) == [second]


def test_a_correction_without_reason_is_refused():
    scene = scene_on_site()
    (first,) = record_readings(scene.visit, [row()], scene.installer)

    with pytest.raises(Refused, match="needs its reason"):
        record_readings(scene.visit, [row(replaces=first.pk)], scene.installer)


def test_a_reading_is_corrected_once():
    scene = scene_on_site()
    (first,) = record_readings(scene.visit, [row()], scene.installer)
    correction = {"replaces": first.pk, "correction_reason": "slipped"}
    record_readings(scene.visit, [row(**correction)], scene.installer)

    with pytest.raises(Conflict, match="corrected before"):
        record_readings(scene.visit, [row(**correction)], scene.installer)


def test_another_jobs_reading_cannot_be_corrected():
    other = scene_on_site()
    (foreign,) = record_readings(other.visit, [row()], other.installer)
    scene = scene_on_site()

    with pytest.raises(Refused, match="not one of this job"):
        record_readings(
            scene.visit, [row(replaces=foreign.pk, correction_reason="x")], scene.installer
        )


@pytest.mark.parametrize(("rows", "why"), [([], "none"), ([row()] * 501, "too many")])
def test_neither_no_rows_nor_too_many(rows, why):
    scene = scene_on_site()

    with pytest.raises(Refused) as refusal:
        record_readings(scene.visit, rows, scene.installer)

    assert refusal.value.field == "readings", why


def test_readings_wait_for_the_pre_start_check():
    scene = booked_scene()

    with pytest.raises(Conflict, match="pre-start check"):
        record_readings(scene.visit, [row()], scene.installer)


def test_a_certified_job_is_not_measured_again():
    scene = scene_on_site()
    for stage in ("to_assess", "certified"):
        Job.objects.filter(pk=scene.job.pk).update(stage=stage)

    with pytest.raises(Conflict, match="certified"):
        record_readings(scene.visit, [row()], scene.installer)


def test_a_new_survey_takes_over():
    scene = scene_on_site()
    newer = SurveyFactory(job=scene.job, completed_at=ARRIVED)
    area = LoftAreaFactory(survey=newer)

    (stored,) = record_readings(scene.visit, [row()], scene.installer)

    assert stored.area == area
