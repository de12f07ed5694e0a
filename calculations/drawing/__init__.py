"""Drawings of a loft as SVG: the survey, each layer, the evidence.

Every function returns a whole <svg> element that stands by itself: no scripts, no styles,
nothing fetched. It reads on a phone of 390 px, printed, and in black and white, since
everything is told by shape and hatching.
"""

from __future__ import annotations

from calculations.drawing.charts import (
    draw_agreement,
    draw_depth_spread,
    draw_funnel,
    draw_p_chart,
)
from calculations.drawing.evidence import draw_evidence
from calculations.drawing.layer_drawing import draw_layer
from calculations.drawing.loft_drawing import draw_loft
from calculations.drawing.photo_points import PhotoPoint, photo_points

__all__ = [
    "PhotoPoint",
    "draw_agreement",
    "draw_depth_spread",
    "draw_evidence",
    "draw_funnel",
    "draw_layer",
    "draw_loft",
    "draw_p_chart",
    "photo_points",
]
