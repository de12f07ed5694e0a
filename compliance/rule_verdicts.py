"""Verdicts of many jobs under another rule at once, from the evidence their assessments keep.

The depths go through the arrays of `calculations.batch`, everything else through the same checks
as a single job, so that each verdict is the one that `judge_evidence` would give.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from calculations.batch import DepthBatch, assess_batch, batch_of, join
from calculations.depth_rule import MEETS, UNPROVEN, VERDICTS
from calculations.depths import DepthError, DepthRequirement
from calculations.loft import LoftError, loft_from_dict
from compliance.judging import Evidence, all_but_depths, reading_of


@dataclass(frozen=True, slots=True)
class AskedOfEvidence:
    """What a rule asks for, apart from who proposed it and when."""

    requirement: DepthRequirement
    plain_requirement: dict[str, object]
    least_before_photos: int
    least_after_photos: int
    photos_at_points: bool

    def of(self, evidence: Evidence) -> Evidence:
        """The same evidence, judged by this."""
        return replace(
            evidence,
            requirement=self.plain_requirement,
            least_before_photos=self.least_before_photos,
            least_after_photos=self.least_after_photos,
            photos_at_points=self.photos_at_points,
        )


def verdicts_under(asked: AskedOfEvidence, evidence: Sequence[Evidence]) -> list[str]:
    """The verdict of each, as `judge_evidence(asked.of(one))` gives it."""
    judged = [asked.of(one) for one in evidence]
    placed = [placed_for(asked.requirement, one) for one in judged]
    codes = np.full(len(judged), UNPROVEN, dtype=np.int8)
    known = [n for n, batch in enumerate(placed) if batch is not None]
    if known:
        batch = join((b for b in placed if b is not None), asked.requirement)
        codes[known] = assess_batch(batch).job_code
    for n in np.flatnonzero(codes == MEETS):
        if not all_but_depths(judged[n]):
            codes[n] = UNPROVEN
    return [VERDICTS[code] for code in codes]


def placed_for(requirement: DepthRequirement, evidence: Evidence) -> DepthBatch | None:
    """One job's readings as columns; None where there is no loft, or nothing to be judged."""
    if evidence.loft is None:
        return None
    try:
        loft = loft_from_dict(evidence.loft)
        return batch_of([(loft, [reading_of(row) for row in evidence.readings])], requirement)
    except (LoftError, DepthError):
        return None
