"""Certificates: exactly one for a job that meets its rule, drawn and signed the same each time."""

from __future__ import annotations

import hashlib
import threading
from dataclasses import replace
from io import BytesIO

import pypdf
import pytest
from django.db import IntegrityError, connection, connections, transaction

from compliance.assess import assess_job
from compliance.catching_up import jobs_to_certify
from compliance.certificates import issue as issuing
from compliance.certificates.contents import U_VALUE_METHOD, LayerLine, contents_from_dict
from compliance.certificates.issue import issue_certificate, make_again
from compliance.certificates.pdf import draw_pdf
from compliance.certificates.storage import read_pdf
from compliance.certificates.withdraw import withdraw_certificate
from compliance.models import Assessment, Certificate
from compliance.personal.plain import PlainWords, plain_in_verdicts
from jobs.errors import Conflict, Refused
from jobs.models import Job, LayerPlan, Stage
from tests.compliance.scene import bare, certified_scene, fitted, short_scene
from tests.factories import (
    A_MONDAY,
    DepthReadingFactory,
    HandoverFactory,
    UserFactory,
    VariationFactory,
)

pytestmark = pytest.mark.django_db


def words_of(certificate: Certificate) -> str:
    reader = pypdf.PdfReader(BytesIO(read_pdf(certificate.pdf_name)))
    return " ".join(" ".join(page.extract_text().split()) for page in reader.pages)


def test_a_job_that_meets_its_rule_gets_its_certificate():
    scene, certificate = certified_scene()

    assert Job.objects.get(pk=scene.job.pk).stage == Stage.CERTIFIED
    assert certificate.assessment.verdict == "meets"
    stored = read_pdf(certificate.pdf_name)
    assert hashlib.sha256(stored).hexdigest() == certificate.pdf_sha256


def test_asking_twice_gives_the_same_certificate():
    scene, certificate = certified_scene()

    assert issue_certificate(scene.job.pk) == certificate
    assert Certificate.objects.count() == 1


@pytest.mark.parametrize("make", [lambda: short_scene()[0], bare], ids=["short", "unproven"])
def test_no_certificate_for_a_job_that_is_not_proven(make):
    scene = make()
    assess_job(scene.job.pk)

    with pytest.raises(Conflict, match="no verdict that meets"):
        issue_certificate(scene.job.pk)


def test_what_the_crew_left_out_is_an_exception_and_its_free_words_are_not_printed():
    scene = fitted()
    told = VariationFactory(
        visit=scene.visit,
        kind="not_reached",
        meaning="left_out",
        reason="Ask Wren at number 9",
        area=scene.area,
    )
    VariationFactory(visit=scene.visit, kind="other_roll", meaning="same_depth", area=None)
    assess_job(scene.job.pk)
    certificate = issue_certificate(scene.job.pk)
    day = f"{told.corrected_at:%-d %b %Y}"

    assert certificate.contents["exceptions"] == [
        f"{scene.area.name}: part of the loft can’t be reached; that part is not insulated, "
        f"as the crew told on {day}."
    ]
    words = words_of(certificate)
    assert "that part is not insulated" in words
    assert "number 9" not in words


def test_the_certificate_prints_what_was_found():
    scene, certificate = certified_scene()
    home = scene.job.property
    words = words_of(certificate)

    for text in (
        certificate.code,
        home.address_line_1,
        home.postcode,
        scene.job.reference,
        scene.job.scheme.name,
        scene.company.name,
        "at least 270 mm",
        "no published table states it",
        "Put nothing on the insulation",
        "The arithmetic of the verdict",
        certificate.assessment.inputs_sha256,
    ):
        assert str(text).replace("\u202f", " ") in words.replace("\u202f", " "), text


def test_the_householder_is_not_named():
    _, certificate = certified_scene(property__householder_name="Quentin Uniquename")

    assert "Uniquename" not in words_of(certificate)
    assert "A. Householder" not in words_of(certificate)


def test_a_demo_companys_certificate_says_that_it_is_invented():
    _, certificate = certified_scene(company__is_invented=True)

    assert "Invented for a demonstration" in words_of(certificate)


