"""Sharing a sample over strata, and the whole population's rate from it without bias."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from scipy.special import stdtrit

from calculations.sampling.errors import SamplingError, require_share, require_whole
from calculations.sampling.limits import Limits, clopper_pearson, defect_rate_limits

NEARLY = 1e-9
"""Rounding of a weighted count that is a whole number or a half but for floating point."""


@dataclass(frozen=True, slots=True)
class StratumResult:
    """What came of one stratum: its jobs, how many were inspected, how many defective."""

    name: str
    population: int
    sample: int
    defects: int

    def __post_init__(self) -> None:
        require_whole("population", self.population, 1)
        require_whole("sample", self.sample, 1, self.population)
        require_whole("defects", self.defects, 0, self.sample)

    @property
    def weight(self) -> float:
        """Jobs of the population that each inspected one stands for."""
        return self.population / self.sample


def allocate(
    populations: Mapping[str, int],
    size: int,
    risk: Mapping[str, float] | None = None,
    *,
    at_least: int = 1,
) -> dict[str, int]:
    """How many to draw from each stratum: by population, or by population times risk.

    Every stratum gets `at_least`, none more than it has; the rest goes by largest remainder
    (ties by name), so that the sum is `size` exactly. risk: weights above 0; 1 where not
    named. Raises SamplingError when `size` cannot be shared so.
    """
    for name, population in populations.items():
        require_whole(f"populations[{name!r}]", population, 1)
    given = risk or {}
    for name in populations:
        if not (math.isfinite(given.get(name, 1.0)) and given.get(name, 1.0) > 0):
            raise SamplingError(f"risk[{name!r}]", f"is {given[name]!r}.", "Give more than 0.")
    shares = {name: min(at_least, population) for name, population in populations.items()}
    require_whole("size", size, sum(shares.values()), sum(populations.values()))
    while (left := size - sum(shares.values())) > 0:
        open_names = [n for n in sorted(populations) if shares[n] < populations[n]]
        claims = {n: populations[n] * given.get(n, 1.0) for n in open_names}
        whole = math.fsum(claims.values())
        wanted = {n: size * claims[n] / whole - shares[n] for n in open_names}
        shares = _hand_out(shares, populations, wanted, left)
    return shares


def _hand_out(
    shares: dict[str, int], populations: Mapping[str, int], wanted: dict[str, float], left: int
) -> dict[str, int]:
    """One round: whole parts of what each still wants, then one each by largest remainder."""
    dealt = dict(shares)
    positive = {n: max(0.0, w) for n, w in wanted.items()}
    scale = min(1.0, left / (math.fsum(positive.values()) or 1.0))
    for name, want in positive.items():
        dealt[name] += min(math.floor(want * scale + 1e-9), populations[name] - dealt[name])
    rest = left - (sum(dealt.values()) - sum(shares.values()))
    order = sorted(wanted, key=lambda n: (dealt[n] - shares[n] - wanted[n], n))
    for name in order[:rest]:
        if dealt[name] < populations[name]:
            dealt[name] += 1
    return dealt


def stratified_rate(strata: Sequence[StratumResult], confidence: float = 0.95) -> Limits:
    """The population's share of defective jobs, each stratum weighted by its population.

    Estimate: sum(N_h p_h) / N, unbiased whatever the allocation (Cochran, Sampling
    Techniques, 3rd ed., 5.3). Limits: Clopper-Pearson on an effective sample, n_eff =
    p (1 - p) / var(p) times the squared ratio of t quantiles, never above n (Korn and
    Graubard, Survey Methodology 24, 1998, 193-201). With one stratum the exact
    finite-population limits are given instead.
    """
    require_share("confidence", confidence)
    if not strata:
        raise SamplingError("strata", "is empty.", "Give at least one stratum.")
    if len(strata) == 1:
        only = strata[0]
        return defect_rate_limits(only.defects, only.sample, only.population, confidence)
    whole = sum(s.population for s in strata)
    sample = sum(s.sample for s in strata)
    estimate = math.fsum(s.population * s.defects / s.sample for s in strata) / whole
    variance = math.fsum(_variance(s) * (s.population / whole) ** 2 for s in strata)
    effective = float(sample)
    if variance > 0 and 0 < estimate < 1:
        freedom = max(1, sample - len(strata))
        tail = 1 - (1 - confidence) / 2
        ratio = float(stdtrit(sample - 1, tail) / stdtrit(freedom, tail)) if sample > 1 else 1.0
        effective = min(float(sample), estimate * (1 - estimate) / variance * ratio**2)
    low, high = clopper_pearson(estimate * effective, effective, confidence)
    return Limits(low, estimate, high, "korn_graubard", confidence)


def weighted_defective(strata: Sequence[StratumResult]) -> float:
    """Defective jobs that a sample drawn alike from every stratum would be expected to hold.

    n sum(N_h p_h) / N: the weighted estimate times the sample. Where strata were looked at
    alike it is the plain count; where risky ones were looked at harder it takes that out.
    """
    sample = sum(s.sample for s in strata)
    whole = sum(s.population for s in strata)
    return sample * math.fsum(s.population * s.defects / s.sample for s in strata) / whole


def counted_for_plan(strata: Sequence[StratumResult], accept: int) -> int:
    """Defective jobs as a plan that accepts on `accept` counts them: the weighted number, rounded
    to the nearest whole one, a half downwards.

    A plan of ISO 2859-1 takes its sample to be drawn alike from the whole lot. Weighted, the count
    has the same mean but need not be whole; set against `accept` plus a half, the usual correction
    for continuity, it keeps the plan's operating characteristic within a few points. Rounded up, as
    one might for safety, it would turn down a company at the AQL two to four times as often.
    `tests/published/test_risk_weighted_acceptance.py` simulates both; the rule itself has no
    published source. Where the plan accepts on none, one defective job is always one.
    """
    found = sum(s.defects for s in strata)
    counted = math.ceil(weighted_defective(strata) - 0.5 - NEARLY)
    return max(counted, min(found, 1)) if accept == 0 else max(counted, 0)


def _variance(stratum: StratumResult) -> float:
    """Variance of a stratum's share: (1 - n/N) p (1 - p) / (n - 1); 0 for one of one."""
    share = stratum.defects / stratum.sample
    unseen = 1 - stratum.sample / stratum.population
    return unseen * share * (1 - share) / max(1, stratum.sample - 1)
