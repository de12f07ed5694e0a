"""The lower confidence limit of the depth verdict against Student's t."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from calculations.depth_rule import lower_limit_mm, to_tenths

REQUIRED_MM = 270


def our_limit(depths_mm: list[float], confidence: float) -> float:
    lacking = np.maximum(REQUIRED_MM * 10 - to_tenths(depths_mm), 0)
    return float(
        lower_limit_mm(
            REQUIRED_MM * 10,
            np.array([len(depths_mm)]),
            np.array([lacking.sum()]),
            np.array([(lacking**2).sum()]),
            confidence,
        )[0]
    )


@pytest.mark.parametrize(
    ("readings", "t"),
    [(2, 6.314), (3, 2.920), (4, 2.353), (5, 2.132), (8, 1.895), (11, 1.812), (31, 1.697)],
)
def test_quantiles_of_the_t_table(readings: int, t: float) -> None:
    """Upper critical values of Student's t, 0.95, n - 1 degrees of freedom: NIST/SEMATECH
    e-Handbook of Statistical Methods, table 1.3.6.7.2 (values from memory, three decimals).

    With every reading 10 mm under, mean shortfall and its root of sum of squares are known:
    limit = 260 - t 10 / sqrt(n - 1)."""
    limit = our_limit([REQUIRED_MM - 10] * readings, 0.95)
    assert (260 - limit) * (readings - 1) ** 0.5 / 10 == pytest.approx(t, abs=0.0005)


@settings(deadline=None)
@given(
    st.lists(st.floats(200, 270), min_size=2, max_size=40),
    st.sampled_from([0.8, 0.9, 0.95, 0.99]),
)
def test_never_above_students_limit_for_the_same_mean(
    depths_mm: list[float], confidence: float
) -> None:
    """scipy.stats.t: Student's one-sided limit, mean - t s / sqrt(n), for readings none of
    which is deeper than required. Ours takes squares about zero, so it is the more careful."""
    tidy = np.asarray(to_tenths(depths_mm)) / 10
    n = len(tidy)
    students = tidy.mean() - stats.t.ppf(confidence, n - 1) * tidy.std(ddof=1) / n**0.5
    assert our_limit(depths_mm, confidence) <= students + 1e-9


def test_the_stated_confidence_is_kept_by_simulation() -> None:
    """20,000 lofts of 8 readings, normal about 262 mm with 9 mm spread (seeded): the limit lies
    above the true mean credited depth in fewer than 5 % of them."""
    source = np.random.default_rng(20261125)
    depths = source.normal(262, 9, size=(20_000, 8))
    lacking = np.maximum(REQUIRED_MM * 10 - to_tenths(depths), 0)
    limits = lower_limit_mm(
        REQUIRED_MM * 10,
        np.full(20_000, 8),
        lacking.sum(axis=1),
        (lacking**2).sum(axis=1),
        0.95,
    )
    z = (REQUIRED_MM - 262) / 9
    true_mean = REQUIRED_MM - 9 * (z * stats.norm.cdf(z) + stats.norm.pdf(z))
    assert (limits > true_mean).mean() < 0.05
