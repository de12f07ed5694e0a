"""What a round's findings say of its population."""

from __future__ import annotations

from dataclasses import dataclass

from calculations.sampling import Limits, defect_rate_limits
from compliance.audits.findings import DEFECTIVE
from compliance.models import AuditRound


@dataclass(frozen=True, slots=True)
class Outcome:
    """Counts of the sample, the verdict by the plan, and limits for the population.

    `accepted` is None until every drawn job was read, unless it is rejected already.
    """

    drawn: int
    read: int
    defective: int
    accept_at_most: int
    accepted: bool | None
    limits: Limits | None
    what_follows: str

    @property
    def low_percent(self) -> float | None:
        return None if self.limits is None else 100 * self.limits.low

    @property
    def high_percent(self) -> float | None:
        return None if self.limits is None else 100 * self.limits.high

    @property
    def unread(self) -> int:
        return self.drawn - self.read


def outcome_of(record: AuditRound, confidence: float = 0.95) -> Outcome:
    """The outcome as it stands. A job is defective with any minor, major or critical finding.

    Limits are exact for a finite population (hypergeometric); see `calculations.sampling`.
    """
    drawn = record.drawn_jobs
    read = drawn.filter(findings__isnull=False).distinct().count()
    defective = drawn.filter(findings__severity__in=DEFECTIVE).distinct().count()
    total = drawn.count()
    accepted = _accepted(defective, record.accept_at_most, total - read)
    limits = (
        defect_rate_limits(defective, read, record.population_size, confidence) if read else None
    )
    return Outcome(
        drawn=total,
        read=read,
        defective=defective,
        accept_at_most=record.accept_at_most,
        accepted=accepted,
        limits=limits,
        what_follows=_what_follows(accepted, total - read),
    )


def _accepted(defective: int, at_most: int, unread: int) -> bool | None:
    if defective > at_most:
        return False
    return None if unread else True


def _what_follows(accepted: bool | None, unread: int) -> str:
    if accepted is None:
        return f"{unread} drawn jobs are still to be read."
    if accepted:
        return "The population is accepted. Each finding is still to be answered and put right."
    return (
        "The population is not accepted. Every finding is to be put right, and the next round "
        "is inspected more tightly."
    )
