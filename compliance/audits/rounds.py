"""The course of an audit round.

1. The auditor commits to a secret nonce by its SHA-256, and to the plan (`planning`).
2. The population (the jobs certified in the period), with the stratum and the risk of each job
   and how many are drawn of each stratum, is written down and sealed in the ledger.
3. The auditor reveals the nonce. The draw's seed is made of the nonce and the Seal's root, so
   the company could not know it when the population was sealed, and the auditor could not know
   the Seal when the nonce was chosen. Anyone can repeat the draw.
4. Where the round is not accepted the sample can be widened: the same draw goes on, by as many
   jobs again.

What is left to an auditor is to give a sealed round up and begin another. It is allowed, since a
secret can be lost, but stands in the list for good with its reason, and no other round over the
same jobs is sealed before.
"""

from __future__ import annotations

import hashlib

from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from calculations.sampling import Drawn, draw_from, draw_seed, population_text, widened
from calculations.sampling.draws import LEAST_NONCE_BYTES
from compliance.audits.follow_up import done_with, note_of_round
from compliance.audits.outcome import Outcome, acceptance_plan, outcome_of
from compliance.audits.planning import (
    RoundTerms,
    commit_round,
    plan_of,
    sample_of,
    strata_to_draw,
    terms_of,
)
from compliance.audits.strata import (
    Candidate,
    candidates_of,
    line_of,
    plain_strata,
    population_lines,
    population_of,
    put_together,
    sealed_strata,
)
from compliance.audits.switching import move_on
from compliance.ledger.seals import make_seal
from compliance.models import (
    AuditFollowUp,
    AuditRound,
    AuditWidening,
    DrawnJob,
    FindingDraft,
    LedgerEntry,
    PopulationJob,
    PopulationSeal,
    Seal,
)
from jobs.errors import Conflict, Refused, refusals_explained
from jobs.models import User
from jobs.models.jobs import reference_of

__all__ = [
    "RoundTerms",
    "close_round",
    "commit_round",
    "draw_sample",
    "give_up_round",
    "plan_of",
    "population_file",
    "population_of",
    "reference_of",
    "repeat_agrees",
    "repeat_command",
    "seal_population",
    "sealed_population",
]

State = AuditRound.State


def population_file(record: AuditRound) -> str:
    """The population as it is hashed, and as `python -m calculations.sampling` reads it."""
    return population_text(population_lines(record))


def population_file_name(record: AuditRound) -> str:
    return f"round-{record.pk}-population.txt"


def sealed_population(record: AuditRound) -> list[int]:
    rows = PopulationJob.objects.filter(round=record).order_by("job_id")
    return list(rows.values_list("job_id", flat=True))


# --- Sealing


def seal_population(record: AuditRound) -> AuditRound:
    """Write the population down, put its hash into the ledger, and seal the ledger.

    Safe to run again after it was interrupted.

    Raises:
        Conflict: the round is past that, or another over the same jobs waits for its draw.
        Refused: nothing was certified in the period.
    """
    with transaction.atomic():
        locked = _locked(record)
        if locked.state != State.COMMITTED:
            raise Conflict("The population of this round is sealed already.")
        if not hasattr(locked, "population_seal"):
            _write_population(locked)
    make_seal()
    with refusals_explained():
        locked = _locked(record)
        if locked.state == State.COMMITTED:
            fact = locked.population_seal
            locked.seal = _first_seal_over(fact)
            locked.population_size, locked.population_sha256 = fact.size, fact.sha256
            locked.sample_size = sum(s.sample for s in sealed_strata(locked))
            locked.accept_at_most = sample_of(locked, fact.size)[1]
            locked.state = State.SEALED
            locked.save()
    return locked


def _locked(record: AuditRound) -> AuditRound:
    rounds = AuditRound.objects.select_related("scheme", "company", "crew", "seal", "auditor")
    return rounds.select_for_update(of=("self",)).get(pk=record.pk)


def _write_population(record: AuditRound) -> None:
    candidates = candidates_of(record)
    if not candidates:
        raise Refused(
            "No such job of the scheme was certified in that period.",
            field="period_from",
            remedy="Begin a round over another period, or over more of the scheme.",
        )
    candidates = put_together(candidates, sample_of(record, len(candidates))[0])
    lines = [line_of(c.job_id, c.stratum, c.risk) for c in candidates]
    PopulationJob.objects.bulk_create(
        (_row(record, candidate) for candidate in candidates), batch_size=5000
    )
    PopulationSeal.objects.create(
        round=record,
        size=len(lines),
        sha256=hashlib.sha256(population_text(lines).encode()).hexdigest(),
        nonce_commitment=record.nonce_commitment,
        terms=terms_of(record),
        strata=plain_strata(strata_to_draw(record, lines)),
    )


