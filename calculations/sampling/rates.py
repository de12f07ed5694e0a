"""Whose defect rate stands out from chance: funnel limits and p-charts.

Where jobs were drawn with unequal chances each counts by its weight, one over its chance: a rate is
sum(w x) / sum(w), the ratio estimate of Hajek, and its limits are those of so many jobs drawn alike
as tell no less, sum(w)^2 / sum(w^2) (Kish, Survey Sampling, 1965, section 11.2; Korn and Graubard,
Confidence intervals for proportions with small expected number of positive counts estimated from
survey data, Survey Methodology 24, 1998, 193-201, put it into the exact limits as is done here; all
from memory). For jobs that weigh the same all of this is what it is without weights.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.special import bdtr, betainc

from calculations.records import Plain, plain_dict
from calculations.sampling.errors import SamplingError, require_share, require_whole

NEARLY = 1e-9
LEAST_EXPECTED = 5
"""Defective jobs below which a normal limit is not to be trusted; the usual rule of thumb, without
a published source here."""


@dataclass(frozen=True, slots=True)
class Weighing:
    """Sums over the jobs of one count: of weights, of the defective jobs' weights, of squares."""

    total: float
    defective: float
    squares: float

    def __post_init__(self) -> None:
        for name in ("total", "squares"):
            if not getattr(self, name) > 0:
                raise SamplingError(name, "is not above 0.", "Give every job a weight above 0.")
        if not 0 <= self.defective <= self.total:
            raise SamplingError("defective", "is beyond the total.", "Give a part of the total.")

    @property
    def jobs(self) -> float:
        """So many jobs that weigh the same tell as much."""
        jobs = self.total**2 / self.squares
        return float(round(jobs)) if abs(jobs - round(jobs)) < NEARLY else jobs


def weighing_of(jobs: Sequence[tuple[float, bool]]) -> Weighing:
    """jobs: the weight of each, and whether it is defective."""
    return Weighing(
        math.fsum(weight for weight, _ in jobs),
        math.fsum(weight for weight, is_defective in jobs if is_defective),
        math.fsum(weight * weight for weight, _ in jobs),
    )


@dataclass(frozen=True, slots=True)
class RateCount:
    """Defective jobs of those inspected, of one crew or one period.

    weighing: None where every job counts the same.
    """

    name: str
    inspected: int
    defects: int
    weighing: Weighing | None = None

    def __post_init__(self) -> None:
        require_whole("inspected", self.inspected, 1)
        require_whole("defects", self.defects, 0, self.inspected)

    @property
    def rate(self) -> float:
        if self.weighing is None:
            return self.defects / self.inspected
        return self.weighing.defective / self.weighing.total

    @property
    def tells_as(self) -> float:
        """Jobs drawn alike that would tell as much as these."""
        return float(self.inspected) if self.weighing is None else self.weighing.jobs

    def stands_out(self, target: float, coverage: float) -> str:
        """ "high", "low" or "": see `stands_out`."""
        if self.weighing is None:
            return stands_out(self.defects, self.inspected, target, coverage)
        return stands_out(self.rate * self.tells_as, self.tells_as, target, coverage)


@dataclass(frozen=True, slots=True)
class RatePoint:
    """A crew or period beside its limits. stands_out: "high", "low" or "" (within chance).

    tells_as: jobs that weigh the same and would tell as much, by which the limits go.
    """

    name: str
    inspected: int
    defects: int
    rate: float
    low: float
    high: float
    stands_out: str
    tells_as: float

    def to_dict(self) -> dict[str, Plain]:
        return plain_dict(self)


def overall_rate(counts: Sequence[RateCount]) -> float:
    """Defects of all over inspected of all, by weight where any is weighed."""
    if not counts:
        raise SamplingError("counts", "is empty.", "Give at least one crew or period.")
    defective = (c.defects if c.weighing is None else c.weighing.defective for c in counts)
    total = (c.inspected if c.weighing is None else c.weighing.total for c in counts)
    return sum(defective) / sum(total)


def funnel(counts: Sequence[RateCount], coverage: float = 0.998) -> tuple[RatePoint, ...]:
    """Each crew beside the limits that chance alone keeps `coverage` of crews within.

    Exact binomial limits about the overall rate, interpolated between whole counts
    (Spiegelhalter, Funnel plots for comparing institutional performance, Statistics in
    Medicine 24, 2005, 1185-1202, appendix A.1.1). 0.95 and 0.998 are usual there.
    """
    target = overall_rate(counts)
    return tuple(exact_point(count, target, coverage) for count in counts)


