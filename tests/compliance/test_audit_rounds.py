"""An audit round from the auditor's commitment to the outcome, and what is refused."""

from __future__ import annotations

import hashlib
import subprocess
import sys
from datetime import timedelta

import pytest
from django.db import DatabaseError, connection, transaction
from django.utils import timezone

from compliance.audits.findings import answer_finding, record_finding
from compliance.audits.outcome import outcome_of
from compliance.audits.rounds import (
    RoundTerms,
    close_round,
    commit_round,
    draw_sample,
    population_file,
    repeat_agrees,
    seal_population,
    sealed_population,
)
from compliance.models import AuditRound, Finding, LedgerEntry
from jobs.errors import Conflict, Refused
from tests.compliance.scene import certified_scene, fitted
from tests.factories import JobFactory, UserFactory

pytestmark = pytest.mark.django_db

NONCE = hashlib.sha256(b"a secret of the auditor").hexdigest()
COMMITMENT = hashlib.sha256(bytes.fromhex(NONCE)).hexdigest()


def terms(**changes) -> RoundTerms:
    today = timezone.localdate()
    return RoundTerms(
        **{
            "name": "Autumn",
            "period_from": today - timedelta(days=7),
            "period_to": today,
        }
        | changes
    )


@pytest.fixture
def certified():
    """Three certified jobs of one scheme and company."""
    first, _ = certified_scene()
    others = [
        certified_scene(company=first.company, scheme=first.job.scheme)[0].job for _ in range(2)
    ]
    return [first.job, *others]


@pytest.fixture
def auditor(certified):
    return UserFactory(role="auditor", scheme=certified[0].scheme)


@pytest.fixture
def begun(auditor):
    return commit_round(auditor.scheme, auditor, terms(), COMMITMENT)


@pytest.fixture
def drawn(begun):
    return draw_sample(seal_population(begun), NONCE)


def test_the_population_is_what_was_certified_in_the_period(begun, certified):
    fitted(scheme=begun.scheme)
    certified_scene()

    sealed = seal_population(begun)

    assert sealed_population(sealed) == sorted(job.pk for job in certified)
    assert sealed.state == AuditRound.State.SEALED
    assert sealed.population_size == 3


def test_the_population_stands_in_the_ledger_under_the_seal(begun):
    sealed = seal_population(begun)

    entry = LedgerEntry.objects.get(kind="compliance_populationseal")
    assert sealed.population_sha256 in entry.payload
    assert COMMITMENT in entry.payload
    assert entry.leaf.position < sealed.seal.tree_size


def test_what_is_certified_later_does_not_enter_a_sealed_population(begun):
    sealed = seal_population(begun)
    certified_scene(scheme=begun.scheme)

    assert len(sealed_population(sealed)) == 3
    with pytest.raises(Conflict):
        seal_population(sealed)


def test_a_small_lot_is_drawn_whole(drawn, certified):
    assert {row.job_id for row in drawn.drawn_jobs.all()} == {job.pk for job in certified}
    assert repeat_agrees(drawn)


def test_anyone_can_repeat_the_draw_from_the_command_line(drawn, tmp_path):
    listed = tmp_path / "population.txt"
    listed.write_text(population_file(drawn))
    command = [sys.executable, "-m", "calculations.sampling", "draw", "--nonce", NONCE]
    command += ["--seal", drawn.seal.root_hex, "--round", f"round-{drawn.pk}"]
    command += ["--size", str(drawn.sample_size), "--population", str(listed)]

    printed = subprocess.run(command, capture_output=True, text=True, check=True).stdout

    stored = drawn.drawn_jobs.order_by("draw_order").values_list("job_id", flat=True)
    assert printed.split() == [f"J-{job_id:06d}" for job_id in stored]


def test_another_nonce_than_the_one_committed_to_is_refused(begun):
    sealed = seal_population(begun)

    with pytest.raises(Refused, match="not the secret"):
        draw_sample(sealed, "ab" * 32)

    assert not sealed.drawn_jobs.exists()


def test_nothing_is_drawn_before_the_population_is_sealed(begun):
    with pytest.raises(Conflict, match="Committed"):
        draw_sample(begun, NONCE)


@pytest.mark.parametrize(
    ("changes", "commitment", "field"),
    [
        pytest.param({}, "abc", "nonce_commitment", id="no SHA-256"),
        pytest.param({}, "g" * 64, "nonce_commitment", id="no hexadecimal"),
        pytest.param({"aql": 3.3}, COMMITMENT, "aql", id="no AQL of the table"),
        pytest.param({"level": "IV"}, COMMITMENT, "level", id="no inspection level"),
        pytest.param({"name": ""}, COMMITMENT, "name", id="no name"),
    ],
)
def test_terms_that_cannot_be_are_refused(auditor, changes, commitment, field):
    with pytest.raises(Refused) as refusal:
        commit_round(auditor.scheme, auditor, terms(**changes), commitment)

    assert refusal.value.field == field


