"""The terms of a round: which jobs, how many, shared out how; and the auditor's commitment."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import date

from django.db.models import Exists, OuterRef, QuerySet

from calculations.sampling import (
    InspectionPlan,
    PopulationLine,
    Stratum,
    SwitchingState,
    chance_of_acceptance,
    confidence_sample_size,
    confidence_strata,
    inspection_plan,
    strata_of,
)
from calculations.sampling.errors import SamplingError
from compliance.audits.follow_up import done_with
from compliance.audits.switching import (
    Standing,
    begin_series,
    newest_step,
    refuse_stopped,
    subject_of,
)
from compliance.models import AuditFollowUp, AuditRound
from jobs.errors import Refused, refusals_explained, refuse_invalid
from jobs.intake.nations import AREA_NATIONS
from jobs.models import Company, Crew, Scheme, User, Visit

HEX_OF_SHA256 = 64


@dataclass(frozen=True, slots=True)
class RoundTerms:
    """What a round looks at and how much of it. `aql` in per cent; shares between 0 and 1.

    severity: "" takes it from the switching rules, which is what a round should do; another one
    is taken only for the first round of a series, and normal where the rules allow reduced
    inspection, which ISO 2859-1 leaves to the responsible authority.
    """

    name: str
    period_from: date
    period_to: date
    company: Company | None = None
    crew: Crew | None = None
    nation: str = ""
    postcode_areas: tuple[str, ...] | list[str] = ()
    plan: str = AuditRound.Plan.ACCEPTANCE
    level: str = "II"
    severity: str = ""
    aql: float = 4.0
    confidence: float = 0.95
    defective_share: float = 0.1
    strata_by: str = ""
    allocation: str = AuditRound.Allocation.PROPORTIONAL


def commit_round(
    scheme: Scheme, auditor: User, terms: RoundTerms, nonce_commitment: str
) -> AuditRound:
    """Begin a round. The commitment is SHA-256 of the auditor's nonce, as 64 hex digits.

    Raises:
        Refused: a term or the commitment cannot be; names the field.
        Conflict: acceptance by sampling is stopped for this crew or company.
    """
    record = AuditRound(
        scheme=scheme,
        auditor=auditor,
        name=terms.name,
        period_from=terms.period_from,
        period_to=terms.period_to,
        company=terms.company or (terms.crew.company if terms.crew else None),
        crew=terms.crew,
        nation=terms.nation,
        postcode_areas=_areas(terms.postcode_areas),
        plan=terms.plan,
        level=terms.level,
        severity=terms.severity or "normal",
        aql=terms.aql,
        confidence=terms.confidence,
        defective_share=terms.defective_share,
        strata_by=terms.strata_by,
        allocation=terms.allocation,
        nonce_commitment=_commitment(nonce_commitment),
    )
    _refuse_strangers(record)
    refuse_invalid(record)
    if record.plan == AuditRound.Plan.ACCEPTANCE:
        _inspect_as_the_rules_say(record, terms.severity)
    _refuse_plan(record)
    with refusals_explained():
        _refuse_used_secret(record)
        record.save()
        begin_series(record)
        _note_inspected_so(record)
    return record


def plan_of(record: AuditRound, lot_size: int) -> InspectionPlan:
    """The acceptance plan of a round, for a lot of that many jobs."""
    return inspection_plan(lot_size, record.aql, record.level, record.severity)  # type: ignore[arg-type]


def sample_of(record: AuditRound, lot_size: int) -> tuple[int, int]:
    """Sample size without strata, and the most defective jobs it may hold to be accepted."""
    if record.plan == AuditRound.Plan.ACCEPTANCE:
        plan = plan_of(record, lot_size)
        return plan.sample_size, plan.accept
    return confidence_sample_size(lot_size, record.confidence, record.defective_share), 0


def company_risk_words(record: AuditRound) -> str:
    """What the plan means for a company at the AQL: how often chance alone turns it down."""
    plan = plan_of(record, record.population_size)
    allowed = math.floor(plan.aql * plan.lot_size / 100)
    if not allowed:
        return ""
    turned_down = round(100 * (1 - chance_of_acceptance(plan, allowed)))
    often = f"about {turned_down} of 100" if turned_down else "fewer than one of 100"
    said = (
        f"If {allowed} of the {plan.lot_size} jobs {'is' if allowed == 1 else 'are'} defective, "
        f"as many as the AQL allows, chance alone still turns the company down in {often} rounds"
    )
    if record.strata_by and record.allocation == AuditRound.Allocation.RISK:
        return f"{said}; that more are drawn where risk is adds up to two of 100, by simulation."
    return f"{said}."


def strata_to_draw(record: AuditRound, lines: list[PopulationLine]) -> tuple[Stratum, ...]:
    """How many are drawn of each stratum.

    An acceptance plan fixes the sum. By confidence the sum grows until the sample makes as sure
    wherever the defective jobs are.
    """
    by = record.allocation
    if record.plan == AuditRound.Plan.ACCEPTANCE:
        return strata_of(lines, sample_of(record, len(lines))[0], by)  # type: ignore[arg-type]
    return confidence_strata(lines, record.confidence, record.defective_share, by)  # type: ignore[arg-type]


def terms_of(record: AuditRound) -> dict[str, object]:
    """The terms as they are sealed with the population."""
    return {
        "scheme": record.scheme.code,
        "company_id": record.company_id,
        "crew_id": record.crew_id,
        "nation": record.nation,
        "postcode_areas": record.postcode_areas,
        "period_from": record.period_from.isoformat(),
        "period_to": record.period_to.isoformat(),
        "plan": record.plan,
        "level": record.level,
        "severity": record.severity,
        "severity_reason": record.severity_reason,
        "aql": record.aql,
        "confidence": record.confidence,
        "defective_share": record.defective_share,
        "strata_by": record.strata_by,
        "allocation": record.allocation,
    }


def _commitment(given: str) -> str:
    commitment = given.strip().lower()
    if not re.fullmatch(rf"[0-9a-f]{{{HEX_OF_SHA256}}}", commitment):
        raise Refused(
            "The commitment is not a SHA-256.",
            field="nonce_commitment",
            remedy="Give its 64 hexadecimal digits; the page makes them for you.",
        )
    return commitment


def _refuse_used_secret(record: AuditRound) -> None:
    """A draw shows its secret. Used again, the company would know it before the next Seal, and
    could try which jobs to certify before it. Of two at once the database refuses one.
    """
    used = AuditRound.objects.filter(nonce_commitment=record.nonce_commitment)
    if used.exists():
        own = used.filter(scheme=record.scheme).first()
        raise Refused(
            f"{f'“{own.name}”' if own else 'A round'} was begun with this secret already.",
            field="nonce_commitment",
            remedy="Make another one: a draw shows its secret, so each serves one round.",
        )


def _areas(given: tuple[str, ...] | list[str]) -> list[str]:
    """Postcode areas in capitals, each once, in order; refused where there is none such."""
    areas = sorted({area.strip().upper() for area in given if area.strip()})
    unknown = [area for area in areas if area not in AREA_NATIONS]
    if unknown:
        raise Refused(
            f"There is no postcode area {unknown[0]}.",
            field="postcode_areas",
            remedy="Give the letters before the first digit, such as LE, with commas between.",
        )
    return areas


def _refuse_strangers(record: AuditRound) -> None:
    """Company and crew are of the scheme, and of one another."""
    company, crew = record.company, record.crew
    if crew is not None and company is not None and crew.company_id != company.pk:
        raise Refused(
            f"{crew.name} is no crew of {company.name}.",
            field="crew",
            remedy="Choose one of its crews, or leave the crew empty.",
        )
    if company is not None and not company.schemes.filter(pk=record.scheme.pk).exists():
        raise Refused(f"{company.name} does not work under {record.scheme.name}.", field="company")


def crews_under(scheme_id: int) -> QuerySet[Crew]:
    """Crews that were booked to fit jobs of the scheme; of others its auditors hear nothing."""
    theirs = Visit.objects.filter(crew=OuterRef("pk"), job__scheme=scheme_id)
    theirs = theirs.exclude(kind=Visit.Kind.SURVEY)
    return Crew.objects.filter(Exists(theirs))


def _inspect_as_the_rules_say(record: AuditRound, asked: str) -> None:
    """Severity is nobody's choice, but for the first round of a series."""
    subject = subject_of(record)
    standing = refuse_stopped(subject)
    if asked and asked != standing.severity:
        spared = (asked, standing.severity) == ("normal", "reduced")
        if newest_step(subject) is not None and not spared:
            raise Refused(
                f"By the switching rules this round is inspected at {standing.severity}. "
                f"{standing.why}",
                field="severity",
                remedy="Leave it as the rules say.",
            )
        standing = Standing(
            SwitchingState(severity=asked),  # type: ignore[arg-type]
            "The scheme does not want reduced inspection now."
            if spared
            else f"The auditor begins the series at {asked} inspection.",
        )
    record.severity, record.severity_reason = standing.severity, standing.why


def _note_inspected_so(record: AuditRound) -> None:
    """What an earlier round of the series led to came about: this one is inspected so."""
    waiting = AuditFollowUp.objects.of_kind(AuditFollowUp.Kind.TIGHTENED).waiting()
    if record.plan == AuditRound.Plan.ACCEPTANCE:
        of_series = waiting.filter(
            round__scheme=record.scheme, round__company=record.company, round__crew=record.crew
        )
        note = f"{record.name} is inspected at {record.severity}."
        done_with(of_series, record.auditor, note)


def _refuse_plan(record: AuditRound) -> None:
    """A plan that no lot could be drawn by is refused now, not when the population is sealed."""
    try:
        sample_of(record, lot_size=1000)
    except SamplingError as error:
        said = f"{error.field} {error.message}"
        raise Refused(said, field=error.field, remedy=error.remedy) from error
