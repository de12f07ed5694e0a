"""Erasing notes and places of photos: never in the ledger in plain words, gone from everywhere."""

from __future__ import annotations

import pytest
from django.db import connection, transaction

from compliance.assess import assess_job, rerun_agrees
from compliance.ledger.check import verify_ledger
from compliance.ledger.seals import make_seal
from compliance.packs.scope import PackScope
from compliance.personal.plain import plain_in_ledger
from compliance.personal.words import NOTES_WORDS, history_of
from jobs.models import Job, Photo, Variation, WorkStep
from tests.compliance.erasing_scene import (
    PLACE,
    SECRET,
    Capture,
    as_of_old,
    erased,
    tables_that_say,
    told_much,
)
from tests.compliance.pack_scene import check, files_of

pytestmark = pytest.mark.django_db


def test_notes_and_places_are_gone_from_every_table_and_were_never_in_the_ledger(
    django_capture_on_commit_callbacks: Capture,
):
    scene = told_much()
    judged = assess_job(scene.job.pk)
    make_seal()
    before = tables_that_say(SECRET)
    assert {"jobs_workstep", "jobs_depthreading", "jobs_handover"} <= before
    assert "compliance_assessment" not in before
    assert {"jobs_arrival", "jobs_photo", "jobs_visitevent", "jobs_agreedwindowevent"} <= before
    assert "compliance_ledgerentry" not in before | tables_that_say(str(PLACE["exif_latitude_deg"]))

    erased(scene, django_capture_on_commit_callbacks, ["signatures", "photos", "notes"])
    make_seal()

    assert tables_that_say(SECRET) == set()
    assert tables_that_say(str(PLACE["exif_latitude_deg"])) == set()
    assert Variation.objects.get(visit=scene.visit).reason == "[erased]"
    assert WorkStep.objects.get(visit=scene.visit).note == "[erased]"
    assert plain_in_ledger(scene.job) == []
    assert rerun_agrees(judged)
    assert assess_job(scene.job.pk) == judged
    assert str(verify_ledger()).endswith("Everything is as it was written.")
    report = check(files_of(PackScope([scene.job.pk], "One job")))
    assert report.sound, report.faults
    for thing in ("variation", "photo inspection", "pre-start check"):
        assert any(thing in note for note in report.notes), report.notes


def test_words_that_entered_plainly_before_they_were_hashed_prove_still_and_can_be_erased(
    django_capture_on_commit_callbacks: Capture,
):
    scene = told_much()
    as_of_old("jobs_variation", "reason")
    as_of_old("jobs_workstep", "note")
    as_of_old("jobs_depthreading", "correction_reason")
    as_of_old("jobs_handover", "not_done_reason")
    as_of_old("jobs_arrival", "note")
    as_of_old("jobs_photoinspection", "exif_latitude_deg", "exif_longitude_deg")
    make_seal()

    assert str(verify_ledger()).endswith("Everything is as it was written.")
    report = check(files_of(PackScope([scene.job.pk], "One job")))
    assert report.sound, report.faults
    told = {one.title: one.records for one in plain_in_ledger(scene.job)}
    assert (told["Steps of the work"], told["Depth readings"], told["Handovers"]) == (1, 1, 1)

    erased(scene, django_capture_on_commit_callbacks, ["signatures", "photos", "notes"])
    assert {one.title: one.records for one in plain_in_ledger(scene.job)} == told
    make_seal()

    assert tables_that_say(SECRET) == {"compliance_ledgerentry"}
    assert str(verify_ledger()).endswith("Everything is as it was written.")
    report = check(files_of(PackScope([scene.job.pk], "One job")))
    assert report.sound, report.faults
    assert any("step of the work (1). Of 1 the entries" in note for note in report.notes)
    assert any("leaving (1). Only hashes are left" in note for note in report.notes)


REFUSED = [
    ("jobs_variation", "reason = 'another'", "words without an erasure"),
    ("jobs_photo", "note = '[erased]', salt = gen_random_uuid()", "a mark and another salt"),
    ("jobs_photoinspection", "exif_latitude_deg = 51", "another place"),
    ("jobs_visitevent", "note = '[erased]'", "history of a visit that no erasure names"),
    ("jobs_surveyevent", "note = 'another'", "history of a survey"),
    ("jobs_workstep", "note = '[erased]'", "a mark on a step that no erasure names"),
    ("jobs_depthreading", "correction_reason = '[erased]'", "a mark on a reading"),
    ("jobs_handover", "not_done_reason = '[erased]'", "a mark on a handover"),
]


@pytest.mark.parametrize(("table", "change", "why"), REFUSED)
def test_the_database_lets_nobody_overwrite_them_otherwise(table: str, change: str, why: str):
    told_much()

    cursor = connection.cursor()
    with pytest.raises(Exception, match="Cannot update"), transaction.atomic():
        cursor.execute(f"UPDATE {table} SET {change}")


def test_what_was_noted_empty_stays_empty_and_is_not_named(
    django_capture_on_commit_callbacks: Capture,
):
    scene = told_much()

    erased(scene, django_capture_on_commit_callbacks, ["photos", "notes"])

    notes = set(Photo.objects.filter(job=scene.job).values_list("note", flat=True))
    assert notes == {"", "[erased]"}
    assert Job.objects.get(pk=scene.job.pk).called_off_reason == ""
    for model, columns in NOTES_WORDS.edited:
        for column in columns:
            said = set(history_of(model).objects.values_list(column, flat=True))
            assert said <= {"", "[erased]"}
