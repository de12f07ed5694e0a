"""A job with a secret wherever words can be written, and its erasure by two people."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

from django.db import connection

from compliance.models import ErasureRequest
from compliance.personal.erasing import answer_request, ask_erasure
from jobs.models import AgreedWindow, PhotoInspection, Visit, VisitNeed
from tests.compliance.pack_scene import stored_photo
from tests.compliance.scene import Scene, certified_scene
from tests.factories import (
    A_MONDAY,
    ArrivalFactory,
    DepthReadingFactory,
    HandoverFactory,
    LeaveFactory,
    PreStartCheckFactory,
    StopWorkFactory,
    VariationFactory,
    WorkStepFactory,
)

SECRET = "Mrs Invented keeps the key at number 4"
PLACE = {"exif_latitude_deg": 52.652688, "exif_longitude_deg": -2.730111}
Capture = Callable[..., Any]


def told_much() -> Scene:
    """A certified job with a secret wherever something can be noted."""
    scene, _ = certified_scene(photo=stored_photo)
    by = {"visit": scene.visit, "recorded_by": scene.installer}
    WorkStepFactory(**by, note=SECRET)
    wrong, signed = scene.visit.depth_readings.first(), scene.visit.handovers.get()
    DepthReadingFactory(
        visit=scene.visit,
        area=wrong.area,
        x_mm=wrong.x_mm,
        y_mm=wrong.y_mm,
        measured_by=scene.installer,
        replaces=wrong,
        correction_reason=SECRET,
    )
    HandoverFactory(
        visit=scene.visit,
        taken_by=scene.installer,
        signed_at=signed.signed_at + timedelta(minutes=5),
        all_done=False,
        not_done_reason=SECRET,
        replaces=signed,
    )
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
