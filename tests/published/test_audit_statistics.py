"""Agreement, funnel limits and p-charts against the papers they come from."""

from __future__ import annotations

import pytest
from scipy import stats
from scipy.stats import binom

from calculations.sampling import (
    RateCount,
    SamplingError,
    agreement,
    funnel,
    funnel_limits,
    p_chart,
    stands_out,
)

LARGE_METER = (494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427)
MINI_METER = (512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451)


def test_the_worked_example_of_bland_and_altman() -> None:
    """Bland and Altman, The Lancet 327 (1986), 307-310: peak flow of 17 people by two meters,
    first measurements: bias -2.1 l/min, spread 38.8, limits of agreement -79.7 and 75.5, with
    95 % ranges -22.0 to 17.8, -114.3 to -45.1 and 40.9 to 110.1 (data and results from
    memory). The paper rounds its limits from bias -+ 2 spread and on: the limits here use 1.96
    as the later literature does, hence 1.5 and less apart."""
    found = agreement(list(zip(LARGE_METER, MINI_METER, strict=True)))
    assert found.pairs == 17
    assert found.bias == pytest.approx(-2.1, abs=0.05)
    assert found.spread == pytest.approx(38.8, abs=0.05)
    assert found.bias_range == pytest.approx((-22.0, 17.8), abs=0.1)
    assert found.bias - 2 * found.spread == pytest.approx(-79.7, abs=0.1)
    assert found.bias + 2 * found.spread == pytest.approx(75.5, abs=0.1)
    half = (found.low_range[1] - found.low_range[0]) / 2
    assert half == pytest.approx((114.3 - 45.1) / 2, abs=0.2)


def test_the_p_chart_of_the_juice_cans() -> None:
    """Montgomery, Introduction to Statistical Quality Control, the example of orange-juice
    cans: 30 samples of 50 with 347 nonconforming in all give 0.2313 with limits 0.0524 and
    0.4102 (from memory; only the totals matter for the limits)."""
    counts = [RateCount(f"{i}", 50, 11) for i in range(29)] + [RateCount("29", 50, 347 - 29 * 11)]
    points = p_chart(counts)
    assert {(round(p.low, 4), round(p.high, 4)) for p in points} == {(0.0524, 0.4102)}
    assert points[29].stands_out == "high"
    assert {p.stands_out for p in points[:29]} == {""}


@pytest.mark.parametrize("target", [0.02, 0.1, 0.4])
@pytest.mark.parametrize("coverage", [0.95, 0.998])
def test_funnel_limits_lie_between_the_binomial_counts(target: float, coverage: float) -> None:
    """scipy.stats.binom: the interpolated limit lies within one job of the plain quantile
    (Spiegelhalter 2005, appendix A.1.1)."""
    for inspected in (5, 20, 80, 320):
        low, high = funnel_limits(target, inspected, coverage)
        tail = (1 - coverage) / 2
        assert low * inspected <= binom.ppf(tail, inspected, target) + 1e-9
        assert binom.ppf(1 - tail, inspected, target) - 1 <= high * inspected + 1e-9
        assert high * inspected <= binom.ppf(1 - tail, inspected, target) + 1e-9


@pytest.mark.parametrize(
    ("target", "inspected", "coverage"), [(0.1, 20, 0.95), (0.1, 80, 0.998), (0.4, 25, 0.95)]
)
def test_funnel_limits_are_those_of_the_appendix_step_by_step(target, inspected, coverage):
    """Spiegelhalter, Funnel plots for comparing institutional performance, Stat. Med. 24, 2005,
    1185-1202, appendix A.1.1: with r the binomial quantile at p, and
    alpha = (F(r) - p) / (F(r) - F(r - 1)), the limit is (r - alpha) / n, never below nothing.
    F by `scipy.stats.binom`; the formula from memory."""

    def limit(p: float) -> float:
        r = int(binom.ppf(p, inspected, target))
        at, below = (binom.cdf(k, inspected, target) for k in (r, r - 1))
        return max(0.0, (r - (at - p) / (at - below)) / inspected)

    tail = (1 - coverage) / 2
    assert funnel_limits(target, inspected, coverage) == pytest.approx(
        (limit(tail), limit(1 - tail)), abs=1e-9
    )


