"""Exact limits and sample sizes against scipy, published examples, and enumeration."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from scipy.stats import binomtest, hypergeom

from calculations.sampling import (
    chance_of_acceptance,
    confidence_sample_size,
    defect_rate_limits,
    inspection_plan,
)
from calculations.sampling.plans import chance_of_none


@pytest.mark.parametrize(
    ("defects", "sample", "low", "high"),
    [
        (81, 263, 0.2527, 0.3676),
        (15, 148, 0.0578, 0.1617),
        (0, 20, 0, 0.1684),
        (1, 29, 0.0009, 0.1776),
    ],
)
def test_clopper_pearson_worked_values(defects: int, sample: int, low: float, high: float) -> None:
    """Newcombe, Two-sided confidence intervals for the single proportion, Statistics in
    Medicine 17 (1998), 857-872, Table I, method 5 (Clopper-Pearson), 95 %; the table's
    values are from memory, to its four decimals."""
    found = defect_rate_limits(defects, sample, None)
    assert (round(found.low, 4), round(found.high, 4)) == (low, high)


@pytest.mark.parametrize("confidence", [0.8, 0.95, 0.99])
def test_clopper_pearson_against_scipy(confidence: float) -> None:
    """scipy.stats.binomtest(...).proportion_ci(method="exact"), every count of 37."""
    for defects in range(38):
        ours = defect_rate_limits(defects, 37, None, confidence)
        theirs = binomtest(defects, 37).proportion_ci(confidence, method="exact")
        assert ours.low == pytest.approx(theirs.low, abs=1e-9)
        assert ours.high == pytest.approx(theirs.high, abs=1e-9)


@pytest.mark.parametrize(("lot", "sample"), [(20, 8), (60, 13), (150, 20)])
def test_finite_limits_are_all_counts_not_contradicted(lot: int, sample: int) -> None:
    """By enumeration with scipy.stats.hypergeom: D stays when both tails exceed 2.5 %."""
    for defects in range(sample + 1):
        kept = [
            d
            for d in range(lot + 1)
            if hypergeom.sf(defects - 1, lot, d, sample) > 0.025
            and hypergeom.cdf(defects, lot, d, sample) > 0.025
        ]
        ours = defect_rate_limits(defects, sample, lot)
        assert round(ours.low * lot) == min(kept)
        assert round(ours.high * lot) == max(kept)


@pytest.mark.parametrize(("lot", "sample"), [(12, 5), (40, 10)])
def test_finite_limits_cover_at_least_as_often_as_they_say(lot: int, sample: int) -> None:
    """Coverage by exact enumeration of every lot (hypergeometric, math.comb): never under 95 %."""
    limits = [defect_rate_limits(x, sample, lot) for x in range(sample + 1)]
    for defective in range(lot + 1):
        covered = Fraction(0)
        for x in range(sample + 1):
            chance = Fraction(
                math.comb(defective, x) * math.comb(lot - defective, sample - x),
                math.comb(lot, sample),
            )
            if round(limits[x].low * lot) <= defective <= round(limits[x].high * lot):
                covered += chance
        assert covered >= Fraction(95, 100)


def test_an_endless_lot_gives_clopper_pearson_again() -> None:
    """The hypergeometric distribution tends to the binomial as the lot grows."""
    endless = defect_rate_limits(3, 50, None)
    large = defect_rate_limits(3, 50, 5_000_000)
    assert large.low == pytest.approx(endless.low, abs=1e-5)
    assert large.high == pytest.approx(endless.high, abs=1e-5)


def test_a_whole_lot_inspected_leaves_no_doubt() -> None:
    found = defect_rate_limits(3, 40, 40)
    assert found.low == found.estimate == found.high == 3 / 40


@pytest.mark.parametrize(
    ("confidence", "share", "size"),
    [(0.95, 0.01, 299), (0.95, 0.05, 59), (0.95, 0.10, 29), (0.90, 0.05, 45), (0.99, 0.05, 90)],
)
def test_sample_that_makes_sure_in_an_endless_lot(
    confidence: float, share: float, size: int
) -> None:
    """Success-run theorem, n = ln(1 - C) / ln(1 - p) rounded up, the familiar 299, 59, 29, 45,
    90 of reliability and disease-freedom tables (from memory; each also follows from the
    formula). The lot is large, not endless, hence one fewer at most."""
    assert math.ceil(math.log(1 - confidence) / math.log(1 - share)) == size
    assert confidence_sample_size(10_000_000, confidence, share) in (size - 1, size)


@pytest.mark.parametrize("lot", [1, 2, 10, 47, 320, 1000])
@pytest.mark.parametrize("share", [0.0, 0.02, 0.05, 0.3])
def test_sample_that_makes_sure_is_the_smallest_by_scipy(lot: int, share: float) -> None:
    """scipy.stats.hypergeom: chance to see none of the fewest jobs that are too many."""
    too_many = math.floor(Fraction(str(share)) * lot) + 1
    size = confidence_sample_size(lot, 0.95, share)
    assert hypergeom.pmf(0, lot, too_many, size) <= 0.05 + 1e-12
    if size > 1:
        assert hypergeom.pmf(0, lot, too_many, size - 1) > 0.05


def test_chance_of_none_is_exact() -> None:
    """C(48, 5) / C(52, 5): no ace in five cards, 35673/54145, of any card table."""
    assert chance_of_none(52, 4, 5) == Fraction(35673, 54145)


@pytest.mark.parametrize("defective", [0, 8, 20, 40, 100])
def test_operating_characteristic_against_scipy(defective: int) -> None:
    """scipy.stats.hypergeom.cdf for lot 400, AQL 2.5: n = 50, Ac = 3."""
    plan = inspection_plan(400, 2.5)
    expected = hypergeom.cdf(3, 400, defective, 50)
    assert chance_of_acceptance(plan, defective) == pytest.approx(expected, abs=1e-10)
