"""What the page of a round shows, part by part."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import Any

from django.urls import reverse

from calculations.sampling import Stratum
from compliance.audits.findings import DEFECTIVE
from compliance.audits.outcome import Outcome, acceptance_plan, outcome_of
from compliance.audits.planning import company_risk_words
from compliance.audits.rounds import (
    given_up_before,
    population_file_name,
    repeat_agrees,
    repeat_command,
)
from compliance.audits.strata import results_by_stratum, strata_now, weights_of
from compliance.models import (
    AuditFollowUp,
    AuditRound,
    DrawnJob,
    Finding,
    FindingDraft,
    PopulationJob,
)
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
    """A drawn job, the weight it has today, why it was thought a risk before the Seal, and how
    many of its findings are drafts."""

    drawn: DrawnJob
    weight: float
    reasons: tuple[str, ...]
    drafts: int


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
    sample = _sample(record) if is_read else []
    return {
        "round": record,
        "plan_words": plan_words(record),
        "scope_words": scope_words(record),
        "outcome": outcome,
        "limit_rows": _limit_rows(outcome) if outcome else (),
        "strata": _strata(record, outcome) if record.seal_id and record.strata_by else (),
        "sample": sample,
        "drafts": sum(row.drafts for row in sample),
        "drafted_jobs": sum(1 for row in sample if row.drafts and not row.drawn.findings.all()),
        "defects": _defects(record) if is_read else (),
        "of_round": record.follow_ups.filter(job=None).with_place() if is_read else (),
        "given_up_before": given_up_before(record),
        "lots_before": _lots_before(record),
        "draw_form": DrawForm(),
        "reason_form": ReasonForm() if _asks_why(record, outcome) else None,
        "population_url": reverse("audit_population", args=[record.pk]),
        **draw_parts(record, repeat=repeat),
    }


def _asks_why(record: AuditRound, outcome: Outcome | None) -> bool:
    """Whether the page offers to give the round up, or to draw more."""
    if outcome is None:
        return record.state in (AuditRound.State.COMMITTED, AuditRound.State.SEALED)
    return record.state == AuditRound.State.DRAWN and outcome.may_widen


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
                f"Code letter {plan.code_letter} for {jobs_in_words(plan.lot_size)}: "
                f"{plan.sample_size} {'is' if plan.sample_size == 1 else 'are'} drawn; "
                f"{_accepted_on(plan.accept)}."
            )
            if plan.sample_size == plan.lot_size:
                words.append(
                    "That is every job: with so few, this limit is told by no smaller sample."
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
    if record.plan == AuditRound.Plan.ACCEPTANCE and record.population_size:
        words += filter(None, [company_risk_words(record)])
    return words


def jobs_in_words(count: int) -> str:
    return f"{count} job{'' if count == 1 else 's'}"


def _lots_before(record: AuditRound) -> int:
    """Jobs of this population that stood in an earlier lot of the same series."""
    if record.plan != AuditRound.Plan.ACCEPTANCE or not record.seal_id:
        return 0
    earlier = AuditRound.objects.filter(
        scheme=record.scheme_id,
        company=record.company_id,
        crew=record.crew_id,
        plan=record.plan,
        state=AuditRound.State.CLOSED,
        pk__lt=record.pk,
    )
    own = PopulationJob.objects.filter(round=record).values("job_id")
    again = PopulationJob.objects.filter(round__in=earlier, job_id__in=own)
    return again.values("job_id").distinct().count()


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
    found = {r.name: r for r in results_by_stratum(record, DEFECTIVE)} if outcome else {}
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
    drafts = Counter(
        FindingDraft.objects.filter(drawn_job__round=record).values_list("drawn_job", flat=True)
    )
    return [
        DrawnRow(one, weights[one.pk], tuple(reasons[one.job_id]), drafts[one.pk]) for one in drawn
    ]


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
