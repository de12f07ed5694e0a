"""What most likely made a loft short, judged by the shape of its readings.

Common practice, no published source: a missing layer shows as readings that are all low by
about as much as a roll is thick; squeezed or uneven laying as many that are a little low; a
forgotten patch as a few that are low among many that are not.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from compliance.models import Shortfall

Cause = Shortfall.Cause

THINNEST_ROLL_MM = 80.0
"""Rolls are made from 100 mm up; readings low by more than this point at a whole layer."""
PATCH_SHARE = 0.35
MOST_SHARE = 0.8


def likely_cause(depths: Mapping[str, Any], min_depth_mm: float) -> str:
    """One of `Shortfall.Cause` for `DepthVerdict.to_dict()`, by its shortest area [mm]."""
    short = [a for a in depths["areas"] if a["verdict"] == "short" and a["counted"]]
    if not short:
        return Cause.UNKNOWN
    worst = min(short, key=lambda area: area["mean_mm"])
    lacking_mm = min_depth_mm - worst["mean_mm"]
    if lacking_mm >= THINNEST_ROLL_MM and worst["share_below"] >= MOST_SHARE:
        return Cause.TOO_FEW_LAYERS
    if worst["share_below"] <= PATCH_SHARE:
        return Cause.PATCH
    return Cause.COMPRESSED