def test_what_was_left_undone_is_an_exception_on_the_certificate():
    scene = fitted()

    HandoverFactory(
        visit=scene.visit,
        all_done=False,
        not_done_reason="The far end was full of boxes.",
        signed_at=A_MONDAY.replace(hour=15),
    )
    assess_job(scene.job.pk)

    assert "far end was full of boxes" in words_of(issue_certificate(scene.job.pk))
    assert plain_in_verdicts(scene.job) == [PlainWords("Certificates", 1)]


def test_made_again_it_is_the_same_byte_for_byte():
    _, certificate = certified_scene()

    assert make_again(Certificate.objects.get(pk=certificate.pk)) == read_pdf(certificate.pdf_name)


def test_a_crowded_certificate_still_has_its_first_page_to_itself():
    _, certificate = certified_scene()
    contents = contents_from_dict(certificate.contents)
    crowded = replace(
        contents,
        address=("Flat 12, The Old Malthouse and Granary Buildings", "Long Lane", "Nether Wallop"),
        invented=True,
        layers=tuple(
            LayerLine(f"Area {i // 3}", f"Layer {i}", "across", "Roll", 100, True)
            for i in range(18)
        ),
        u_before_w_m2k=0.4,
        u_after_w_m2k=0.16,
        u_value_method=U_VALUE_METHOD,
        exceptions=tuple(
            f"Exception {i}: " + "the roof leaves too little room. " * 6 for i in range(7)
        ),
    )

    pages = [page.extract_text() for page in pypdf.PdfReader(BytesIO(draw_pdf(crowded))).pages]

    assert "Annex to certificate" in pages[1]
    assert "The hatch" in pages[0]
    assert "Old materials" in pages[0]
    assert "Exception 6" in "".join(pages)


def test_a_withdrawn_certificate_stays_and_the_job_waits_again():
    scene, certificate = certified_scene()
    officer = scene.person("compliance_officer")

    withdraw_certificate(certificate, "opened up for rewiring", officer)

    kept = Certificate.objects.get(pk=certificate.pk)
    assert (kept.is_current, kept.withdrawal.withdrawn_by) == (False, officer)
    assert Job.objects.get(pk=scene.job.pk).stage == Stage.TO_ASSESS


def test_after_a_person_withdrew_only_a_person_issues_again():
    scene, certificate = certified_scene()
    officer = scene.person("compliance_officer")
    withdraw_certificate(certificate, "opened up for rewiring", officer)

    with pytest.raises(Conflict, match="withdrawn by a person"):
        issue_certificate(scene.job.pk)
    assert scene.job.pk not in jobs_to_certify()
    assert issue_certificate(scene.job.pk, officer).issued_by == officer


def test_withdrawing_needs_a_reason_and_happens_once():
    scene, certificate = certified_scene()
    officer = scene.person("compliance_officer")

    with pytest.raises(Refused, match="Say why"):
        withdraw_certificate(certificate, "  ", officer)
    withdraw_certificate(certificate, "opened up", officer)
    with pytest.raises(Conflict, match="withdrawn already"):
        withdraw_certificate(certificate, "again", officer)


def test_evidence_that_arrives_while_it_is_drawn_stops_the_certificate(monkeypatch):
    scene = fitted()
    assess_job(scene.job.pk)
    draw = issuing.make_pdf

    def slow(contents):
        DepthReadingFactory(visit=scene.visit, area=scene.area, x_mm=4000, y_mm=3000, depth_mm=80)
        assess_job(scene.job.pk)
        return draw(contents)

    monkeypatch.setattr(issuing, "make_pdf", slow)

    with pytest.raises(Conflict, match="no verdict that meets"):
        issue_certificate(scene.job.pk)
    assert not Certificate.objects.exists()


def test_a_crash_between_file_and_row_leaves_nothing_but_a_file(monkeypatch):
    scene = fitted()
    assess_job(scene.job.pk)
    monkeypatch.setattr(
        issuing, "_write_row", lambda *_: (_ for _ in ()).throw(RuntimeError("killed"))
    )
    with pytest.raises(RuntimeError):
        issue_certificate(scene.job.pk)
    monkeypatch.undo()

    assert list(jobs_to_certify()) == [scene.job.pk]
    assert issue_certificate(scene.job.pk).is_current


def insert_certificate(job_id: int, assessment_id: int, code: str = "RAW-SQL") -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO compliance_certificate (job_id, assessment_id, code, issued_at, "
            "pdf_name, pdf_sha256, contents) VALUES (%s, %s, %s, now(), 'x', 'x', '{}')",
            [job_id, assessment_id, code],
        )