def _row(record: AuditRound, candidate: Candidate) -> PopulationJob:
    return PopulationJob(
        round=record,
        job_id=candidate.job_id,
        crew_id=candidate.crew_id,
        stratum=candidate.stratum,
        risk=candidate.risk,
        risk_reasons=list(candidate.reasons),
    )


def _first_seal_over(fact: PopulationSeal) -> Seal:
    """The first Seal that covers the population, so that nobody picks among later ones."""
    entry = LedgerEntry.objects.select_related("leaf").get(
        kind="compliance_populationseal", fact_id=fact.pk
    )
    return Seal.objects.filter(tree_size__gt=entry.leaf.position).earliest("pk")


# --- Drawing


def draw_sample(record: AuditRound, nonce_hex: str) -> AuditRound:
    """Reveal the nonce and draw.

    Raises:
        Refused: the nonce is not the one committed to. Conflict: not sealed, or drawn before.
    """
    nonce = nonce_hex.strip().lower()
    _refuse_nonce(record, nonce)
    with refusals_explained():
        locked = _locked(record)
        if locked.state != State.SEALED or locked.seal is None:
            raise Conflict(f"This round is “{locked.get_state_display()}”: it cannot be drawn now.")
        _write_drawn(locked, drawn_of(locked, nonce))
        locked.nonce_hex = nonce
        locked.drawn_at = timezone.now()
        locked.state = State.DRAWN
        locked.save()
    return locked


def _refuse_nonce(record: AuditRound, nonce: str) -> None:
    if not _is_hex(nonce) or len(nonce) < 2 * LEAST_NONCE_BYTES:
        raise Refused(
            "This is no secret such as a round is begun with.",
            field="nonce_hex",
            remedy=f"Give at least {2 * LEAST_NONCE_BYTES} hexadecimal digits.",
        )
    if hashlib.sha256(bytes.fromhex(nonce)).hexdigest() != record.nonce_commitment:
        raise Refused(
            "This is not the secret (the nonce) whose fingerprint you gave.",
            field="nonce_hex",
            remedy="Look it up where you kept it when you began the round.",
        )


def drawn_of(record: AuditRound, nonce_hex: str, widenings: int = 0) -> tuple[Drawn, ...]:
    """The draw itself, from nothing but the nonce, the Seal, and the sealed population."""
    if record.seal is None:
        raise Conflict("The population of this round is not sealed yet.")
    seed = draw_seed(bytes.fromhex(nonce_hex), bytes(record.seal.root_hash), f"round-{record.pk}")
    return draw_from(seed, population_lines(record), sealed_strata(record), widenings)


def _write_drawn(
    record: AuditRound, drawn: tuple[Drawn, ...], widening: AuditWidening | None = None
) -> None:
    """Store what was drawn; of a widening only what it adds."""
    stage = widening.number if widening else 0
    DrawnJob.objects.bulk_create(
        DrawnJob(
            round=record,
            job_id=int(job.name.removeprefix("J-")),
            draw_order=order,
            stratum=job.stratum,
            weight=job.weight,
            widening=widening,
        )
        for order, job in enumerate(drawn, start=1)
        if job.widening == stage
    )


def widen_round(record: AuditRound, reason: str, by: User) -> AuditWidening:
    """Draw as many jobs again from the same population, where the round was not accepted.

    The same draw goes on where it ended, so nobody chooses what is added, nor how many.

    Raises:
        Refused: no reason. Conflict: the round is not drawn, is not rejected so far, or every
        job is drawn already.
    """
    if not reason.strip():
        raise Refused("Say why more jobs are drawn.", field="reason")
    with refusals_explained():
        locked = _locked(record)
        if locked.state != State.DRAWN or outcome_of(locked).accepted is not False:
            raise Conflict("A round is widened once its sample was not accepted, before it ends.")
        number = locked.widenings.count() + 1
        drawn = drawn_of(locked, locked.nonce_hex, number)
        before = locked.drawn_jobs.count()
        if len(drawn) == before:
            raise Conflict("Every job of the population is drawn already.")
        widening = AuditWidening.objects.create(
            round=locked,
            number=number,
            size_before=before,
            size_after=len(drawn),
            strata=plain_strata(widened(sealed_strata(locked), number)),
            reason=reason.strip(),
            asked_by=by,
        )
        _write_drawn(locked, drawn, widening)
        note_of_round(locked, AuditFollowUp.Kind.WIDENING, reason.strip(), by)
    return widening


