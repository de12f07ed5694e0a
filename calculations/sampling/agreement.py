"""How an auditor's depths agree with the installer's: bias and spread, by crew or in all.

Bland and Altman, Statistical methods for assessing agreement between two methods of clinical
measurement, The Lancet 327 (1986), 307-310.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.special import stdtrit

from calculations.records import Plain, plain_dict
from calculations.sampling.errors import SamplingError, require_share


@dataclass(frozen=True, slots=True)
class Agreement:
    """Differences of pairs, in the unit of the pairs (mm for depths).

    bias: mean difference, first less second. spread: standard deviation of the differences.
    low, high: limits of agreement, bias -+ 1.96 spread. The *_range are confidence ranges.
    """

    pairs: int
    bias: float
    spread: float
    low: float
    high: float
    bias_range: tuple[float, float]
    low_range: tuple[float, float]
    high_range: tuple[float, float]
    confidence: float = 0.95

    def to_dict(self) -> dict[str, Plain]:
        return plain_dict(self)


LIMITS_AT = 1.96
"""Limits of agreement hold about 95 % of differences when these are normal."""


def agreement(pairs: Sequence[tuple[float, float]], confidence: float = 0.95) -> Agreement:
    """Agreement of (first, second) measurements of the same places.

    Standard errors: spread / sqrt(n) for the bias, sqrt(3) spread / sqrt(n) for each limit
    (Bland and Altman 1986, p. 309), with Student's t on n - 1 degrees of freedom. Pairs of
    one place must be independent of one another. Raises SamplingError for fewer than two
    pairs or a value that is no number.
    """
    require_share("confidence", confidence)
    if len(pairs) < 2:
        raise SamplingError("pairs", f"has {len(pairs)}.", "Measure at least two places again.")
    for i, pair in enumerate(pairs):
        if not all(math.isfinite(value) for value in pair):
            raise SamplingError(f"pairs[{i}]", f"is {pair!r}.", "Give two numbers.")
    differences = [first - second for first, second in pairs]
    n = len(differences)
    bias = math.fsum(differences) / n
    spread = math.sqrt(math.fsum((d - bias) ** 2 for d in differences) / (n - 1))
    low, high = bias - LIMITS_AT * spread, bias + LIMITS_AT * spread
    t = float(stdtrit(n - 1, 1 - (1 - confidence) / 2))
    on_bias, on_limit = t * spread / math.sqrt(n), t * spread * math.sqrt(3 / n)
    return Agreement(
        pairs=n,
        bias=bias,
        spread=spread,
        low=low,
        high=high,
        bias_range=(bias - on_bias, bias + on_bias),
        low_range=(low - on_limit, low + on_limit),
        high_range=(high - on_limit, high + on_limit),
        confidence=confidence,
    )
