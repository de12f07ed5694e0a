"""Erasing reasons of decisions: by two people, out of rows and history, never out of a proof."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction

from compliance.assess import assess_job, rerun_agrees
from compliance.certificates.withdraw import withdraw_certificate
from compliance.judged_words import repeats_words, without_words
from compliance.judging import Evidence, judge_evidence
from compliance.ledger.check import verify_ledger
from compliance.ledger.seals import make_seal
from compliance.models import CertificateWithdrawal, LegalHold, Shortfall, Waiver
from compliance.packs.scope import PackScope
from compliance.personal.erasing import stands_against
from compliance.personal.holds import lift_hold, place_hold
from compliance.personal.plain import PlainWords, plain_in_ledger
from compliance.waivers import answer_waiver, record_waiver
from tests.compliance.engine_cases import evidence
from tests.compliance.erasing_scene import SECRET, Capture, as_of_old, erased, tables_that_say
from tests.compliance.pack_scene import check, files_of, stored_photo
from tests.compliance.scene import SHORT_DEPTHS, Scene, call_back, certified_scene
from tests.factories import JobFactory, UserFactory

REASONS = {
    "compliance_certificatewithdrawal",
    "compliance_legalhold",
    "compliance_legalholdevent",
    "compliance_waiver",
    "compliance_waiveranswer",
}
FORCED = [
    "UPDATE compliance_waiver SET reason = '[erased]'",
    "UPDATE compliance_waiveranswer SET note = '[erased]'",
    "UPDATE compliance_certificatewithdrawal SET reason = '[erased]'",
    "UPDATE compliance_legalholdevent SET reason = '[erased]'",
]


def decided() -> Scene:
    """A certificate withdrawn, a shortfall whose waiver was turned down, a hold placed and lifted,
    each with a secret in its reason."""
    scene, certificate = certified_scene(photo=stored_photo)
    first, second = scene.person("compliance_officer"), scene.person("compliance_officer")
    withdraw_certificate(certificate, SECRET, first)
    call_back(scene, SHORT_DEPTHS)
    assess_job(scene.job.pk)
    short = Shortfall.objects.open().select_related("job").get(job=scene.job)
    answer_waiver(record_waiver(short, SECRET, first), False, second, SECRET)
    lift_hold(place_hold(scene.job, SECRET, first), SECRET, first)
    return scene


@pytest.mark.django_db
def test_reasons_are_gone_from_every_table_and_were_never_in_the_ledger(
    django_capture_on_commit_callbacks: Capture,
):
    scene = decided()
    make_seal()
    assert tables_that_say(SECRET) == REASONS
    before = files_of(PackScope([scene.job.pk], "One job"))
    for statement in FORCED:
        with pytest.raises(Exception, match="Cannot update"), transaction.atomic():
            connection.cursor().execute(statement)

    erased(scene, django_capture_on_commit_callbacks, ["reasons"])
    make_seal()

    assert tables_that_say(SECRET) == set()
    assert Waiver.objects.get().reason == LegalHold.objects.get().reason == "[erased]"
    assert CertificateWithdrawal.objects.get().kind == "other"
    assert str(verify_ledger()).endswith("Everything is as it was written.")
    assert all(rerun_agrees(one) for one in scene.job.assessments.all())
    for files in (before, files_of(PackScope([scene.job.pk], "One job"))):
        report = check(files)
        assert report.sound, report.faults
    assert any("legal hold" in note for note in report.notes)
    assert any("answer to a waiver" in note for note in report.notes)


@pytest.mark.django_db
def test_nobody_alone_erases_them_not_even_of_a_job_that_is_closed():
    job: Any = JobFactory(stage="called_off", called_off_reason="moved away")
    officer: Any = UserFactory(role="compliance_officer", company=job.company)

    assert stands_against(job, ["notes"]) == []
    assert "always erased by two people" in " ".join(stands_against(job, ["reasons"]))
    insert = (
        "INSERT INTO compliance_erasure (job_id, kinds, because, reason, items, erased_at, "
        "asked_by_id) VALUES (%s, %s, %s, 'x', '{}', now(), %s)"
    )
    connection.cursor().execute(insert, [job.pk, ["notes"], "asked", officer.pk])
    for because, by in (("asked", officer.pk), ("retention", None)):
        with pytest.raises(IntegrityError, match="second person"), transaction.atomic():
            connection.cursor().execute(insert, [job.pk, ["reasons"], because, by])


@pytest.mark.django_db
def test_reasons_of_old_stay_in_the_ledger_prove_still_and_are_counted(
    django_capture_on_commit_callbacks: Capture,
):
    scene = decided()
    as_of_old("compliance_waiver", "reason")
    as_of_old("compliance_waiveranswer", "note")
    as_of_old("compliance_certificatewithdrawal", "reason")
    make_seal()
    counted = [
        PlainWords("Certificates withdrawn", 1),
        PlainWords("Waivers", 1),
        PlainWords("Answers to waivers", 1),
    ]
    assert plain_in_ledger(scene.job) == counted

    erased(scene, django_capture_on_commit_callbacks, ["reasons"])
    make_seal()

    assert tables_that_say(SECRET) == {"compliance_ledgerentry"}
    assert plain_in_ledger(scene.job) == counted
    assert str(verify_ledger()).endswith("Everything is as it was written.")
    report = check(files_of(PackScope([scene.job.pk], "One job")))
    assert report.sound, report.faults


def test_a_verdict_is_the_same_without_the_words_that_older_inputs_repeat():
    """The words are left out of its sentences; what it rests on is the same."""
    told = 0
    for seed in range(12):
        older = evidence(seed)
        plain = without_words(older)
        assert not repeats_words(plain)
        told += repeats_words(older)
        one, other = (judge_evidence(Evidence.from_dict(i)) for i in (older, plain))
        assert (one.verdict, one.depths, one.checks) == (other.verdict, other.depths, other.checks)
        for said, without in zip(one.missing, other.missing, strict=True):
            assert said == without or said.startswith(without.rstrip("."))
        kept = Evidence.from_dict(older).to_dict()
        assert Evidence.from_dict(plain).to_dict() == without_words(kept)
    assert told
