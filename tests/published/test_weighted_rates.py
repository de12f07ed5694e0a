"""Rates of jobs that were drawn with unequal chances: by weight, with limits that go by it."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from calculations.sampling import (
    RateCount,
    SamplingError,
    Weighing,
    funnel,
    funnel_limits,
    overall_rate,
    p_chart,
    stands_out,
    weighing_of,
)

STRATA = ((0.3, 400, 80), (0.05, 1600, 40))
"""Share of defective jobs, jobs of the population, jobs drawn: more of the risky stratum."""


def test_jobs_that_weigh_the_same_are_told_as_without_weights() -> None:
    plain = [RateCount("A", 200, 10), RateCount("B", 150, 9), RateCount("C", 40, 16)]
    alike = [
        RateCount(c.name, c.inspected, c.defects, weighing_of(_jobs(c.inspected, c.defects, 0.7)))
        for c in plain
    ]
    for of in (funnel, p_chart):
        for one, other in zip(of(plain), of(alike), strict=True):
            assert other.stands_out == one.stands_out
            assert (other.low, other.high, other.tells_as) == pytest.approx(
                (one.low, one.high, one.tells_as)
            )


def test_unequal_weights_tell_as_kish_says() -> None:
    """The design effect of unequal weights is 1 + their squared coefficient of variation (Kish,
    Survey Sampling, 1965; Weighting for unequal P_i, J. Official Statistics 8, 1992; memory)."""
    weights = np.array([1.0, 1.0, 2.0, 5.0, 9.0])
    told = weighing_of([(weight, False) for weight in weights]).jobs
    assert told == pytest.approx(len(weights) / (1 + weights.var() / weights.mean() ** 2))


@pytest.mark.parametrize(("jobs", "target"), [(7.3, 0.1), (40.25, 0.07), (311.9, 0.4)])
def test_limits_of_parts_of_jobs_are_those_of_the_beta_distribution(jobs: float, target: float):
    """P(R <= k) of n jobs is the upper tail of a beta distribution with k + 1 and n - k (Korn and
    Graubard 1998, from memory, put parts of jobs into it), here by `scipy.stats.beta`."""
    for defects in np.linspace(0, jobs, 9):
        above = stats.beta.cdf(target, defects, jobs - defects + 1) if defects >= 1 else 1.0
        below = stats.beta.sf(target, defects + 1, jobs - defects) if defects < jobs else 1.0
        expected = "high" if above <= 0.001 else "low" if below <= 0.001 else ""
        assert stands_out(float(defects), jobs, target, 0.998) == expected
    low, high = funnel_limits(target, jobs, 0.95)
    for side, before, after in zip(
        (low, high),
        funnel_limits(target, int(jobs), 0.95),
        funnel_limits(target, int(jobs) + 1, 0.95),
        strict=True,
    ):
        assert abs(side - before) <= abs(after - before) + 1 / jobs


def test_a_sample_that_looks_at_risky_jobs_more_still_tells_the_rate_of_all_jobs() -> None:
    """By simulation with a fixed seed: the ratio estimate is off by less than three standard
    errors of its mean, while shares of the sample alone are off by a tenth."""
    chance = np.random.default_rng(20261126)
    truth = sum(rate * size for rate, size, _ in STRATA) / sum(size for _, size, _ in STRATA)
    by_weight, alone = [], []
    for _ in range(2000):
        bad = [chance.hypergeometric(round(r * n), round((1 - r) * n), m) for r, n, m in STRATA]
        jobs = [
            (size / drawn, nth < found)
            for (_, size, drawn), found in zip(STRATA, bad, strict=True)
            for nth in range(drawn)
        ]
        count = RateCount("all", len(jobs), sum(bad), weighing_of(jobs))
        by_weight.append(overall_rate([count]))
        alone.append(count.defects / count.inspected)
    error = np.std(by_weight) / np.sqrt(len(by_weight))
    assert abs(np.mean(by_weight) - truth) < 3 * error
    assert np.mean(alone) - truth > 0.1


def test_crews_that_differ_by_chance_alone_seldom_stand_out() -> None:
    """2000 crews, risky and other jobs mixed as it comes, none worse: about 0.2 % may."""
    chance = np.random.default_rng(7)
    counts = []
    for nth in range(2000):
        risky = chance.binomial(30, 0.6)
        jobs = [
            (weight, bool(chance.random() < 0.12))
            for weight, many in ((5.0, risky), (40.0, 30 - risky))
            for _ in range(many)
        ]
        bad = sum(is_defective for _, is_defective in jobs)
        counts.append(RateCount(str(nth), len(jobs), bad, weighing_of(jobs)))
    out = [point.stands_out for point in funnel(counts, 0.998)]
    assert sum(map(bool, out)) <= stats.binom.ppf(0.9999, len(counts), 0.004)


def test_weights_that_cannot_be_are_refused_by_name() -> None:
    with pytest.raises(SamplingError, match="total"):
        weighing_of([])
    with pytest.raises(SamplingError, match="defective"):
        Weighing(2.0, 3.0, 4.0)
    with pytest.raises(SamplingError, match="inspected"):
        funnel_limits(0.1, 0.4, 0.95)


def _jobs(inspected: int, defects: int, weight: float) -> list[tuple[float, bool]]:
    return [(weight, nth < defects) for nth in range(inspected)]