@pytest.mark.parametrize("make", [lambda: short_scene()[0], bare], ids=["short", "unproven"])
def test_raw_sql_cannot_certify_what_does_not_meet(make):
    scene = make()
    assessment = assess_job(scene.job.pk)

    with pytest.raises(IntegrityError, match="latest assessment that meets"):
        insert_certificate(scene.job.pk, assessment.pk)


def test_raw_sql_cannot_certify_by_an_outdated_verdict():
    scene = fitted()
    met = assess_job(scene.job.pk)
    DepthReadingFactory(visit=scene.visit, area=scene.area, x_mm=4000, y_mm=3000, depth_mm=80)
    assess_job(scene.job.pk)

    with pytest.raises(IntegrityError, match="latest assessment that meets"):
        insert_certificate(scene.job.pk, met.pk)


def test_raw_sql_cannot_certify_by_another_jobs_verdict():
    met = assess_job(fitted().job.pk)
    other = bare()

    with pytest.raises(IntegrityError):
        insert_certificate(other.job.pk, met.pk)


def test_raw_sql_cannot_write_a_second_certificate():
    scene, certificate = certified_scene()

    with pytest.raises(IntegrityError, match="already has a current certificate"):
        insert_certificate(scene.job.pk, certificate.assessment_id)


def test_raw_sql_cannot_leave_a_certificate_to_a_verdict_that_no_longer_meets():
    scene, certificate = certified_scene()

    with (
        pytest.raises(IntegrityError, match="withdraw its certificate"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(
            "INSERT INTO compliance_assessment (job_id, number, rule_id, engine_version, verdict,"
            " inputs, inputs_sha256, arithmetic, missing, deficit_mm, deficit_area_m2,"
            " reading_count, made_at) SELECT job_id, number + 1, rule_id, engine_version, 'short',"
            " inputs, inputs_sha256, arithmetic, missing, 0, 0, 0, now()"
            " FROM compliance_assessment WHERE id = %s",
            [certificate.assessment_id],
        )
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")


FACT_TABLES = [
    ("jobs_depthreading", "depth_mm = 999"),
    ("jobs_photo", "note = 'another'"),
    ("jobs_prestartcheck", "safe_to_start = true"),
    ("jobs_handover", "signed_name = 'another'"),
    ("compliance_assessment", "verdict = 'meets'"),
    ("compliance_certificate", "code = 'ANOTHER'"),
    ("compliance_certificatewithdrawal", "reason = 'another'"),
]


@pytest.mark.parametrize(("table", "change"), FACT_TABLES, ids=[row[0] for row in FACT_TABLES])
@pytest.mark.parametrize("verb", ["update", "delete"])
def test_raw_sql_cannot_change_a_fact(table: str, change: str, verb: str):
    scene, certificate = certified_scene()
    withdraw_certificate(certificate, "opened up", scene.person("compliance_officer"))
    statement = f"UPDATE {table} SET {change}" if verb == "update" else f"DELETE FROM {table}"

    with (
        pytest.raises(Exception, match="Cannot update or delete rows"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(statement)


@pytest.mark.django_db(transaction=True)
def test_two_processes_at_once_issue_one_certificate():
    scene = fitted()
    assess_job(scene.job.pk)
    codes: list[str] = []
    start = threading.Barrier(2)

    def issue() -> None:
        try:
            start.wait(20)
            codes.append(issue_certificate(scene.job.pk).code)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=issue) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert Certificate.objects.count() == 1
    assert codes == [Certificate.objects.get().code] * 2


def test_a_certificate_without_a_layer_plan_says_so():
    scene = fitted()
    assess_job(scene.job.pk)

    assert not LayerPlan.objects.filter(job=scene.job).exists()
    assert "No layer plan is stored" in words_of(issue_certificate(scene.job.pk))


def test_history_can_be_told():
    scene = fitted()
    assessment = assess_job(scene.job.pk, at=A_MONDAY)
    certificate = issue_certificate(scene.job.pk, UserFactory(), at=A_MONDAY)

    assert (assessment.made_at, certificate.issued_at) == (A_MONDAY, A_MONDAY)
    assert Assessment.objects.get().made_at == A_MONDAY
