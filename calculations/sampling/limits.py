"""Exact limits for the share of defective jobs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import betaincinv, gammaln, logsumexp

from calculations.records import Plain, plain_dict
from calculations.sampling.errors import require_share, require_whole


@dataclass(frozen=True, slots=True)
class Limits:
    """Shares from 0 to 1. method: "clopper_pearson" or "hypergeometric"."""

    low: float
    estimate: float
    high: float
    method: str
    confidence: float = 0.95

    def to_dict(self) -> dict[str, Plain]:
        return plain_dict(self)


def defect_rate_limits(
    defects: int, sample: int, lot: int | None, confidence: float = 0.95
) -> Limits:
    """Two-sided limits for the share of defective jobs, by `defects` in a random `sample`.

    With `lot` (the population's size) by the hypergeometric distribution, each tail at most
    (1 - confidence) / 2; without it (None: endless) by Clopper and Pearson (Biometrika 26,
    1934), through the beta distribution. Both keep at least the stated confidence.
    """
    require_whole("sample", sample, 1)
    require_whole("defects", defects, 0, sample)
    require_share("confidence", confidence)
    if lot is None:
        low, high = clopper_pearson(defects, sample, confidence)
        return Limits(low, defects / sample, high, "clopper_pearson", confidence)
    require_whole("lot", lot, sample)
    least, most = defective_in_lot(defects, sample, lot, confidence)
    return Limits(least / lot, defects / sample, most / lot, "hypergeometric", confidence)


def clopper_pearson(defects: float, sample: float, confidence: float) -> tuple[float, float]:
    """Exact binomial limits: quantiles of Beta(x, n - x + 1) and Beta(x + 1, n - x).

    Takes fractions too, for an effective sample (see `calculations.sampling.estimates`).
    """
    tail = (1 - confidence) / 2
    low = float(betaincinv(defects, sample - defects + 1, tail)) if defects > 0 else 0.0
    high = float(betaincinv(defects + 1, sample - defects, 1 - tail)) if defects < sample else 1.0
    return low, high


def defective_in_lot(defects: int, sample: int, lot: int, confidence: float) -> tuple[int, int]:
    """Least and most defective jobs in the lot that `defects` in `sample` do not contradict.

    All D with P(X >= x | D) and P(X <= x | D) both above (1 - confidence) / 2, where X is
    hypergeometric (test inversion; Wright, Exact Confidence Bounds when Sampling from Small
    Finite Universes, 1991).
    """
    tail = (1 - confidence) / 2
    floor, ceiling = defects, lot - sample + defects

    def too_few(defective: int) -> bool:
        return chance_of_at_least(defects, sample, lot, defective) <= tail

    def few_enough(defective: int) -> bool:
        return chance_of_at_most(defects, sample, lot, defective) > tail

    least = first_where(floor, ceiling, lambda d: not too_few(d))
    beyond = first_where(least, ceiling + 1, lambda d: d > ceiling or not few_enough(d))
    return least, beyond - 1


def chance_of_at_most(defects: int, sample: int, lot: int, defective: int) -> float:
    """P(X <= defects) for a sample without replacement from a lot with `defective` bad."""
    least = max(0, sample - (lot - defective))
    return _chance(np.arange(least, defects + 1), sample, lot, defective)


def chance_of_at_least(defects: int, sample: int, lot: int, defective: int) -> float:
    """P(X >= defects), as for `chance_of_at_most`."""
    return _chance(np.arange(defects, min(sample, defective) + 1), sample, lot, defective)


def _chance(counts: np.ndarray, sample: int, lot: int, defective: int) -> float:
    if counts.size == 0:
        return 0.0
    logs = (
        _log_choose(defective, counts)
        + _log_choose(lot - defective, sample - counts)
        - _log_choose(lot, np.array(sample))
    )
    return min(1.0, float(np.exp(logsumexp(logs))))


def _log_choose(n: int, k: np.ndarray) -> np.ndarray:
    return np.asarray(gammaln(n + 1) - gammaln(k + 1) - gammaln(n - k + 1))


def first_where(low: int, high: int, holds: Callable[[int], bool]) -> int:
    """Smallest number from low to high for which `holds`, true at high and upwards of it."""
    while low < high:
        middle = (low + high) // 2
        if holds(middle):
            high = middle
        else:
            low = middle + 1
    return low
