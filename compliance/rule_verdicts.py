"""Verdicts of many jobs under another rule at once, from the evidence their assessments keep.

The depths go through the arrays of `calculations.batch`, everything else through the same checks
as a single job, so that each verdict is the one that `judge_evidence` would give.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

import numpy as np

from calculations.batch import DepthBatch, assess_batch, batch_of, join
from calculations.depth_rule import MEETS, UNPROVEN, VERDICTS
from calculations.depths import DepthError, DepthRequirement
from calculations.loft import LoftError, loft_from_dict
from compliance.judging import Evidence, all_but_depths, reading_of, requirement_for


@dataclass(frozen=True, slots=True)
class AskedOfEvidence:
    """What a rule asks for, apart from who proposed it and when."""

    requirement: DepthRequirement
    plain_requirement: dict[str, object]
    least_before_photos: int
    least_after_photos: int
    photos_at_points: bool
    greatest_u_value_w_m2k: float | None = None

    def of(self, evidence: Evidence) -> Evidence:
        """The same evidence, judged by this."""
        return replace(
            evidence,
            requirement=self.plain_requirement,
            least_before_photos=self.least_before_photos,
            least_after_photos=self.least_after_photos,
            photos_at_points=self.photos_at_points,
            u_value_route=self._route_of(evidence),
        )

    def _route_of(self, evidence: Evidence) -> dict[str, float] | None:
        """This rule's U-value with the wool that is known to lie there."""
        known = evidence.u_value_route
        if known is None or self.greatest_u_value_w_m2k is None:
            return None
        return {**known, "greatest_u_value_w_m2k": self.greatest_u_value_w_m2k}


def verdicts_under(asked: AskedOfEvidence, evidence: Sequence[Evidence]) -> list[str]:
    """The verdict of each, as `judge_evidence(asked.of(one))` gives it."""
    judged = [asked.of(one) for one in evidence]
    codes = np.full(len(judged), UNPROVEN, dtype=np.int8)
    for requirement, numbers in _by_requirement(asked, judged).items():
        placed = [placed_for(requirement, judged[n]) for n in numbers]
        known = [n for n, batch in zip(numbers, placed, strict=True) if batch is not None]
        if known:
            batch = join((b for b in placed if b is not None), requirement)
            codes[known] = assess_batch(batch).job_code
    for n in np.flatnonzero(codes == MEETS):
        if not all_but_depths(judged[n]):
            codes[n] = UNPROVEN
    return [VERDICTS[code] for code in codes]


def _by_requirement(
    asked: AskedOfEvidence, judged: Sequence[Evidence]
) -> dict[DepthRequirement, list[int]]:
    """Which of them are judged against the same depth: all, but for those on the U-value route."""
    found: dict[DepthRequirement, list[int]] = defaultdict(list)
    for n, one in enumerate(judged):
        requirement = asked.requirement
        if one.u_value_route is not None:
            with suppress(LoftError, DepthError):  # a loft that cannot be read is not judged
                requirement = requirement_for(one)
        found[requirement].append(n)
    return found


def placed_for(requirement: DepthRequirement, evidence: Evidence) -> DepthBatch | None:
    """One job's readings as columns; None where there is no loft, or nothing to be judged."""
    if evidence.loft is None:
        return None
    try:
        loft = loft_from_dict(evidence.loft)
        return batch_of([(loft, [reading_of(row) for row in evidence.readings])], requirement)
    except (LoftError, DepthError):
        return None
