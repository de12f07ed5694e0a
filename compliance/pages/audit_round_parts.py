"""What the page of a round shows, part by part."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.urls import reverse

from calculations.sampling import Stratum
from compliance.audits.outcome import Outcome, acceptance_plan, outcome_of
from compliance.audits.rounds import (
    given_up_before,
    population_file_name,
    repeat_agrees,
    repeat_command,
)
from compliance.audits.strata import strata_now, weights_of
from compliance.models import AuditFollowUp, AuditRound, DrawnJob, Finding, PopulationJob
from compliance.pages.audit_forms import DrawForm, ReasonForm

READABLE = (AuditRound.State.DRAWN, AuditRound.State.CLOSED)
REPEATED_EVERY_TIME = 20_000
"""Up to so many jobs the page repeats the draw whenever it is shown (about a second)."""
SERIOUS = (Finding.Severity.MAJOR, Finding.Severity.CRITICAL)


@dataclass(frozen=True, slots=True)
class StratumRow:
    """A stratum: its jobs, drawn, read, defective; jobs each drawn one stands for."""

    stratum: Stratum
    read: int
    defective: int

    @property
    def mean_risk(self) -> float:
        return self.stratum.risk / self.stratum.population


@dataclass(frozen=True, slots=True)
class DrawnRow:
    """A drawn job, the weight it has today, and why it was thought a risk before the Seal."""

    drawn: DrawnJob
    weight: float
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class DefectRow:
    """A finding that something can follow from, and what was asked because of it."""

    finding: Finding
    asked: dict[str, AuditFollowUp]

    @property
    def may_ask_call_back(self) -> bool:
        return AuditFollowUp.Kind.CALL_BACK not in self.asked

    @property
    def may_ask_withdrawal(self) -> bool:
        return self.finding.severity in SERIOUS and AuditFollowUp.Kind.WITHDRAWAL not in self.asked


def round_parts(record: AuditRound, *, repeat: bool = False) -> dict[str, Any]:
    """The context of a round's page. repeat: repeat the draw even from a great population."""
    is_read = record.state in READABLE
    outcome = outcome_of(record) if is_read else None
    return {
        "round": record,
        "plan_words": plan_words(record),
        "scope_words": scope_words(record),
        "outcome": outcome,
        "limit_rows": _limit_rows(outcome) if outcome else (),
        "strata": _strata(record, outcome) if record.seal_id and record.strata_by else (),
        "sample": _sample(record) if is_read else (),
        "defects": _defects(record) if is_read else (),
        "of_round": record.follow_ups.filter(job=None).with_place() if is_read else (),
        "given_up_before": given_up_before(record),
        "draw_form": DrawForm(),
        "reason_form": ReasonForm(),
        "population_url": reverse("audit_population", args=[record.pk]),
        **draw_parts(record, repeat=repeat),
    }


def draw_parts(record: AuditRound, *, repeat: bool = False) -> dict[str, Any]:
    """What the part about the draw shows, to the auditor and to a company."""
    drawn = bool(record.nonce_hex)
    soon = record.population_size <= REPEATED_EVERY_TIME
    return {
        "round": record,
        "draw_repeats": repeat_agrees(record) if drawn and (soon or repeat) else None,
        "repeat_command": repeat_command(record) if drawn else "",
        "file_name": population_file_name(record),
    }


def scope_words(record: AuditRound) -> str:
    """Which jobs the round looks at, in one sentence."""
    parts = [f"certified {record.period_from:%-d %b %Y} to {record.period_to:%-d %b %Y}"]
    if record.crew is not None:
        parts.append(f"fitted by {record.crew.name} of {record.crew.company.name}")
    elif record.company is not None:
        parts.append(f"of {record.company.name}")
    if record.nation:
        parts.append(f"in {record.get_nation_display()}")
    if record.postcode_areas:
        parts.append(f"with postcodes of {', '.join(record.postcode_areas)}")
    return f"Jobs {', '.join(parts)}."


def plan_words(record: AuditRound) -> list[str]:
    """The plan in sentences: how many, how many may be defective, and shared out how."""
    words = []
    if record.plan == AuditRound.Plan.ACCEPTANCE:
        words.append(
            f"ISO 2859-1, single sampling, general level {record.level}, acceptable quality "
            f"limit {record.aql:g} %, {record.get_severity_display().lower()} inspection."
        )
        if record.severity_reason:
            words.append(f"Inspected so because: {record.severity_reason}")
        if record.population_size:
            plan = acceptance_plan(record)
            words.append(
                f"Code letter {plan.code_letter} for {plan.lot_size} jobs: {plan.sample_size} "
                f"are drawn; {_accepted_on(plan.accept)}."
            )
    else:
        words.append(
            f"If no drawn job is defective one is {100 * record.confidence:.4g} % sure that no "
            f"more than {100 * record.defective_share:.4g} % of the population are "
            "(hypergeometric, in whichever groups they lie)."
        )
    if record.strata_by:
        by_risk = record.allocation == AuditRound.Allocation.RISK
        words.append(
            f"Drawn apart by {record.get_strata_by_display().lower()}, shared out "
            f"{record.get_allocation_display().lower()}."
        )
        if by_risk:
            words.append(
                "Where risk is higher more is looked at; each job’s weight takes that out again, "
                "so the estimate for the population leans to no side."
            )
    return words


def _accepted_on(accept: int) -> str:
    if not accept:
        return "accepted if none of them is defective"
    return f"accepted on up to {accept} defective, not on {accept + 1}"


def _limit_rows(outcome: Outcome) -> list[tuple[tuple[float, float, float], str, str]]:
    """Limits of the plain count, beside the population's: per cent, of what, and how."""
    rows = [
        (outcome.finite, "Jobs read, of this population", "Exact (hypergeometric)"),
        (outcome.binomial, "Jobs read, of work without end", "Exact (Clopper and Pearson)"),
    ]
    return [
        ((100 * limits.low, 100 * limits.estimate, 100 * limits.high), what, how)
        for limits, what, how in rows
        if limits is not None and not (limits is outcome.finite and not outcome.strata)
    ]


def _strata(record: AuditRound, outcome: Outcome | None) -> list[StratumRow]:
    found = {r.name: r for r in outcome.strata} if outcome else {}
    return [
        StratumRow(
            s,
            found[s.name].sample if s.name in found else 0,
            found[s.name].defects if s.name in found else 0,
        )
        for s in strata_now(record)
    ]


def _sample(record: AuditRound) -> list[DrawnRow]:
    weights = weights_of(record)
    drawn = list(record.drawn_jobs.with_findings().select_related("widening"))
    reasons = dict(
        PopulationJob.objects.filter(
            round=record, job_id__in=[one.job_id for one in drawn]
        ).values_list("job_id", "risk_reasons")
    )
    return [DrawnRow(one, weights[one.pk], tuple(reasons[one.job_id])) for one in drawn]


def _defects(record: AuditRound) -> list[DefectRow]:
    found = (
        Finding.objects.filter(drawn_job__round=record)
        .exclude(severity__in=(Finding.Severity.SOUND, Finding.Severity.OBSERVATION))
        .select_related("drawn_job__job__property")
        .prefetch_related("follow_ups__answer__answered_by", "follow_ups__answer__need")
        .order_by("drawn_job__draw_order", "pk")
    )
    return [
        DefectRow(finding, {asked.kind: asked for asked in finding.follow_ups.all()})
        for finding in found
    ]
