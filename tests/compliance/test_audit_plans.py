"""Plans, strata and risk of a round, sealed before the draw; and what the database refuses."""

from __future__ import annotations

import math
import subprocess
import sys
from collections.abc import Iterator
from typing import Any

import pytest
from django.db import DatabaseError, connection, transaction

from calculations.sampling import confidence_sample_size
from compliance.audits.findings import record_finding
from compliance.audits.outcome import outcome_of
from compliance.audits.rounds import (
    _write_population,
    close_round,
    draw_sample,
    give_up_round,
    given_up_before,
    population_file,
    population_file_name,
    repeat_agrees,
    repeat_command,
    seal_population,
    sealed_population,
    widen_round,
)
from compliance.audits.strata import (
    TOGETHER,
    Candidate,
    put_together,
    sealed_strata,
    strata_now,
    weights_of,
)
from compliance.ledger.check import verify_ledger
from compliance.ledger.seals import make_seal
from compliance.models import AuditRound, LedgerEntry, PopulationJob
from jobs.errors import Conflict, Refused
from jobs.models import Job
from tests.compliance.population_scene import Population, population, secret_of
from tests.factories import CrewFactory

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def scene(django_db_setup: None, django_db_blocker: Any) -> Iterator[Population]:
    """One population for all tests; nothing of it stays."""
    with django_db_blocker.unblock(), transaction.atomic():
        yield population()
        transaction.set_rollback(True)


BY_RISK = {"strata_by": "crew", "allocation": "risk", "aql": 10.0, "level": "III"}


# --- Which jobs


@pytest.mark.parametrize(
    ("terms", "crew"),
    [
        ({"nation": "england"}, None),
        ({"nation": "scotland"}, "nobody"),
        ({"postcode_areas": ["le"]}, "calm"),
        ({"postcode_areas": ["NG", "LE"]}, None),
        ({"postcode_areas": ["L"]}, "nobody"),
    ],
)
def test_a_population_is_of_its_region(scene: Population, terms: dict[str, Any], crew: str | None):
    wanted = {job.pk for job in scene.jobs}
    if crew == "nobody":
        with pytest.raises(Refused, match="certified in that period"):
            seal_population(scene.begin(**terms))
        return
    if crew:
        wanted = scene.of(getattr(scene, crew))
    assert set(sealed_population(seal_population(scene.begin(**terms)))) == wanted


def test_a_population_is_of_its_crew(scene: Population):
    record = seal_population(scene.begin(crew=scene.risky))

    assert set(sealed_population(record)) == scene.of(scene.risky)
    assert record.company == scene.company


@pytest.mark.parametrize(
    ("terms", "field"),
    [
        ({"postcode_areas": ["XQ"]}, "postcode_areas"),
        ({"nation": "france"}, "nation"),
        ({"strata_by": "weather"}, "strata_by"),
        ({"allocation": "risk"}, "strata_by"),
        ({"crew": "foreign"}, "company"),
        ({"crew": "foreign", "company": "own"}, "crew"),
        ({"plan": "confidence", "confidence": 1.5}, "confidence"),
    ],
)
def test_terms_that_cannot_be_are_refused(scene: Population, terms: dict[str, Any], field: str):
    known = {"foreign": CrewFactory, "own": lambda: scene.company}
    asked = {
        name: known[value]() if name in ("crew", "company") else value
        for name, value in terms.items()
    }

    with pytest.raises(Refused) as refusal:
        scene.begin(**asked)

    assert refusal.value.field == field


# --- Strata and risk


def test_risk_is_worked_out_and_sealed_before_the_draw(scene: Population):
    """A flag before, a photo's warning, equal readings: one point each; two times a fifth for the
    crew, of whose five finished jobs one has an open flag."""
    record = seal_population(scene.begin(**BY_RISK))

    rows = PopulationJob.objects.filter(round=record, crew=scene.risky).order_by("job_id")
    assert list(rows.values_list("risk", flat=True)) == [1.4, 2.4, 2.4, 2.4]
    calm = PopulationJob.objects.filter(round=record, crew=scene.calm)
    assert set(calm.values_list("risk", flat=True)) == {1.0}
    assert "equal" in str(rows[3].risk_reasons)
    entry = LedgerEntry.objects.get(kind="compliance_populationseal")
    assert record.population_sha256 in entry.payload
    assert f'"sample": {sealed_strata(record)[0].sample}' in entry.payload
    assert '"allocation": "risk"' in entry.payload