def repeat_agrees(record: AuditRound) -> bool:
    """Whether the stored sample is what the nonce, the Seal and the population give, and whether
    the population is what was hashed."""
    if hashlib.sha256(population_file(record).encode()).hexdigest() != record.population_sha256:
        return False
    rows = record.drawn_jobs.order_by("draw_order").values_list("job_id", "stratum")
    stored = [(reference_of(job_id), stratum) for job_id, stratum in rows]
    drawn = drawn_of(record, record.nonce_hex, record.widenings.count())
    return stored == [(job.name, job.stratum) for job in drawn]


def repeat_command(record: AuditRound) -> str:
    """What anyone types to repeat the draw, with the population's file beside them."""
    seal = record.seal.root_hex if record.seal else ""
    parts = [
        "python -m calculations.sampling draw",
        f"--nonce {record.nonce_hex} --commitment {record.nonce_commitment}",
        f"--seal {seal} --round round-{record.pk}",
        f"--size {record.sample_size}",
    ]
    if record.strata_by:
        parts.append(f"--allocation {record.allocation}")
    if widenings := record.widenings.count():
        parts.append(f"--widenings {widenings}")
    return " ".join([*parts, f"--population {population_file_name(record)}"])


# --- The end


def close_round(record: AuditRound) -> AuditRound:
    """End a round once every drawn job was read: its verdict stands, and the series moves on.

    Raises:
        Conflict: jobs are still unread; says how many.
    """
    with refusals_explained():
        locked = _locked(record)
        outcome = outcome_of(locked)
        if locked.state != State.DRAWN or outcome.unread:
            raise Conflict(
                f"{outcome.unread} drawn jobs are still to be read."
                if outcome.unread
                else f"This round is “{locked.get_state_display()}”.",
                remedy="Record a finding on each, if only that it is sound.",
            )
        if waiting := FindingDraft.objects.filter(drawn_job__round=locked).count():
            raise Conflict(
                f"{waiting} findings of this round are not released.",
                remedy="Release or drop them first: a finding nobody saw would be lost.",
            )
        widenings = locked.follow_ups.of_kind(AuditFollowUp.Kind.WIDENING).waiting()
        read = f"All {outcome.drawn} jobs are read, {outcome.defective} of them defective."
        done_with(widenings, locked.auditor, read)
        _move_series_on(locked, outcome)
        locked.accepted = outcome.accepted
        locked.state = State.CLOSED
        locked.closed_at = timezone.now()
        locked.save()
    return locked


def _move_series_on(record: AuditRound, outcome: Outcome) -> None:
    if record.plan != AuditRound.Plan.ACCEPTANCE:
        return
    plan, rejected = acceptance_plan(record), outcome.rejects_as_critical
    step = move_on(record, plan, outcome.counted, rejected=rejected)
    if step.stopped or step.severity != record.severity:
        note_of_round(record, AuditFollowUp.Kind.TIGHTENED, step.why, record.auditor)


def give_up_round(record: AuditRound, reason: str) -> AuditRound:
    """End a round that was not drawn, such as when its secret is lost. It stays in the list.

    Raises:
        Refused: no reason. Conflict: it is drawn already.
    """
    if not reason.strip():
        raise Refused("Say why the round is given up.", field="reason")
    with refusals_explained():
        locked = _locked(record)
        if locked.state not in (State.COMMITTED, State.SEALED):
            raise Conflict(f"This round is “{locked.get_state_display()}”: it is not given up now.")
        locked.given_up_reason = reason.strip()
        locked.state = State.GIVEN_UP
        locked.closed_at = timezone.now()
        locked.save()
    return locked


def given_up_before(record: AuditRound) -> list[AuditRound]:
    """Rounds over some of the same jobs that ended without a draw: for everyone to see."""
    rounds = AuditRound.objects.filter(
        scheme=record.scheme_id,
        state=State.GIVEN_UP,
        seal__isnull=False,
        period_from__lte=record.period_to,
        period_to__gte=record.period_from,
        pk__lt=record.pk,
    )
    if record.company_id is not None:
        rounds = rounds.filter(Q(company=None) | Q(company=record.company_id))
    if record.crew_id is not None:
        rounds = rounds.filter(Q(crew=None) | Q(crew=record.crew_id))
    return list(rounds)


def _is_hex(text: str) -> bool:
    try:
        return bool(bytes.fromhex(text))
    except ValueError:
        return False
