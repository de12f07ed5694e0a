"""Acceptance sampling, draws that nobody can steer, and exact limits.

`python -m calculations.sampling` repeats a draw or a plan on anyone's machine.
"""

from __future__ import annotations

from calculations.sampling.agreement import Agreement, agreement
from calculations.sampling.draws import (
    commit_nonce,
    draw,
    draw_seed,
    draw_stratified,
    keeps_commitment,
    stratum_seed,
)
from calculations.sampling.errors import SamplingError
from calculations.sampling.estimates import StratumResult, allocate, stratified_rate
from calculations.sampling.limits import Limits, defect_rate_limits
from calculations.sampling.plans import (
    InspectionPlan,
    chance_of_acceptance,
    code_letter,
    confidence_sample_size,
    inspection_plan,
)
from calculations.sampling.rates import (
    RateCount,
    RatePoint,
    funnel,
    funnel_limits,
    overall_rate,
    p_chart,
)
from calculations.sampling.switching import SwitchingState, after_lot, resume
from calculations.sampling.tables import AQLS, Level, Severity

__all__ = [
    "AQLS",
    "Agreement",
    "InspectionPlan",
    "Level",
    "Limits",
    "RateCount",
    "RatePoint",
    "SamplingError",
    "Severity",
    "StratumResult",
    "SwitchingState",
    "after_lot",
    "agreement",
    "allocate",
    "chance_of_acceptance",
    "code_letter",
    "commit_nonce",
    "confidence_sample_size",
    "defect_rate_limits",
    "draw",
    "draw_seed",
    "draw_stratified",
    "funnel",
    "funnel_limits",
    "inspection_plan",
    "keeps_commitment",
    "overall_rate",
    "p_chart",
    "resume",
    "stratified_rate",
    "stratum_seed",
]