def test_a_risky_stratum_is_looked_at_harder_and_weights_tell(scene: Population):
    drawn = scene.draw(**BY_RISK)

    calm, risky = sealed_strata(drawn)
    assert calm.name == f"{scene.company.name}: {scene.calm.name}"
    assert risky.sample / risky.population > calm.sample / calm.population
    weights = dict(drawn.drawn_jobs.values_list("stratum", "weight"))
    assert weights == {calm.name: calm.weight, risky.name: risky.weight}
    assert sum(drawn.drawn_jobs.values_list("weight", flat=True)) == pytest.approx(12)


def test_what_changes_after_the_seal_changes_nothing(scene: Population):
    sealed = seal_population(scene.begin(**BY_RISK))
    before = population_file(sealed)
    Job.objects.filter(pk=scene.jobs[0].pk).update(due_on="2030-01-01")
    scene.jobs[0].visits.update(crew=CrewFactory(company=scene.company))

    assert population_file(sealed) == before
    assert repeat_agrees(draw_sample(sealed, secret_of(sealed)))


def test_small_strata_are_put_together_until_each_can_have_two():
    crews = [Candidate(n, None, f"Crew {min(n // 4, 3)}") for n in range(18)]
    few = [Candidate(20 + n, None, name) for n, name in enumerate(("X", "Y", "Z"))]

    names = {c.stratum for c in put_together([*crews, *few], size=8)}

    assert names == {"Crew 1", "Crew 2", "Crew 3", TOGETHER}
    assert put_together(crews, size=8) == crews


def test_by_confidence_every_stratum_is_made_sure_of(scene: Population):
    terms = {"plan": "confidence", "confidence": 0.9, "defective_share": 0.25}
    alike = seal_population(scene.begin(**terms))
    draw_sample(alike, secret_of(alike))
    risky = seal_population(scene.begin(**terms, strata_by="crew", allocation="risk"))

    assert alike.sample_size == confidence_sample_size(12, 0.9, 0.25)
    assert risky.sample_size > alike.sample_size
    assert risky.accept_at_most == 0


# --- Repeating it


def repeated(record: AuditRound, folder: Any) -> list[str]:
    """What the command on the page prints, run as it stands there."""
    (folder / population_file_name(record)).write_text(population_file(record))
    command = repeat_command(record).split()[1:]
    at = command.index("--population") + 1
    command[at] = str(folder / command[at])
    done = subprocess.run([sys.executable, *command], capture_output=True, text=True, check=True)
    assert record.population_sha256 in done.stderr
    assert "the one committed to" in done.stderr
    return [line.split("\t")[0] for line in done.stdout.splitlines()]


def test_anyone_repeats_a_stratified_draw_and_its_widening(scene: Population, tmp_path: Any):
    drawn = scene.draw(**BY_RISK | {"aql": 1.5})
    scene.read(drawn, defective=2)
    widen_round(drawn, "Two serious defects.", scene.auditor)

    stored = drawn.drawn_jobs.order_by("draw_order").values_list("job_id", flat=True)
    assert repeated(drawn, tmp_path) == [f"J-{job_id:06d}" for job_id in stored]
    assert repeat_agrees(drawn)


# --- Widening


def test_a_widening_goes_on_where_the_sample_ended(scene: Population):
    drawn = scene.draw(aql=6.5, level="I")
    first = list(drawn.drawn_jobs.values_list("job_id", flat=True))
    scene.read(drawn, defective=1)
    assert outcome_of(drawn).accepted is False

    widening = widen_round(drawn, "One of the first jobs.", scene.auditor)

    assert (widening.size_before, widening.size_after) == (len(first), 2 * len(first))
    assert len(set(drawn.drawn_jobs.values_list("job_id", flat=True))) == 2 * len(first)
    assert set(weights_of(drawn).values()) == {12 / (2 * len(first))}
    assert sum(s.sample for s in strata_now(drawn)) == 2 * len(first)


def test_the_verdict_stays_that_of_the_first_sample(scene: Population):
    """The estimate takes all jobs read: one of 2, then 1 of 4."""
    drawn = scene.draw(aql=6.5, level="I")
    scene.read(drawn, defective=1)
    assert outcome_of(drawn).limits.estimate == 0.5
    widen_round(drawn, "One of two.", scene.auditor)
    scene.read(drawn)

    outcome = outcome_of(drawn)
    assert outcome.accepted is False
    assert (outcome.first.defective, outcome.first.drawn) == (1, 2)
    assert outcome.limits.estimate == outcome.finite.estimate == 0.25
    assert outcome.binomial.high > outcome.finite.high


