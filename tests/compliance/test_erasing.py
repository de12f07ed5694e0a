"""Erasing personal data: gone from rows, history and storage; every proof still holds."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.apps import apps
from django.core.files.storage import default_storage
from django.db import connection, transaction

from compliance.assess import latest_assessment, rerun_agrees
from compliance.certificates.issue import make_again
from compliance.certificates.photos import PictureLost
from compliance.certificates.withdraw import withdraw_certificate
from compliance.ledger.check import verify_ledger
from compliance.ledger.seals import make_seal
from compliance.models import BytesToRemove, Certificate, Erasure, ErasureRequest, LedgerEntry
from compliance.packs.scope import PackScope
from compliance.personal.erasing import answer_request, ask_erasure, remove_bytes
from compliance.personal.holds import lift_hold, place_hold
from jobs.errors import Conflict, Refused
from jobs.evidence.inspection import inspect, waiting_photo_ids
from jobs.models import Arrival, Handover, Photo, Property
from tests.compliance.pack_scene import check, files_of, stored_photo
from tests.compliance.scene import Scene, bare, certified_scene
from tests.factories import ArrivalFactory, LeaveFactory, UserFactory

pytestmark = pytest.mark.django_db

EVERYTHING = ["contact", "signatures", "photos"]
WHY = "The household asked by letter"
Capture = Callable[..., Any]


def lived_in(scene: Scene) -> Scene:
    """The same home with somebody known in it, and a crew that was let in."""
    home = scene.job.property
    home.householder_name, home.householder_phone = "Invented Person", "0300 000000"
    home.householder_email, home.access_notes = "person@home.example", "Key at number 4"
    home.save()
    ArrivalFactory(visit=scene.visit, recorded_by=scene.installer, let_in_by="Invented Person")
    LeaveFactory(visit=scene.visit, recorded_by=scene.installer)
    return scene


@pytest.fixture
def certified() -> tuple[Scene, Certificate]:
    scene, certificate = certified_scene(photo=stored_photo)
    return lived_in(scene), certificate


def erased_by_two(scene: Scene, capture: Capture, kinds: list[str] = EVERYTHING) -> Erasure:
    first, second = scene.person("compliance_officer"), scene.person("compliance_officer")
    request = ask_erasure(scene.job, kinds, WHY, first)
    assert isinstance(request, ErasureRequest)
    with capture(execute=True):
        erasure = answer_request(request, True, second)
    assert erasure is not None
    return erasure


def by_force(change: str) -> None:
    """Change handovers as a superuser who switched the triggers off."""
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")
        cursor.execute(f"UPDATE jobs_handover SET {change}")
        cursor.execute("SET LOCAL session_replication_role = DEFAULT")


def test_what_is_erased_is_gone_from_rows_history_and_storage(
    certified: tuple[Scene, Certificate], django_capture_on_commit_callbacks: Capture
):
    scene, _ = certified
    names = list(Photo.objects.filter(job=scene.job).values_list("original_name", flat=True))

    erased_by_two(scene, django_capture_on_commit_callbacks)

    home = Property.objects.get(pk=scene.job.property_id)
    assert (home.householder_name, home.householder_phone, home.access_notes) == ("", "", "")
    history = apps.get_model("jobs", "PropertyEvent").objects.filter(pgh_obj_id=home.pk)
    assert set(history.values_list("householder_name", "householder_email")) == {("", "")}
    signed = Handover.objects.get(visit__job=scene.job)
    assert (signed.signed_name, signed.signature_svg) == ("[erased]", "")
    assert signed.salt == uuid.UUID(int=0)
    assert Arrival.objects.get(visit__job=scene.job).let_in_by == "[erased]"
    assert len(names) == 4
    assert not any(default_storage.exists(name) for name in names)
    assert not BytesToRemove.objects.exists()


def test_every_proof_still_holds_after_an_erasure(
    certified: tuple[Scene, Certificate], django_capture_on_commit_callbacks: Capture
):
    scene, certificate = certified
    make_seal()
    before = dict(LedgerEntry.objects.values_list("id", "payload"))
    issued = default_storage.open(certificate.pdf_name).read()

    erased_by_two(scene, django_capture_on_commit_callbacks)
    make_seal()

    assert str(verify_ledger()).endswith("Everything is as it was written.")
    assert {k: v for k, v in LedgerEntry.objects.values_list("id", "payload") if k in before} == (
        before
    )
    report = check(files_of(PackScope([scene.job.pk], "One job")))
    assert report.sound, report.faults
    assert any("erased" in note for note in report.notes)
    assert check(files_of(PackScope(None, "The whole ledger"))).sound
    assert rerun_agrees(latest_assessment(scene.job))
    assert default_storage.open(certificate.pdf_name).read() == issued


def test_the_verifier_believes_no_mark_that_no_erasure_stands_for(
    certified: tuple[Scene, Certificate],
):
    scene, _ = certified
    make_seal()
    by_force("signed_name = '[erased]', signature_svg = '', salt = gen_random_uuid()")

    assert "signed_name" in str(verify_ledger())
    report = check(files_of(PackScope([scene.job.pk], "One job")))
    assert "signed_name" in str(report.faults[0])


def test_an_erasure_excuses_nothing_but_what_it_names(
    certified: tuple[Scene, Certificate], django_capture_on_commit_callbacks: Capture
):
    scene, _ = certified
    erased_by_two(scene, django_capture_on_commit_callbacks, ["signatures"])
    make_seal()
    by_force("all_done = false, not_done_reason = 'x'")

    assert "all_done" in str(verify_ledger())
    assert "all_done" in str(check(files_of(PackScope([scene.job.pk], "One job"))).faults[0])


def test_evidence_of_a_valid_certificate_takes_two(certified: tuple[Scene, Certificate]):
    scene, certificate = certified
    officer = scene.person("compliance_officer")

    request = ask_erasure(scene.job, ["photos"], WHY, officer)

    assert isinstance(request, ErasureRequest)
    assert certificate.code in request.stands_against[0]
    with pytest.raises(Refused, match="second person"):
        answer_request(request, True, officer)
    for role in ("planner", "auditor"):
        with pytest.raises(Refused, match="Another compliance officer"):
            answer_request(request, True, scene.person(role))
    with pytest.raises(Refused, match="Say why it is kept"):
        answer_request(request, False, scene.person("compliance_officer"))
    answer_request(request, False, scene.person("compliance_officer"), "A claim is announced")
    assert not Erasure.objects.exists()
    with pytest.raises(Conflict, match="answered already"):
        answer_request(request, True, scene.person("compliance_officer"))


def test_contact_alone_is_erased_at_once_and_what_is_gone_cannot_be_erased_again(
    certified: tuple[Scene, Certificate],
):
    scene, _ = certified
    officer = scene.person("compliance_officer")

    assert isinstance(ask_erasure(scene.job, ["contact"], WHY, officer), Erasure)

    with pytest.raises(Conflict, match="Nothing of this kind"):
        ask_erasure(scene.job, ["contact"], WHY, officer)


def test_a_legal_hold_asks_for_two_until_it_is_lifted(certified: tuple[Scene, Certificate]):
    scene, certificate = certified
    officer = scene.person("compliance_officer")
    withdraw_certificate(certificate, "rewired", officer)
    hold = place_hold(scene.job, "Claim about damp", officer)
    with pytest.raises(Conflict, match="on hold already"):
        place_hold(scene.job, "Again", officer)

    assert isinstance(ask_erasure(scene.job, ["contact"], WHY, officer), ErasureRequest)

    answer_request(ErasureRequest.objects.get(), False, scene.person("compliance_officer"), "Held")
    lift_hold(hold, "Claim settled", officer)
    assert isinstance(ask_erasure(scene.job, ["contact"], WHY, officer), Erasure)


REFUSED = [
    ("INSERT", "one person, a certificate being valid", "second person"),
    ("NOBODY", "nobody of the company", "compliance officer of the company"),
    ("SELF", "the same person twice", "second person is another"),
    ("AUDITOR", "an auditor as the second person", "second person is another"),
]


@pytest.mark.parametrize(("who", "why", "said"), REFUSED)
def test_the_database_holds_who_may_erase(
    certified: tuple[Scene, Certificate], who: str, why: str, said: str
):
    scene, _ = certified
    officer = scene.person("compliance_officer")
    fields: dict[str, Any] = {"asked_by": officer}
    if who == "NOBODY":
        fields = {"asked_by": UserFactory(role="compliance_officer")}
    if who == "SELF":
        fields["agreed_by"] = officer
    if who == "AUDITOR":
        fields["agreed_by"] = scene.person("auditor")

    with pytest.raises(Exception, match=said), transaction.atomic():
        Erasure.objects.create(
            job=scene.job, kinds=["photos"], because="asked", reason=WHY, items={}, **fields
        )


def test_no_row_is_overwritten_without_an_erasure_and_then_only_by_marks(
    certified: tuple[Scene, Certificate], django_capture_on_commit_callbacks: Capture
):
    scene, _ = certified
    handover = Handover.objects.filter(visit__job=scene.job)
    marks = {"signed_name": "[erased]", "signature_svg": "", "salt": uuid.UUID(int=0)}
    with pytest.raises(Exception, match="Cannot update"), transaction.atomic():
        handover.update(**marks)
    history = apps.get_model("jobs", "PropertyEvent").objects.all()
    with pytest.raises(Exception, match="Cannot update"), transaction.atomic():
        history.update(householder_name="")

    erased_by_two(scene, django_capture_on_commit_callbacks, ["signatures"])

    with pytest.raises(Exception, match="Cannot update"), transaction.atomic():
        handover.update(**marks | {"signed_name": "Somebody Else"})
    with pytest.raises(Exception, match="Cannot update"), transaction.atomic():
        handover.update(**marks, all_done=False, not_done_reason="x")


def test_an_erased_photo_is_not_looked_at_again_nor_its_bytes_taken_from_another_job(
    certified: tuple[Scene, Certificate], django_capture_on_commit_callbacks: Capture
):
    scene, _ = certified
    photo = scene.job.photos.first()
    twin = bare()
    twin_photo = type(photo).objects.create(
        job=twin.job, visit=twin.visit, moment="before", sha256=photo.sha256, size_bytes=2000,
        media_type="image/jpeg", original_name=photo.original_name, sent_by=twin.installer,
    )  # fmt: skip

    erased_by_two(scene, django_capture_on_commit_callbacks, ["photos"])

    assert default_storage.exists(twin_photo.original_name)
    assert inspect(photo).inspector_version == "erased"
    assert photo.pk not in waiting_photo_ids()
    assert remove_bytes() == 0


def test_a_certificate_is_made_again_byte_for_byte_until_its_photos_are_erased(
    certified: tuple[Scene, Certificate], django_capture_on_commit_callbacks: Capture
):
    scene, certificate = certified
    issued = default_storage.open(certificate.pdf_name).read()

    erased_by_two(scene, django_capture_on_commit_callbacks, ["contact", "signatures"])
    assert make_again(certificate) == issued

    erased_by_two(scene, django_capture_on_commit_callbacks, ["photos"])
    with pytest.raises(PictureLost, match="signed file itself is kept"):
        make_again(certificate)
    assert default_storage.open(certificate.pdf_name).read() == issued