def test_a_secret_serves_one_round(auditor):
    """A draw shows it: the company would know the seed of the next before it is sealed."""
    first = commit_round(auditor.scheme, auditor, terms(), COMMITMENT)

    with pytest.raises(Refused, match="begun with this secret already") as refusal:
        commit_round(auditor.scheme, auditor, terms(name="Again"), COMMITMENT.upper())

    assert refusal.value.field == "nonce_commitment"
    assert list(AuditRound.objects.all()) == [first]
    twin = AuditRound.objects.get()
    twin.pk, twin._state.adding = None, True
    with pytest.raises(DatabaseError, match="audit_round_secret_serves_once"), transaction.atomic():
        twin.save()


def test_a_period_without_certificates_has_nothing_to_draw_from(auditor):
    early = timezone.localdate() - timedelta(days=400)
    empty = commit_round(
        auditor.scheme, auditor, terms(period_from=early, period_to=early), COMMITMENT
    )

    with pytest.raises(Refused, match="certified in that period"):
        seal_population(empty)


@pytest.mark.parametrize(
    "change",
    [
        "nonce_commitment = repeat('0', 64)",
        "aql = 1.0",
        "period_to = '2020-01-01'",
        "state = 'committed'",
    ],
)
def test_raw_sql_cannot_move_the_terms_of_a_drawn_round(drawn, change):
    with (
        pytest.raises(DatabaseError, match="pgtrigger"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(f"UPDATE compliance_auditround SET {change} WHERE id = %s", [drawn.pk])


@pytest.mark.parametrize(
    "statement",
    [
        "DELETE FROM compliance_populationjob",
        "DELETE FROM compliance_drawnjob",
        "UPDATE compliance_drawnjob SET draw_order = draw_order + 100",
        "UPDATE compliance_populationseal SET size = 1",
    ],
)
def test_raw_sql_cannot_touch_population_or_sample(drawn, statement):
    with (
        pytest.raises(DatabaseError, match="pgtrigger: Cannot"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(statement)


def test_the_outcome_waits_for_every_job_then_accepts(drawn, auditor):
    jobs = list(drawn.drawn_jobs.select_related("round"))
    record_finding(jobs[0], auditor, severity=Finding.Severity.SOUND)
    assert outcome_of(drawn).accepted is None
    with pytest.raises(Conflict, match="2 drawn jobs"):
        close_round(drawn)

    for job in jobs[1:]:
        record_finding(job, auditor, severity=Finding.Severity.SOUND)

    assert outcome_of(drawn).accepted is True
    assert close_round(drawn).state == AuditRound.State.CLOSED


def test_one_defective_job_is_one_too_many_in_a_small_lot(drawn, auditor):
    job = drawn.drawn_jobs.select_related("round").first()

    record_finding(job, auditor, severity=Finding.Severity.MAJOR, text="Bare patch at the hatch.")

    outcome = outcome_of(drawn)
    assert outcome.accepted is False
    assert outcome.defective == 1
    assert "not accepted" in outcome.what_follows


def test_an_observation_is_no_defect(drawn, auditor):
    job = drawn.drawn_jobs.select_related("round").first()

    record_finding(job, auditor, severity=Finding.Severity.OBSERVATION, text="Gauge hard to read.")

    assert outcome_of(drawn).defective == 0


def test_a_defect_needs_words_and_a_defective_job_is_not_sound(drawn, auditor):
    job = drawn.drawn_jobs.select_related("round").first()
    with pytest.raises(Refused, match="Say what was found"):
        record_finding(job, auditor, severity=Finding.Severity.MINOR)

    record_finding(job, auditor, severity=Finding.Severity.MINOR, text="Tray missing.")

    with pytest.raises(Conflict):
        record_finding(job, auditor, severity=Finding.Severity.SOUND)


def test_finding_and_answer_enter_the_ledger(drawn, auditor, certified):
    job = drawn.drawn_jobs.select_related("round").first()
    finding = record_finding(job, auditor, severity=Finding.Severity.MINOR, text="Tray missing.")

    answer_finding(finding, UserFactory(company=certified[0].company), "Fitted on Friday.")

    kinds = set(LedgerEntry.objects.values_list("kind", flat=True))
    assert {"compliance_finding", "compliance_findinganswer", "compliance_drawnjob"} <= kinds


def test_a_company_sees_findings_on_its_own_jobs_only(drawn, auditor, certified):
    job = drawn.drawn_jobs.select_related("round").first()
    finding = record_finding(job, auditor, severity=Finding.Severity.MINOR, text="Tray missing.")
    own = UserFactory(role="compliance_officer", company=certified[0].company)
    other = UserFactory(role="compliance_officer", company=JobFactory().company)

    assert list(Finding.objects.visible_to(own)) == [finding]
    assert not Finding.objects.visible_to(other).exists()
