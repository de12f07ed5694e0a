"""What can be edited, in packs: each row against its history, and no word of a household more."""

from __future__ import annotations

import io
import json

import pghistory
import pytest
from django.db import connection

from compliance.ledger.check import verify_ledger
from compliance.ledger.seals import make_seal
from compliance.packs.choosing import PackWish, wished_scope
from compliance.packs.derived import derived_lines
from compliance.packs.scope import PackScope
from compliance.packs.scratch import Scratch
from compliance.verify import layout
from jobs.evidence.content_store import keep
from jobs.evidence.erased_photos import mark_erased
from jobs.evidence.inspection import inspect
from jobs.models import Job, Property, User, Visit, VisitOperative
from tests.compliance.audited import let_auditors_see
from tests.compliance.database_tampering import by_force, triggers_off
from tests.compliance.pack_scene import check, files_of, stored_photo
from tests.compliance.scene import Scene, certified_scene
from tests.factories import OperativeFactory, PhotoFactory, UserFactory
from tests.pictures import loft_jpeg

pytestmark = pytest.mark.django_db

HOUSEHOLD = {
    "householder_name": "Alma Kettlewell",
    "householder_phone": "01632 960477",
    "householder_email": "alma@kettlewell.test",
    "access_notes": "Key with Mrs Ostrander",
}


@pytest.fixture
def scene() -> Scene:
    found = certified_scene(photo=stored_photo)[0]
    Property.objects.filter(pk=found.job.property_id).update(**HOUSEHOLD)
    Visit.objects.filter(pk=found.visit.pk).update(note="Ask for Barnaby")
    return found


def first_fault(scope: PackScope) -> str:
    report = check(files_of(scope))
    return str(report.faults[0]) if report.faults else ""


def test_rows_changed_by_force_are_named_in_words(scene: Scene):
    """In a pack of the job as in one of everything, and by the check of the database itself."""
    by_force(Visit.objects.filter(pk=scene.visit.pk), crew_id=scene.visit.crew_id + 1)

    said = f"visit {scene.visit.pk}: its crew_id is not what its history says"
    assert first_fault(PackScope([scene.job.pk], "One job")).startswith(said)
    assert first_fault(PackScope(None, "All")).startswith(said)
    (fault,) = verify_ledger().faults
    assert str(fault).startswith(f"visit {scene.visit.pk} ")


def test_what_an_operative_has_of_the_visit_is_the_visits_own(scene: Scene):
    """Its period and state, copied so that nobody is sent to two places at once."""
    told = VisitOperative.objects.create(visit=scene.visit, operative=OperativeFactory())
    by_force(VisitOperative.objects.filter(pk=told.pk), live=False)

    said = f"operative on a visit {told.pk}: its live is not what follows from visit"
    assert first_fault(PackScope([scene.job.pk], "One job")).startswith(said)
    assert first_fault(PackScope(None, "All")).startswith(said)


def test_what_follows_from_an_edit_after_the_seal_is_marked_and_not_called_tampered(scene: Scene):
    told = VisitOperative.objects.create(visit=scene.visit, operative=OperativeFactory())
    seal, scratch = make_seal(), Scratch()
    scratch.add_edited([(layout.OPERATIVE_EVENTS, told.pk)])
    before = list(derived_lines(PackScope(None, "All"), seal, scratch))
    Visit.objects.filter(pk=scene.visit.pk).update(note="Ring twice")

    after = list(derived_lines(PackScope(None, "All"), seal, scratch))

    assert [json.loads(line).get("later") for line in (*before, *after)] == [None, True]


def test_a_photo_erased_after_the_seal_is_marked_and_its_hash_not_missed(scene: Scene):
    kept = keep(io.BytesIO(loft_jpeg(4)), "photos", limit_bytes=9_000_000)
    photo = PhotoFactory(
        visit=scene.visit, job=scene.job, sha256=kept.sha256, original_name=kept.name
    )
    inspect(photo)
    seal, whole = make_seal(), PackScope(None, "All")
    before = list(derived_lines(whole, seal, Scratch()))
    mark_erased([photo])

    after = list(derived_lines(whole, seal, Scratch()))

    told = [json.loads(line) for line in (*before, *after)]
    assert [line["id"] for line in told] == [photo.pk, photo.pk]
    assert [line.get("later") for line in told] == [None, True]
    assert verify_ledger().sound


