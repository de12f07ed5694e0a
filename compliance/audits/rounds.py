"""The course of an audit round.

1. The auditor commits to a secret nonce by its SHA-256, and to the plan.
2. The population (the jobs certified in the period) is written down and sealed in the ledger.
3. The auditor reveals the nonce. The draw's seed is made of the nonce and the Seal's root, so
   the company could not know it when the population was sealed, and the auditor could not know
   the Seal when the nonce was chosen. Anyone can repeat the draw.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import date

from django.db import transaction
from django.utils import timezone

from calculations.sampling import (
    confidence_sample_size,
    draw,
    draw_seed,
    inspection_plan,
)
from calculations.sampling.draws import LEAST_NONCE_BYTES
from calculations.sampling.errors import SamplingError
from compliance.ledger.seals import make_seal
from compliance.models import AuditRound, Certificate, DrawnJob, PopulationJob, PopulationSeal
from jobs.errors import Conflict, Refused, refusals_explained, refuse_invalid
from jobs.models import Company, Job, Scheme, User

HEX_OF_SHA256 = 64


@dataclass(frozen=True, slots=True)
class RoundTerms:
    """What a round looks at and how much of it. `aql` in per cent; shares between 0 and 1."""

    name: str
    period_from: date
    period_to: date
    company: Company | None = None
    plan: str = AuditRound.Plan.ACCEPTANCE
    level: str = "II"
    severity: str = "normal"
    aql: float = 4.0
    confidence: float = 0.95
    defective_share: float = 0.1


def commit_round(
    scheme: Scheme, auditor: User, terms: RoundTerms, nonce_commitment: str
) -> AuditRound:
    """Begin a round. The commitment is SHA-256 of the auditor's nonce, as 64 hex digits.

    Raises:
        Refused: a term or the commitment cannot be; names the field.
    """
    commitment = nonce_commitment.strip().lower()
    if len(commitment) != HEX_OF_SHA256 or not _is_hex(commitment):
        raise Refused(
            "The commitment is not a SHA-256.",
            field="nonce_commitment",
            remedy="Give its 64 hexadecimal digits; the page makes them for you.",
        )
    record = AuditRound(
        scheme=scheme,
        auditor=auditor,
        name=terms.name,
        period_from=terms.period_from,
        period_to=terms.period_to,
        company=terms.company,
        plan=terms.plan,
        level=terms.level,
        severity=terms.severity,
        aql=terms.aql,
        confidence=terms.confidence,
        defective_share=terms.defective_share,
        nonce_commitment=commitment,
    )
    refuse_invalid(record)
    _refuse_plan(record)
    with refusals_explained():
        record.save()
    return record


def _refuse_plan(record: AuditRound) -> None:
    """A plan that no lot could be drawn by is refused now, not when the population is sealed."""
    try:
        sample_of(record, lot_size=1000)
    except SamplingError as error:
        raise Refused(error.message, field=error.field, remedy=error.remedy) from error


def population_of(record: AuditRound) -> list[int]:
    """Ids of the jobs whose current certificate was issued in the period, in order."""
    certificates = Certificate.objects.current().filter(
        job__scheme=record.scheme,
        issued_at__date__gte=record.period_from,
        issued_at__date__lte=record.period_to,
    )
    if record.company_id is not None:
        certificates = certificates.filter(job__company_id=record.company_id)
    return list(certificates.order_by("job_id").values_list("job_id", flat=True))


def reference_of(job_id: int) -> str:
    return Job(pk=job_id).reference


def population_text(job_ids: list[int]) -> str:
    """The population as it is hashed: one job reference a line."""
    return "".join(f"{reference_of(job_id)}\n" for job_id in job_ids)


def sealed_population(record: AuditRound) -> list[int]:
    rows = PopulationJob.objects.filter(round=record).order_by("job_id")
    return list(rows.values_list("job_id", flat=True))


def seal_population(record: AuditRound) -> AuditRound:
    """Write the population down, put its hash into the ledger, and seal the ledger.

    Safe to run again after it was interrupted.

    Raises:
        Conflict: the round is past that. Refused: nothing was certified in the period.
    """
    with transaction.atomic():
        locked = AuditRound.objects.select_for_update().get(pk=record.pk)
        if locked.state != AuditRound.State.COMMITTED:
            raise Conflict("The population of this round is sealed already.")
        if not hasattr(locked, "population_seal"):
            _write_population(locked)
    seal = make_seal()
    with transaction.atomic():
        locked = AuditRound.objects.select_for_update().get(pk=record.pk)
        if locked.state == AuditRound.State.COMMITTED:
            fact = locked.population_seal
            locked.seal = seal
            locked.population_size, locked.population_sha256 = fact.size, fact.sha256
            locked.sample_size, locked.accept_at_most = sample_of(locked, fact.size)
            locked.state = AuditRound.State.SEALED
            locked.save()
    return locked


def _write_population(record: AuditRound) -> None:
    job_ids = population_of(record)
    if not job_ids:
        raise Refused(
            "No job of the scheme was certified in that period.",
            field="period_from",
            remedy="Begin a round over another period.",
        )
    PopulationJob.objects.bulk_create(
        (PopulationJob(round=record, job_id=job_id) for job_id in job_ids), batch_size=5000
    )
    PopulationSeal.objects.create(
        round=record,
        size=len(job_ids),
        sha256=hashlib.sha256(population_text(job_ids).encode()).hexdigest(),
        nonce_commitment=record.nonce_commitment,
    )


def sample_of(record: AuditRound, lot_size: int) -> tuple[int, int]:
    """Sample size and the most defective jobs it may hold to be accepted."""
    if record.plan == AuditRound.Plan.ACCEPTANCE:
        plan = inspection_plan(lot_size, record.aql, record.level, record.severity)
        return min(plan.sample_size, lot_size), plan.accept
    size = confidence_sample_size(lot_size, record.confidence, record.defective_share)
    return size, 0


def draw_sample(record: AuditRound, nonce_hex: str) -> AuditRound:
    """Reveal the nonce and draw.

    Raises:
        Refused: the nonce is not the one committed to. Conflict: not sealed, or drawn before.
    """
    nonce = nonce_hex.strip().lower()
    if not _is_hex(nonce) or len(nonce) < 2 * LEAST_NONCE_BYTES:
        raise Refused(
            "This is no nonce.",
            field="nonce_hex",
            remedy=f"Give at least {2 * LEAST_NONCE_BYTES} hexadecimal digits.",
        )
    if hashlib.sha256(bytes.fromhex(nonce)).hexdigest() != record.nonce_commitment:
        raise Refused(
            "This is not the nonce you committed to.",
            field="nonce_hex",
            remedy="Look it up where you kept it when you began the round.",
        )
    with refusals_explained():
        locked = AuditRound.objects.select_for_update().get(pk=record.pk)
        if locked.state != AuditRound.State.SEALED or locked.seal is None:
            raise Conflict(f"This round is “{locked.get_state_display()}”: it cannot be drawn now.")
        chosen = drawn_references(locked, nonce)
        DrawnJob.objects.bulk_create(
            DrawnJob(round=locked, job_id=int(reference.removeprefix("J-")), draw_order=order)
            for order, reference in enumerate(chosen, start=1)
        )
        locked.nonce_hex = nonce
        locked.drawn_at = timezone.now()
        locked.state = AuditRound.State.DRAWN
        locked.save()
    return locked


def drawn_references(record: AuditRound, nonce_hex: str) -> tuple[str, ...]:
    """The draw itself, from nothing but the nonce, the Seal, and the sealed population."""
    if record.seal is None:
        raise Conflict("The population of this round is not sealed yet.")
    seed = draw_seed(bytes.fromhex(nonce_hex), bytes(record.seal.root_hash), f"round-{record.pk}")
    population = [reference_of(job_id) for job_id in sealed_population(record)]
    return draw(seed, population, record.sample_size)


def repeat_agrees(record: AuditRound) -> bool:
    """Whether the stored sample is what the nonce and the Seal give."""
    stored = [
        reference_of(job_id)
        for job_id in record.drawn_jobs.order_by("draw_order").values_list("job_id", flat=True)
    ]
    return stored == list(drawn_references(record, record.nonce_hex))


def close_round(record: AuditRound) -> AuditRound:
    """End a round once every drawn job was read.

    Raises:
        Conflict: jobs are still unread; says how many.
    """
    with transaction.atomic():
        locked = AuditRound.objects.select_for_update().get(pk=record.pk)
        unread = locked.drawn_jobs.filter(findings__isnull=True).count()
        if locked.state != AuditRound.State.DRAWN or unread:
            raise Conflict(
                f"{unread} drawn jobs are still to be read."
                if unread
                else f"This round is “{locked.get_state_display()}”.",
                remedy="Record a finding on each, if only that it is sound.",
            )
        locked.state = AuditRound.State.CLOSED
        locked.closed_at = timezone.now()
        locked.save()
    return locked


def _is_hex(text: str) -> bool:
    try:
        return bool(bytes.fromhex(text))
    except ValueError:
        return False