@pytest.mark.parametrize("defective", [None, 0])
def test_a_round_that_is_not_rejected_is_not_widened(scene: Population, defective: int | None):
    drawn = scene.draw()
    if defective is not None:
        scene.read(drawn, defective)

    with pytest.raises(Conflict, match="not accepted"):
        widen_round(drawn, "To be sure.", scene.auditor)


def test_the_plan_counts_by_weight_where_it_looked_harder(scene: Population):
    """Two defective of the risky crew, four of whose jobs were drawn whole, stand for fewer than
    two of a sample that looked alike."""
    drawn = scene.draw(**BY_RISK)
    risky = drawn.drawn_jobs.filter(stratum__endswith=scene.risky.name)
    for job in risky.select_related("round", "job")[:2]:
        record_finding(job, scene.auditor, severity="minor", text="Tray missing.")
    scene.read(drawn)

    outcome = outcome_of(drawn)
    calm, looked = sealed_strata(drawn)
    by_weight = (calm.sample + looked.sample) * 2 * looked.weight / 12
    assert outcome.first.defective == 2
    least = 1 if drawn.accept_at_most == 0 else 0
    assert outcome.counted == max(least, math.ceil(by_weight - 0.5))
    assert outcome.limits.estimate == pytest.approx(2 * looked.weight / 12)
    assert outcome.finite is None


# --- Giving up, and trying again


@pytest.mark.parametrize(("severity", "accepted"), [("major", True), ("critical", False)])
def test_one_critical_finding_is_enough_not_to_accept(
    scene: Population, severity: str, accepted: bool
):
    """Common practice, no published source."""
    drawn = scene.draw(aql=10.0, level="III")
    assert drawn.accept_at_most >= 1

    scene.read(drawn, defective=1, severity=severity)
    closed = close_round(drawn)
    outcome = outcome_of(closed)

    assert closed.accepted is outcome.accepted is accepted
    assert outcome.counted == 1 and outcome.rejects_as_critical is not accepted
    assert closed.switching_step.recent == [accepted]
    assert ("not accepted" in outcome.what_follows) is not accepted


def test_nobody_seals_again_and_again_until_a_sample_pleases(scene: Population):
    """The auditor could work out a sample before showing the nonce, and begin another round."""
    first = seal_population(scene.begin())
    other = scene.begin(name="Again", company=scene.company)

    with pytest.raises(Conflict, match="sealed and not drawn"):
        seal_population(other)

    give_up_round(first, "The secret is lost.")
    sealed = seal_population(other)
    assert [record.name for record in given_up_before(sealed)] == ["Autumn"]
    with pytest.raises(Conflict, match="Given up"):
        draw_sample(first, secret_of(first))


def test_a_round_given_up_over_one_crew_is_told_of_that_crew_and_of_no_other(scene: Population):
    crew = {"company": scene.company, "crew": scene.calm}
    give_up_round(seal_population(scene.begin(**crew)), "The secret is lost.")

    again, other = scene.begin(**crew), scene.begin(**crew | {"crew": scene.risky})

    assert [record.name for record in given_up_before(again)] == ["Autumn"]
    assert given_up_before(other) == []


def test_a_drawn_round_is_not_given_up_nor_one_without_reason(scene: Population):
    with pytest.raises(Refused, match="why"):
        give_up_round(scene.begin(), " ")
    with pytest.raises(Conflict, match="not given up"):
        give_up_round(scene.draw(), "Not to my liking.")


# --- What the database itself refuses


