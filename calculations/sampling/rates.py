"""Whose defect rate stands out from chance: funnel limits and p-charts."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.special import bdtr

from calculations.records import Plain, plain_dict
from calculations.sampling.errors import SamplingError, require_share, require_whole

LEAST_EXPECTED = 5
"""Defective jobs below which a normal limit is not to be trusted; the usual rule of thumb, without
a published source here."""


@dataclass(frozen=True, slots=True)
class RateCount:
    """Defective jobs of those inspected, of one crew or one period."""

    name: str
    inspected: int
    defects: int

    def __post_init__(self) -> None:
        require_whole("inspected", self.inspected, 1)
        require_whole("defects", self.defects, 0, self.inspected)

    @property
    def rate(self) -> float:
        return self.defects / self.inspected


@dataclass(frozen=True, slots=True)
class RatePoint:
    """A crew or period beside its limits. stands_out: "high", "low" or "" (within chance)."""

    name: str
    inspected: int
    defects: int
    rate: float
    low: float
    high: float
    stands_out: str

    def to_dict(self) -> dict[str, Plain]:
        return plain_dict(self)


def overall_rate(counts: Sequence[RateCount]) -> float:
    """Defects of all over inspected of all."""
    if not counts:
        raise SamplingError("counts", "is empty.", "Give at least one crew or period.")
    return sum(c.defects for c in counts) / sum(c.inspected for c in counts)


def funnel(counts: Sequence[RateCount], coverage: float = 0.998) -> tuple[RatePoint, ...]:
    """Each crew beside the limits that chance alone keeps `coverage` of crews within.

    Exact binomial limits about the overall rate, interpolated between whole counts
    (Spiegelhalter, Funnel plots for comparing institutional performance, Statistics in
    Medicine 24, 2005, 1185-1202, appendix A.1.1). 0.95 and 0.998 are usual there.
    """
    target = overall_rate(counts)
    return tuple(
        RatePoint(
            c.name,
            c.inspected,
            c.defects,
            c.rate,
            *funnel_limits(target, c.inspected, coverage),
            stands_out(c.defects, c.inspected, target, coverage),
        )
        for c in counts
    )


def funnel_limits(target: float, inspected: int, coverage: float) -> tuple[float, float]:
    """Lower and upper limit of a rate over `inspected` jobs when the true rate is `target`.

    For tail probability p the limit is (r_p - a) / n, where r_p is the smallest count with
    P(R <= r_p) > p and a = (P(R <= r_p) - p) / (P(R <= r_p) - P(R <= r_p - 1)).
    """
    require_share("coverage", coverage)
    require_whole("inspected", inspected, 1)
    if not 0 <= target <= 1:
        raise SamplingError("target", f"is {target!r}.", "Give a share from 0 to 1.")
    if target in (0.0, 1.0):
        return target, target
    tail = (1 - coverage) / 2
    low = _interpolated_quantile(tail, inspected, target) / inspected
    high = _interpolated_quantile(1 - tail, inspected, target) / inspected
    return max(0.0, low), min(1.0, high)


def stands_out(defects: int, inspected: int, target: float, coverage: float) -> str:
    """ "high" or "low" when chance alone gives so many, or so few, too seldom; else "".

    By the exact binomial tail, P(R >= defects) or P(R <= defects) at most (1 - coverage) / 2 when
    the true rate is `target`. The curves of `funnel_limits` are smoothed between whole counts,
    and for a handful of jobs would call out what is no surprise at all.
    """
    require_share("coverage", coverage)
    require_whole("inspected", inspected, 1)
    require_whole("defects", defects, 0, inspected)
    tail = (1 - coverage) / 2
    above = 1.0 - float(bdtr(defects - 1, inspected, target)) if defects else 1.0
    if above <= tail:
        return "high"
    return "low" if float(bdtr(defects, inspected, target)) <= tail else ""


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
        if count.inspected * min(mean, 1 - mean) < LEAST_EXPECTED:
            limits = funnel_limits(mean, count.inspected, coverage)
            out = stands_out(count.defects, count.inspected, mean, coverage)
            named = (count.name, count.inspected, count.defects, count.rate)
            points.append(RatePoint(*named, *limits, out))
            continue
        reach = sigmas * math.sqrt(mean * (1 - mean) / count.inspected)
        points.append(_point(count, max(0.0, mean - reach), min(1.0, mean + reach)))
    return tuple(points)


def _point(count: RateCount, low: float, high: float) -> RatePoint:
    out = "high" if count.rate > high else "low" if count.rate < low else ""
    return RatePoint(count.name, count.inspected, count.defects, count.rate, low, high, out)


def _interpolated_quantile(share: float, n: int, p: float) -> float:
    """Binomial quantile, interpolated as `funnel_limits` says."""
    low, high = 0, n
    while low < high:
        middle = (low + high) // 2
        if bdtr(middle, n, p) > share:
            high = middle
        else:
            low = middle + 1
    upto = float(bdtr(low, n, p))
    before = float(bdtr(low - 1, n, p)) if low > 0 else 0.0
    if upto <= before:
        return float(low)
    return low - (upto - share) / (upto - before)