def exact_point(count: RateCount, target: float, coverage: float) -> RatePoint:
    """A count beside exact binomial limits about `target`."""
    limits = funnel_limits(target, count.tells_as, coverage)
    named = (count.name, count.inspected, count.defects, count.rate)
    return RatePoint(*named, *limits, count.stands_out(target, coverage), count.tells_as)


def funnel_limits(target: float, inspected: float, coverage: float) -> tuple[float, float]:
    """Lower and upper limit of a rate over `inspected` jobs when the true rate is `target`.

    inspected: at least 1; a part of a job where jobs are weighed.

    For tail probability p the limit is (r_p - a) / n, where r_p is the smallest count with
    P(R <= r_p) > p and a = (P(R <= r_p) - p) / (P(R <= r_p) - P(R <= r_p - 1)).
    """
    require_share("coverage", coverage)
    _require_jobs(inspected)
    if not 0 <= target <= 1:
        raise SamplingError("target", f"is {target!r}.", "Give a share from 0 to 1.")
    if target in (0.0, 1.0):
        return target, target
    tail = (1 - coverage) / 2
    low = _interpolated_quantile(tail, inspected, target) / inspected
    high = _interpolated_quantile(1 - tail, inspected, target) / inspected
    return max(0.0, low), min(1.0, high)


def stands_out(defects: float, inspected: float, target: float, coverage: float) -> str:
    """ "high" or "low" when chance alone gives so many, or so few, too seldom; else "".

    By the exact binomial tail, P(R >= defects) or P(R <= defects) at most (1 - coverage) / 2 when
    the true rate is `target`. The curves of `funnel_limits` are smoothed between whole counts,
    and for a handful of jobs would call out what is no surprise at all.
    """
    require_share("coverage", coverage)
    _require_jobs(inspected)
    if not 0 <= defects <= inspected:
        raise SamplingError("defects", f"is {defects!r}.", f"Give 0 to {inspected:g}.")
    tail = (1 - coverage) / 2
    above = 1.0 - _up_to(defects - 1, inspected, target) if defects else 1.0
    if above <= tail:
        return "high"
    return "low" if _up_to(defects, inspected, target) <= tail else ""


def p_chart(counts: Sequence[RateCount], sigmas: float = 3.0) -> tuple[RatePoint, ...]:
    """Each period beside p -+ sigmas sqrt(p (1 - p) / n), p the overall rate.

    The Shewhart chart for a share with varying sample size, three sigma as is usual (ISO 7870-2,
    from memory; Montgomery, Introduction to Statistical Quality Control, fraction nonconforming);
    a lower limit under 0 is 0. Where fewer than LEAST_EXPECTED defective or sound jobs are
    expected the normal limits are rough, and the exact binomial ones of the same coverage, as in
    `funnel`, take their place.
    """
    if not 0 < sigmas <= 10:
        raise SamplingError("sigmas", f"is {sigmas!r}.", "Give a number up to 10, usually 3.")
    mean = overall_rate(counts)
    points = []
    coverage = math.erf(sigmas / math.sqrt(2))
    for count in counts:
        if count.tells_as * min(mean, 1 - mean) < LEAST_EXPECTED:
            points.append(exact_point(count, mean, coverage))
            continue
        reach = sigmas * math.sqrt(mean * (1 - mean) / count.tells_as)
        points.append(_point(count, max(0.0, mean - reach), min(1.0, mean + reach)))
    return tuple(points)


def _point(count: RateCount, low: float, high: float) -> RatePoint:
    out = "high" if count.rate > high else "low" if count.rate < low else ""
    named = (count.name, count.inspected, count.defects, count.rate)
    return RatePoint(*named, low, high, out, count.tells_as)


def _require_jobs(inspected: float) -> None:
    if isinstance(inspected, bool) or not 1 <= inspected < math.inf:
        raise SamplingError("inspected", f"is {inspected!r}.", "Give a number from 1 on.")


def _up_to(k: float, n: float, p: float) -> float:
    """P(R <= k) of a binomial; for parts of jobs by the incomplete beta function that it is."""
    if k < 0:
        return 0.0
    if k >= n:
        return 1.0
    if float(k).is_integer() and float(n).is_integer():
        return float(bdtr(k, int(n), p))
    return float(betainc(n - k, k + 1, 1 - p))


def _interpolated_quantile(share: float, n: float, p: float) -> float:
    """Binomial quantile, interpolated as `funnel_limits` says."""
    low, high = 0, math.ceil(n)
    while low < high:
        middle = (low + high) // 2
        if _up_to(middle, n, p) > share:
            high = middle
        else:
            low = middle + 1
    upto = _up_to(low, n, p)
    before = _up_to(low - 1, n, p)
    if upto <= before:
        return float(low)
    return low - (upto - share) / (upto - before)