def refused(statement: str, *values: object) -> None:
    with (
        pytest.raises(DatabaseError),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(statement, values)


TERMS = (
    "crew_id = (SELECT min(id) FROM jobs_crew)",
    "nation = 'wales'",
    "postcode_areas = '{LE}'",
    "strata_by = 'nation'",
    "severity = 'reduced'",
    "severity_reason = 'It pleased me'",
    "plan = 'confidence', confidence = 0.5",
    "aql = 10",
    "level = 'I'",
    "nonce_commitment = repeat('0', 64)",
    "nonce_hex = repeat('ab', 32)",
    "accepted = NOT coalesce(accepted, false)",
)
SEALED = (
    "sample_size = sample_size - 1",
    "accept_at_most = 99",
    "population_size = 1",
    "population_sha256 = repeat('0', 64)",
    "seal_id = NULL",
    "seal_id = seal_id + 1",
    "state = 'committed'",
)


@pytest.mark.parametrize("state", ["committed", "sealed", "drawn", "closed"])
def test_raw_sql_cannot_change_terms_once_committed(scene: Population, state: str):
    record = _at(scene, state)
    for change in (*TERMS, *(SEALED if state != "committed" else ())):
        refused(f"UPDATE compliance_auditround SET {change} WHERE id = %s", record.pk)


def _at(scene: Population, state: str) -> AuditRound:
    if state == "closed":
        return scene.closed()
    if state == "drawn":
        return scene.draw()
    begun = scene.begin()
    return seal_population(begun) if state == "sealed" else begun


POPULATION = (
    "INSERT INTO compliance_populationjob (round_id, job_id, stratum, risk, risk_reasons) "
    "SELECT %s, max(id), '', 1, '[]' FROM jobs_job",
    "UPDATE compliance_populationjob SET risk = 9 WHERE round_id = %s",
    "UPDATE compliance_populationjob SET stratum = 'Elsewhere' WHERE round_id = %s",
    "DELETE FROM compliance_populationjob WHERE round_id = %s",
    "UPDATE compliance_populationseal SET strata = '[]' WHERE round_id = %s",
    "UPDATE compliance_populationseal SET terms = '{}' WHERE round_id = %s",
)


@pytest.mark.parametrize("state", ["sealed", "drawn"])
def test_raw_sql_cannot_change_a_sealed_population(scene: Population, state: str):
    record = _at(scene, state)
    for statement in POPULATION:
        refused(statement, record.pk)
    if state == "drawn":
        refused("UPDATE compliance_drawnjob SET weight = 1 WHERE round_id = %s", record.pk)


DRAWN = (
    "INSERT INTO compliance_drawnjob (round_id, job_id, draw_order, stratum, weight, widening_id) "
)


@pytest.mark.parametrize("state", ["committed", "drawn"])
def test_raw_sql_cannot_add_to_a_draw(scene: Population, state: str):
    record = _at(scene, state)
    undrawn = {job.pk for job in scene.jobs} - set(
        record.drawn_jobs.values_list("job_id", flat=True)
    )
    for order in (record.sample_size, record.sample_size + 1):
        refused(f"{DRAWN} VALUES (%s, %s, %s, '', 1, NULL)", record.pk, min(undrawn), order)


def test_raw_sql_cannot_draw_a_stranger_or_too_few(scene: Population):
    sealed = seal_population(scene.begin())
    stranger = Job.objects.exclude(pk__in=[job.pk for job in scene.jobs]).earliest("pk")
    refused(f"{DRAWN} VALUES (%s, %s, 1, '', 1, NULL)", sealed.pk, stranger.pk)
    refused(
        "UPDATE compliance_auditround SET state = 'drawn', nonce_hex = %s WHERE id = %s",
        secret_of(sealed),
        sealed.pk,
    )
    refused(
        "UPDATE compliance_auditround SET state = 'drawn', nonce_hex = %s WHERE id = %s",
        "ab" * 32,
        sealed.pk,
    )


@pytest.mark.parametrize("more", [1, 13])
def test_raw_sql_cannot_widen_by_more_than_the_rule(scene: Population, more: int):
    drawn = scene.draw(aql=6.5, level="I")
    refused(
        "INSERT INTO compliance_auditwidening (round_id, number, size_before, size_after, strata, "
        "reason, asked_by_id, made_at) VALUES (%s, %s, %s, %s, '[]', 'More', %s, now())",
        drawn.pk,
        1 if more > 1 else 2,
        drawn.sample_size,
        drawn.sample_size + more,
        scene.auditor.pk,
    )


def test_raw_sql_cannot_pick_a_later_seal(scene: Population):
    """A later Seal has another root, so it would draw another sample."""
    begun = scene.begin()
    _write_population(begun)
    first = make_seal()
    scene.closed(crew=scene.risky)
    later = make_seal()
    fact = begun.population_seal
    assert later.pk > first.pk
    seal_with = (
        "UPDATE compliance_auditround SET state = 'sealed', seal_id = %s, sample_size = 2, "
        "population_size = %s, population_sha256 = %s WHERE id = %s"
    )
    refused(seal_with, later.pk, fact.size, fact.sha256, begun.pk)
    refused(seal_with, first.pk, fact.size, "0" * 64, begun.pk)
    assert seal_population(begun).seal == first


def test_the_ledger_holds_with_all_of_it(scene: Population):
    drawn = scene.draw(**BY_RISK | {"aql": 1.5})
    scene.read(drawn, defective=2)
    widen_round(drawn, "Two serious defects.", scene.auditor)

    assert verify_ledger().sound, verify_ledger()