def test_a_funnel_limit_by_hand() -> None:
    """Ten jobs, one in ten defective, 95 %: F(2) = 0.92981, F(3) = 0.98720 (tables of the binomial
    distribution), so r = 3 at 0.975 and alpha = (0.98720 - 0.975) / 0.05739 = 0.2126: the upper
    limit is 2.7874 of 10."""
    low, high = funnel_limits(0.1, 10, 0.95)

    assert (low, high) == (0.0, pytest.approx(0.27874, abs=5e-5))


def test_the_funnel_narrows_with_more_jobs_and_marks_who_stands_out() -> None:
    widths = [b - a for a, b in (funnel_limits(0.1, n, 0.95) for n in (10, 40, 160, 640))]
    assert widths == sorted(widths, reverse=True)
    crews = [RateCount("A", 200, 10), RateCount("B", 150, 9), RateCount("C", 40, 16)]
    assert [p.stands_out for p in funnel(crews)] == ["", "", "high"]


def test_no_defects_at_all_leave_no_funnel() -> None:
    assert [p.high for p in funnel([RateCount("A", 10, 0), RateCount("B", 5, 0)])] == [0.0, 0.0]


def test_a_p_chart_of_few_jobs_has_exact_limits() -> None:
    """Exact binomial tails by `scipy.stats.binomtest` at 0.135 % a side, three sigma of the
    normal distribution (`scipy.stats.norm.sf(3)`): 1 of 1 and 2 of 3 are no surprise at one in
    five, though the normal limits alone would call the first out."""
    side = stats.norm.sf(3)
    counts = [
        RateCount("A", 1, 1),
        RateCount("B", 3, 2),
        RateCount("C", 8, 7),
        RateCount("D", 400, 72),
    ]
    points = p_chart(counts)
    mean = 82 / 412
    for point in points[:3]:
        tail = stats.binomtest(point.defects, point.inspected, mean, alternative="greater").pvalue
        assert (point.stands_out == "high") == (tail <= side)
    assert [point.stands_out for point in points] == ["", "", "high", ""]
    assert points[3].high == pytest.approx(mean + 3 * (mean * (1 - mean) / 400) ** 0.5)


@pytest.mark.parametrize("pairs", [[], [(1.0, 2.0)], [(1.0, 2.0), (float("nan"), 1.0)]])
def test_pairs_that_say_nothing_are_refused(pairs: list[tuple[float, float]]) -> None:
    with pytest.raises(SamplingError, match="pairs"):
        agreement(pairs)


def test_a_period_with_more_defects_than_jobs_is_refused() -> None:
    with pytest.raises(SamplingError, match="defects"):
        RateCount("A", 3, 4)
    with pytest.raises(SamplingError, match="counts"):
        p_chart([])


@pytest.mark.parametrize("inspected", [1, 2, 5, 12, 40, 300])
@pytest.mark.parametrize("target", [0.02, 0.1, 0.31, 0.6])
def test_who_stands_out_is_who_an_exact_binomial_test_calls_out(inspected: int, target: float):
    """One-sided exact binomial tests at 0.001 (99.8 % both sides), by `scipy.stats.binomtest`.

    So 1 of 1 is never called out where one in three is defective.
    """
    for defects in range(inspected + 1):
        tails = {
            side: stats.binomtest(defects, inspected, target, alternative=test).pvalue
            for side, test in (("high", "greater"), ("low", "less"))
        }
        expected = next((side for side, p in tails.items() if p <= 0.001), "")
        assert stands_out(defects, inspected, target, 0.998) == expected
