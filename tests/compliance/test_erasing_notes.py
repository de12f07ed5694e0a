"""Erasing notes and places of photos: never in the ledger in plain words, gone from everywhere."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection, transaction

from compliance.ledger.check import verify_ledger
from compliance.ledger.seals import make_seal
from compliance.models import ErasureRequest
from compliance.packs.scope import PackScope
from compliance.personal.erasing import answer_request, ask_erasure
from compliance.personal.words import EDITED, history_of
from jobs.models import AgreedWindow, Job, Photo, PhotoInspection, Variation, Visit, VisitNeed
from tests.compliance.pack_scene import check, files_of, stored_photo
from tests.compliance.scene import Scene, certified_scene
from tests.factories import (
    A_MONDAY,
    ArrivalFactory,
    LeaveFactory,
    PreStartCheckFactory,
    StopWorkFactory,
    VariationFactory,
)

pytestmark = pytest.mark.django_db

SECRET = "Mrs Invented keeps the key at number 4"
PLACE = {"exif_latitude_deg": 52.652688, "exif_longitude_deg": -2.730111}
Capture = Callable[..., Any]


def told_much() -> Scene:
    """A certified job with a secret wherever something can be noted."""
    scene, _ = certified_scene(photo=stored_photo)
    by = {"visit": scene.visit, "recorded_by": scene.installer}
    ArrivalFactory(**by, note=SECRET)
    VariationFactory(**by, reason=SECRET)
    StopWorkFactory(**by, reason=SECRET, stopped_at=A_MONDAY)
    LeaveFactory(**by, note=SECRET)
    PreStartCheckFactory(visit=scene.visit, checked_by=scene.installer, note=SECRET)
    photo = stored_photo(visit=scene.visit, sent_by=scene.installer, note=SECRET)
    PhotoInspection.objects.create(photo=photo, inspector_version="x", readable=True, **PLACE)
    need = VisitNeed.objects.create(
        job=scene.job, company=scene.job.company, kind="call_back", part_hours=[3.0], note=SECRET
    )
    during = (A_MONDAY, A_MONDAY + timedelta(hours=2))
    AgreedWindow.objects.create(need=need, during=during, note=SECRET).delete()
    scene.job.surveys.update(note=SECRET, access_note=SECRET)
    Visit.objects.filter(pk=scene.visit.pk).update(note=SECRET)
    Visit.objects.filter(pk=scene.visit.pk).update(note="")
    return scene


def erased(scene: Scene, capture: Capture, kinds: list[str]) -> None:
    first, second = scene.person("compliance_officer"), scene.person("compliance_officer")
    request = ask_erasure(scene.job, kinds, "Asked by letter", first)
    assert isinstance(request, ErasureRequest)
    with capture(execute=True):
        answer_request(request, True, second)


def tables_that_say(words: str) -> set[str]:
    """Every table of ours in any row of which these words stand."""
    with connection.cursor() as cursor:
        tables = [
            name
            for name in connection.introspection.table_names(cursor)
            if name.startswith(("jobs_", "compliance_"))
        ]
        found = set()
        for table in tables:
            cursor.execute(f"SELECT 1 FROM {table} t WHERE to_jsonb(t)::text LIKE %s LIMIT 1",
                           [f"%{words}%"])  # fmt: skip
            if cursor.fetchone():
                found.add(table)
        return found


def test_notes_and_places_are_gone_from_every_table_and_were_never_in_the_ledger(
    django_capture_on_commit_callbacks: Capture,
):
    scene = told_much()
    make_seal()
    before = tables_that_say(SECRET)
    assert {"jobs_arrival", "jobs_photo", "jobs_visitevent", "jobs_agreedwindowevent"} <= before
    assert "compliance_ledgerentry" not in before | tables_that_say(str(PLACE["exif_latitude_deg"]))

    erased(scene, django_capture_on_commit_callbacks, ["signatures", "photos", "notes"])
    make_seal()

    assert tables_that_say(SECRET) == set()
    assert tables_that_say(str(PLACE["exif_latitude_deg"])) == set()
    assert Variation.objects.get(visit=scene.visit).reason == "[erased]"
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
    as_of_old("jobs_arrival", "note")
    as_of_old("jobs_photoinspection", "exif_latitude_deg", "exif_longitude_deg")
    make_seal()

    assert str(verify_ledger()).endswith("Everything is as it was written.")
    report = check(files_of(PackScope([scene.job.pk], "One job")))
    assert report.sound, report.faults

    erased(scene, django_capture_on_commit_callbacks, ["signatures", "photos", "notes"])
    make_seal()

    assert tables_that_say(SECRET) == {"compliance_ledgerentry"}
    assert str(verify_ledger()).endswith("Everything is as it was written.")
    report = check(files_of(PackScope([scene.job.pk], "One job")))
    assert report.sound, report.faults


def as_of_old(table: str, *columns: str) -> None:
    """Rewrite rows and entries of a table as they were before its notes were hashed."""
    payload = "e.payload::jsonb #- '{fact,words_hashed}'"
    for column in columns:
        payload = f"jsonb_set({payload}, '{{fact,{column}}}', to_jsonb(f) -> '{column}')"
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")
        cursor.execute(f"UPDATE {table} SET words_hashed = false")
        cursor.execute(
            f"""
            UPDATE compliance_ledgerentry SET payload = old.text,
                leaf_hash = sha256('\\x00'::bytea || convert_to(old.text, 'UTF8'))
            FROM (SELECT e.id, ({payload})::text AS text FROM compliance_ledgerentry e
                  JOIN {table} f ON f.id = e.fact_id AND e.kind = %s) AS old
            WHERE compliance_ledgerentry.id = old.id
            """,
            [table],
        )
        cursor.execute("SET LOCAL session_replication_role = DEFAULT")


REFUSED = [
    ("jobs_variation", "reason = 'another'", "words without an erasure"),
    ("jobs_photo", "note = '[erased]', salt = gen_random_uuid()", "a mark and another salt"),
    ("jobs_photoinspection", "exif_latitude_deg = 51", "another place"),
    ("jobs_visitevent", "note = '[erased]'", "history of a visit that no erasure names"),
    ("jobs_surveyevent", "note = 'another'", "history of a survey"),
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
    for model, columns in EDITED:
        for column in columns:
            said = set(history_of(model).objects.values_list(column, flat=True))
            assert said <= {"", "[erased]"}
