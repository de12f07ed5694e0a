"""What a round's findings say of its population, and what follows."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from calculations.sampling import (
    InspectionPlan,
    Limits,
    StratumResult,
    counted_for_plan,
    defect_rate_limits,
    stratified_rate,
)
from compliance.audits.findings import DEFECTIVE
from compliance.audits.planning import plan_of
from compliance.audits.strata import results_by_stratum, sealed_strata
from compliance.audits.switching import Standing, after_round, state_of
from compliance.models import AuditRound, Finding

# Rounding of a weighted count that is whole but for floating point.
NEARLY = 1e-9


@dataclass(frozen=True, slots=True)
class Counts:
    """Jobs of a sample: drawn, read, found defective (minor, major or critical), and of these with
    a critical finding."""

    drawn: int
    read: int
    defective: int
    critical: int

    @property
    def unread(self) -> int:
        return self.drawn - self.read


@dataclass(frozen=True, slots=True)
class Outcome:
    """Counts of the sample, the verdict by the plan, and limits for the population.

    drawn, read, defective: of all drawn so far; `first`: of the sample the plan asked for, by
    which alone the round is accepted or not. counted: defective jobs as the plan counts them,
    which is the plain count but for a sample that looked harder where risk was; there it is the
    weighted count, rounded (`counted_for_plan`). accepted is None until every job of the first
    sample was read, unless it is rejected already. One critical finding is enough for that,
    whatever number the plan accepts on: what can hurt somebody is not weighed against a quota
    [common practice, no published source].

    limits: the whole population's share of defective jobs, strata weighted by their jobs.
    binomial: Clopper and Pearson's limits, as if the population had no end; finite: exact for
    this population. Both are of the plain count, so None where it looked harder at some strata.
    """

    drawn: int
    read: int
    defective: int
    accept_at_most: int
    accepted: bool | None
    limits: Limits | None
    what_follows: str
    first: Counts
    counted: int
    population: int
    binomial: Limits | None = None
    finite: Limits | None = None
    strata: tuple[StratumResult, ...] = ()
    next_inspection: Standing | None = None

    @property
    def low_percent(self) -> float | None:
        return None if self.limits is None else 100 * self.limits.low

    @property
    def high_percent(self) -> float | None:
        return None if self.limits is None else 100 * self.limits.high

    @property
    def estimate_percent(self) -> float | None:
        return None if self.limits is None else 100 * self.limits.estimate

    @property
    def defective_jobs(self) -> tuple[int, int, int] | None:
        """Defective jobs of the whole population: at least, about, at most."""
        if self.limits is None:
            return None
        shares = (self.limits.low, self.limits.estimate, self.limits.high)
        least, about, most = (share * self.population for share in shares)
        return math.ceil(least - NEARLY), round(about), math.floor(most + NEARLY)

    @property
    def rejects_as_critical(self) -> bool:
        """Whether it is a critical finding alone that the population is not accepted for."""
        return self.accepted is False and self.counted <= self.accept_at_most

    @property
    def unread(self) -> int:
        return self.drawn - self.read

    @property
    def may_widen(self) -> bool:
        return self.accepted is False and self.drawn < self.population


def outcome_of(record: AuditRound, confidence: float = 0.95) -> Outcome:
    """The outcome as it stands. A job is defective with any minor, major or critical finding."""
    first, whole = _counts(record, first_only=True), _counts(record)
    counted = _counted(record, first)
    accepted = _accepted(record, counted, first)
    strata = results_by_stratum(record, DEFECTIVE)
    complete = bool(strata) and len(strata) == len(sealed_strata(record))
    alike = record.allocation == AuditRound.Allocation.PROPORTIONAL
    outcome = Outcome(
        drawn=whole.drawn,
        read=whole.read,
        defective=whole.defective,
        accept_at_most=record.accept_at_most,
        accepted=accepted,
        limits=stratified_rate(strata, confidence) if complete else None,
        what_follows=_what_follows(record, accepted, first.unread),
        first=first,
        counted=counted,
        population=record.population_size,
        binomial=_limits(whole, None, confidence) if alike else None,
        finite=_limits(whole, record.population_size, confidence) if alike else None,
        strata=strata if len(strata) > 1 else (),
    )
    return replace(outcome, next_inspection=_next(record, outcome))


def acceptance_plan(record: AuditRound) -> InspectionPlan:
    return plan_of(record, record.population_size)


def _counts(record: AuditRound, *, first_only: bool = False) -> Counts:
    drawn = record.drawn_jobs.filter(widening=None) if first_only else record.drawn_jobs
    return Counts(
        drawn.count(),
        drawn.filter(findings__isnull=False).distinct().count(),
        drawn.filter(findings__severity__in=DEFECTIVE).distinct().count(),
        drawn.filter(findings__severity=Finding.Severity.CRITICAL).distinct().count(),
    )


def _limits(counts: Counts, lot: int | None, confidence: float) -> Limits | None:
    if not counts.read:
        return None
    return defect_rate_limits(counts.defective, counts.read, lot, confidence)


def _counted(record: AuditRound, first: Counts) -> int:
    """Defective jobs as the plan counts them; what is unread counts as sound so far."""
    if record.allocation == AuditRound.Allocation.PROPORTIONAL or not first.defective:
        return first.defective
    found = results_by_stratum(record, DEFECTIVE, first_sample_only=True)
    bad = {stratum.name: stratum.defects for stratum in found}
    sample = [
        StratumResult(s.name, s.population, s.sample, bad.get(s.name, 0))
        for s in sealed_strata(record)
    ]
    return counted_for_plan(sample, record.accept_at_most)


def _accepted(record: AuditRound, counted: int, first: Counts) -> bool | None:
    """As stored once the round is closed, before that as it would be."""
    if record.state == AuditRound.State.CLOSED:
        return record.accepted
    if first.critical or counted > record.accept_at_most:
        return False
    return None if first.unread else True


def _next(record: AuditRound, outcome: Outcome) -> Standing | None:
    """How the series goes on: as stored once the round is closed, before that as it would be."""
    if record.plan != AuditRound.Plan.ACCEPTANCE or outcome.accepted is None:
        return None
    if record.state == AuditRound.State.CLOSED:
        return _stored(record)
    return after_round(
        record, acceptance_plan(record), outcome.counted, rejected=outcome.rejects_as_critical
    )


def _stored(record: AuditRound) -> Standing | None:
    step = getattr(record, "switching_step", None)
    return Standing(state_of(step), step.why) if step else None


def _what_follows(record: AuditRound, accepted: bool | None, unread: int) -> str:
    if accepted is None:
        return f"{unread} drawn jobs are still to be read."
    if accepted:
        return "The population is accepted. Each finding is still to be answered and put right."
    is_open = record.state == AuditRound.State.DRAWN
    more = is_open and record.drawn_jobs.count() < record.population_size
    return "The population is not accepted. Every finding is to be put right" + (
        ", and more jobs can be drawn to learn how far it reaches." if more else "."
    )