def test_a_depth_rule_made_easier_by_force_is_named_in_the_pack_of_a_job(scene: Scene):
    assessment = scene.job.assessments.latest("pk")
    by_force(type(assessment.rule).objects.filter(pk=assessment.rule_id), min_depth_mm=30)

    said = f"depth rule {assessment.rule_id}: its min_depth_mm is not what its history says"
    assert first_fault(PackScope([scene.job.pk], "One job")).startswith(said)


def test_an_event_that_would_explain_a_change_is_no_excuse_without_an_entry(scene: Scene):
    """Whoever slips in an event with the row makes a row that no entry stands for."""
    with triggers_off() as cursor:
        cursor.execute("UPDATE jobs_job SET due_on = due_on + 90 WHERE id = %s", [scene.job.pk])
        cursor.execute(
            "INSERT INTO jobs_jobevent (pgh_created_at, pgh_label, pgh_obj_id, id, company_id, "
            "property_id, scheme_id, stage, stage_since, due_on, called_off_reason, version, "
            "created_at) SELECT now(), 'update', id, id, company_id, property_id, scheme_id, "
            "stage, stage_since, due_on, called_off_reason, version, created_at FROM jobs_job "
            "WHERE id = %s",
            [scene.job.pk],
        )

    assert not check(files_of(PackScope([scene.job.pk], "One job"))).sound
    assert not check(files_of(PackScope(None, "All"))).sound


def test_who_made_an_edit_stays_told_when_the_same_request_goes_on(scene: Scene):
    """The library writes over what it noted of a request; here each act keeps its own."""
    first, second = UserFactory(), UserFactory()
    with pghistory.context(user=first.pk, what="the first"):
        Job.objects.filter(pk=scene.job.pk).update(version=8)
        with pghistory.context(user=second.pk, what="the second"):
            Job.objects.filter(pk=scene.job.pk).update(version=9)

    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT e.version, (c.metadata ->> 'user')::int FROM jobs_jobevent e "
            "JOIN pghistory_context c ON c.id = e.pgh_context_id ORDER BY e.pgh_id"
        )
        assert cursor.fetchall() == [(8, first.pk), (9, second.pk)]
    assert verify_ledger().sound


def test_a_row_edited_after_the_seal_is_said_to_be_and_not_called_tampered(scene: Scene, settings):
    """An edit may come between the Seal of a pack and its rows."""
    scope = PackScope([scene.job.pk], "One job")
    make_seal()
    files = files_of(scope)
    later = {"kind": "jobs_jobevent", "object": scene.job.pk, "later": True}
    files[layout.PRESENT] = b"".join(
        json.dumps(later).encode() + b"\n" if b'"kind": "jobs_jobevent"' in line else line
        for line in files[layout.PRESENT].splitlines(keepends=True)
    )

    report = check(files)

    assert all("jobs_jobevent" not in str(fault) for fault in report.faults)
    assert any("changed after the last Seal" in note for note in report.notes)


def test_an_auditor_gets_no_word_of_a_household_nor_the_name_of_anybody(scene: Scene):
    let_auditors_see(scene.job)
    auditor: User = scene.person("auditor")
    User.objects.filter(pk=scene.installer.pk).update(last_name="Quillfeather")

    files = files_of(wished_scope(auditor, PackWish(job=scene.job.reference)))

    assert check(files).sound, check(files)
    kinds = {json.loads(line)["kind"] for line in files[layout.ENTRIES].splitlines()}
    assert {"jobs_propertyevent", "jobs_visitevent", "compliance_depthruleevent"} <= kinds
    assert not kinds & {"jobs_userevent", "compliance_evidenceaccess", "jobs_visitneedevent"}
    for word in (*HOUSEHOLD.values(), "Barnaby", "Quillfeather"):
        said = [name for name in files if word.encode() in files[name]]
        assert said == [], word


def test_an_officer_gets_the_words_with_their_salts(scene: Scene):
    scope = wished_scope(scene.person("compliance_officer"), PackWish(job=scene.job.reference))
    files = files_of(scope)

    assert check(files).sound, check(files)
    assert b"Alma Kettlewell" in files[layout.CONTENTS]
    assert b"Alma Kettlewell" not in files[layout.ENTRIES] + files[layout.PRESENT]
