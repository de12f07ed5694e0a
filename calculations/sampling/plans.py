"""How many to inspect, and how many may fail."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

import numpy as np
from scipy.special import gammaln

from calculations.records import Plain, plain_dict
from calculations.sampling.errors import SamplingError, require_share, require_whole
from calculations.sampling.limits import chance_of_at_most, first_where
from calculations.sampling.population import (
    Allocation,
    PopulationLine,
    Stratum,
    share_out,
    totals_of,
)
from calculations.sampling.tables import (
    AQLS,
    CODE_LETTERS,
    LETTERS,
    LOT_UPPER,
    SIZES,
    Level,
    Severity,
    follow,
)

CLEARLY_APART = 1e-5
"""Logarithms of chances farther apart than this are told apart safely in floating point."""

Outcome = Literal["accepted", "not_accepted"]


@dataclass(frozen=True, slots=True)
class InspectionPlan:
    """A single sampling plan for one lot.

    code_letter: of Table I. sample_size: after arrows, never more than the lot. The lot is
    accepted on up to `accept` defective jobs and not accepted from `reject` on.
    inspect_all: the table's sample is as large as the lot, so every job is inspected.
    """

    code_letter: str
    sample_size: int
    accept: int
    reject: int
    lot_size: int = 0
    aql: float = 0.0
    level: Level = "II"
    severity: Severity = "normal"
    inspect_all: bool = False

    def outcome(self, defective: int) -> Outcome:
        """What `defective` jobs in the sample mean for the lot."""
        require_whole("defective", defective, 0, self.sample_size)
        return "accepted" if defective <= self.accept else "not_accepted"

    def to_dict(self) -> dict[str, Plain]:
        return plain_dict(self)


def code_letter(lot_size: int, level: Level = "II") -> str:
    """Code letter by lot size and general inspection level: ISO 2859-1, Table 1."""
    require_whole("lot_size", lot_size, 1)
    if level not in CODE_LETTERS:
        raise SamplingError("level", f"is {level!r}.", 'Give "I", "II" or "III".')
    return CODE_LETTERS[level][bisect_left(LOT_UPPER, lot_size)]


def inspection_plan(
    lot_size: int, aql: float, level: Level = "II", severity: Severity = "normal"
) -> InspectionPlan:
    """Single sampling plan of ISO 2859-1 for a lot of completed jobs.

    aql: percent nonconforming, one of the standard's values from 0.010 to 10. Arrows are
    followed; where the sample would be as large as the lot, the whole lot is inspected.

    Source: ISO 2859-1:1999, Tables 1, 2-A, 2-B, as in MIL-STD-105E, Tables I, II-A, II-B, and
    Table 2-C for reduced inspection (see `calculations.sampling.tables`).
    Raises SamplingError for a lot, AQL, level or severity that the standard does not have.
    """
    letter = code_letter(lot_size, level)
    if severity not in SIZES:
        raise SamplingError(
            "severity", f"is {severity!r}.", 'Give "normal", "tightened" or "reduced".'
        )
    known = next((a for a in AQLS if math.isclose(a, aql, rel_tol=1e-9)), None)
    if known is None:
        told = ", ".join(f"{a:g}" for a in AQLS)
        raise SamplingError("aql", f"is {aql!r}.", f"Give one of {told} (percent).")
    index, accept, reject = follow(severity, known, LETTERS.index(letter))
    size = SIZES[severity][index]
    return InspectionPlan(
        code_letter=letter,
        sample_size=min(size, lot_size),
        accept=accept,
        reject=reject,
        lot_size=lot_size,
        aql=known,
        level=level,
        severity=severity,
        inspect_all=size >= lot_size,
    )


def confidence_sample_size(lot_size: int, confidence: float, defective_share: float) -> int:
    """Jobs to inspect so that, if none is defective, one is `confidence` sure that no more
    than `defective_share` of the lot are.

    The smallest n with C(N - D, n) / C(N, n) <= 1 - confidence, where D is the smallest
    number of defective jobs that is more than the share: floor(share N) + 1 (hypergeometric
    distribution; a sample without replacement). Never more than N - D + 1, as then one of
    D is certain to be seen.
    """
    require_whole("lot_size", lot_size, 1)
    require_share("confidence", confidence)
    if not 0 <= defective_share < 1:
        raise SamplingError(
            "defective_share", f"is {defective_share!r}.", "Give a share from 0 up to under 1."
        )
    defective = math.floor(Fraction(str(defective_share)) * lot_size) + 1
    risk = 1 - Fraction(str(confidence))
    return first_where(
        1,
        lot_size - defective + 1,
        lambda sample: _none_is_rarer(lot_size, defective, sample, risk),
    )


def confidence_strata(
    lines: Sequence[PopulationLine],
    confidence: float,
    defective_share: float,
    allocation: Allocation = "proportional",
    at_least: int = 1,
) -> tuple[Stratum, ...]:
    """The smallest stratified sample that makes as sure, wherever the defective jobs are.

    As `confidence_sample_size`, but the chance to see none is that of the worst way in which
    more than the share can lie in the strata: those that are looked at least hide most. The
    chance is a product over strata, and in each the next defective job hidden costs more than
    the one before, so the worst way is found by hiding always where it costs least. at_least:
    jobs to draw in any case.
    """
    one = confidence_sample_size(len(lines), confidence, defective_share)
    defective = math.floor(Fraction(str(defective_share)) * len(lines)) + 1
    risk = math.log(1 - confidence)
    totals = totals_of(lines)

    def sure(size: int) -> bool:
        strata = share_out(totals, size, allocation)
        return worst_chance_of_none(strata, defective) <= risk + CLEARLY_APART * 1e-3

    size = first_where(max(one, at_least, len(totals)), len(lines), sure)
    return share_out(totals, size, allocation)


def worst_chance_of_none(strata: Sequence[Stratum], defective: int) -> float:
    """Logarithm of the greatest chance that the sample holds none of `defective` jobs, over all
    ways in which they can lie in the strata; minus infinity where one must be seen."""
    steps = []
    for s in strata:
        hidden = np.arange(min(defective, s.population - s.sample), dtype=float)
        steps.append(np.log1p(-s.sample / (s.population - hidden)))
    costs = np.concatenate(steps)
    if costs.size < defective:
        return -math.inf
    return float(np.partition(costs, -defective)[-defective:].sum())


def _none_is_rarer(lot_size: int, defective: int, sample: int, risk: Fraction) -> bool:
    """Whether `chance_of_none` is at most `risk`: by logarithms where they are clearly apart,
    else exactly."""
    if sample + defective > lot_size:
        return True
    good, rest = lot_size - defective, lot_size - sample
    log = gammaln(good + 1) - gammaln(good - sample + 1) - gammaln(lot_size + 1) + gammaln(rest + 1)
    apart = float(log) - math.log(risk)
    if abs(apart) > CLEARLY_APART:
        return apart < 0
    return chance_of_none(lot_size, defective, sample) <= risk


def chance_of_acceptance(plan: InspectionPlan, defective: int) -> float:
    """Chance that a lot with `defective` bad jobs is accepted: a point of the plan's operating
    characteristic, exact for the finite lot (hypergeometric)."""
    require_whole("defective", defective, 0, plan.lot_size)
    greatest = min(plan.reject - 1, plan.sample_size)
    return chance_of_at_most(greatest, plan.sample_size, plan.lot_size, defective)


def chance_of_none(lot_size: int, defective: int, sample: int) -> Fraction:
    """Chance that a sample without replacement holds none of the defective jobs, exactly.

    C(N - D, n) / C(N, n), by whichever of n and D takes fewer factors.
    """
    if sample + defective > lot_size:
        return Fraction(0)
    few, many = sorted((sample, defective))
    return Fraction(math.perm(lot_size - many, few), math.perm(lot_size, few))
