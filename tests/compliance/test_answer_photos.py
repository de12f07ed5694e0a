"""Pictures of answers are looked at as the crew's photos are, and the auditor is told."""

from __future__ import annotations

import io
from datetime import timedelta

import pytest
from django.db import DatabaseError, transaction
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from compliance.audits.answer_photos import inspect_answer_file, waiting_file_ids
from compliance.audits.answers import answer_finding
from compliance.audits.findings import record_finding
from compliance.models import AnswerEvidence, AnswerInspection
from jobs.evidence.content_store import keep
from jobs.evidence.inspection import inspect
from jobs.models import Photo
from tests.compliance.reading_scene import AuditScene, audit_scene
from tests.factories import PhotoFactory
from tests.pictures import loft_jpeg, loft_jpeg_at, saved

pytestmark = pytest.mark.django_db


def stored(scene: AuditScene, content: bytes) -> Photo:
    """A photo of the drawn job that was inspected."""
    kept = keep(io.BytesIO(content), "photos", limit_bytes=10**7)
    made = PhotoFactory(
        visit=scene.scene.visit,
        point_label="P1",
        moment="before",
        sha256=kept.sha256,
        original_name=kept.name,
        media_type="image/jpeg",
    )
    photo = Photo.objects.select_related("visit", "job__property").get(pk=made.pk)
    inspect(photo)
    return photo


def smaller(jpeg: bytes) -> bytes:
    with Image.open(io.BytesIO(jpeg)) as image:
        return saved(image.resize((900, 675)), "JPEG", quality=70)


def test_an_old_picture_sent_as_new_is_told_to_the_auditor_and_opened_as_a_copy(
    client, django_capture_on_commit_callbacks
):
    scene = audit_scene()
    old, other = loft_jpeg_at(timezone.now() - timedelta(days=9), 5), loft_jpeg(8)
    photo = stored(scene, old)
    finding = record_finding(scene.drawn, scene.auditor, severity="minor", text="Tray missing.")
    officer = scene.person("compliance_officer")

    with django_capture_on_commit_callbacks(execute=True):
        files = [io.BytesIO(old), io.BytesIO(smaller(old)), io.BytesIO(other)]
        answer_finding(finding, officer, "Fitted.", files=files)

    very, again, new = AnswerInspection.objects.order_by("evidence_id")
    assert [w["code"] for w in very.warnings] == ["before_finding", "same_file"]
    told = {w["code"]: w for w in again.warnings}
    assert told["like_stored_photo"]["photo"] == photo.pk and "no_exif" in told
    assert {w["code"] for w in new.warnings} == {"no_time"}
    assert again.thumb_name and not waiting_file_ids()

    client.force_login(scene.auditor)
    page = client.get(reverse("finding", args=[finding.pk])).text
    assert "It is the very file of a photo of this job." in page
    assert "before photo at P1, which was stored before." in page
    copy = client.get(reverse("answer_picture", args=[again.evidence_id, "thumb"]))
    assert copy["Content-Type"] == "image/jpeg" and b"Exif" not in copy.getvalue()


def test_one_picture_in_answers_to_two_findings_is_told(django_capture_on_commit_callbacks):
    scene = audit_scene()
    officer, picture = scene.person("compliance_officer"), loft_jpeg(8)
    for content in (picture, smaller(picture)):
        finding = record_finding(scene.drawn, scene.auditor, severity="minor", text="Gap.")
        with django_capture_on_commit_callbacks(execute=True):
            answer_finding(finding, officer, "Filled.", files=[io.BytesIO(content)])

    first, second = AnswerInspection.objects.order_by("evidence_id")
    assert "like_other_answer" not in {w["code"] for w in first.warnings}
    (said,) = [w["text"] for w in second.warnings if w["code"] == "like_other_answer"]
    assert scene.scene.job.reference in said


def test_what_no_task_came_to_is_found_and_an_inspection_is_kept():
    scene = audit_scene()
    finding = record_finding(scene.drawn, scene.auditor, severity="minor", text="Gap.")
    officer = scene.person("compliance_officer")
    answer_finding(finding, officer, "Filled.", files=[io.BytesIO(loft_jpeg(8))])
    row = AnswerEvidence.objects.select_related("finding__drawn_job__job__property").get()
    assert waiting_file_ids() == []  # its task may be under way

    made = inspect_answer_file(row)

    assert inspect_answer_file(row) == made
    with pytest.raises(DatabaseError), transaction.atomic():
        AnswerInspection.objects.update(warnings=[])
