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
from calculations.sampling.estimates import (
    StratumResult,
    allocate,
    counted_for_plan,
    stratified_rate,
    weighted_defective,
)
from calculations.sampling.limits import Limits, defect_rate_limits
from calculations.sampling.plans import (
    InspectionPlan,
    chance_of_acceptance,
    code_letter,
    confidence_sample_size,
    confidence_strata,
    inspection_plan,
    worst_chance_of_none,
)
from calculations.sampling.population import (
    Allocation,
    Drawn,
    PopulationLine,
    Stratum,
    draw_from,
    population_text,
    read_population,
    strata_of,
    widened,
)
from calculations.sampling.rates import (
    RateCount,
    RatePoint,
    Weighing,
    exact_point,
    funnel,
    funnel_limits,
    overall_rate,
    p_chart,
    stands_out,
    weighing_of,
)
from calculations.sampling.switching import SwitchingState, after_lot, resume
from calculations.sampling.tables import AQLS, Level, Severity

__all__ = [
    "AQLS",
    "Agreement",
    "Allocation",
    "Drawn",
    "InspectionPlan",
    "Level",
    "Limits",
    "PopulationLine",
    "RateCount",
    "RatePoint",
    "SamplingError",
    "Severity",
    "Stratum",
    "StratumResult",
    "SwitchingState",
    "Weighing",
    "after_lot",
    "agreement",
    "allocate",
    "chance_of_acceptance",
    "code_letter",
    "commit_nonce",
    "confidence_sample_size",
    "confidence_strata",
    "counted_for_plan",
    "defect_rate_limits",
    "draw",
    "draw_from",
    "draw_seed",
    "draw_stratified",
    "exact_point",
    "funnel",
    "funnel_limits",
    "inspection_plan",
    "keeps_commitment",
    "overall_rate",
    "p_chart",
    "population_text",
    "read_population",
    "resume",
    "stands_out",
    "strata_of",
    "stratified_rate",
    "stratum_seed",
    "weighing_of",
    "weighted_defective",
    "widened",
    "worst_chance_of_none",
]
