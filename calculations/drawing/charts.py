"""Pictures for an audit: who stands out, over time, how depths lie and agree.

All are told by shape and line in black and white; the figures behind each are the caller's
to show beside it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from calculations.drawing import symbols
from calculations.drawing.frame import Frame, widened
from calculations.drawing.key import Mark, draw_key
from calculations.drawing.labels import place_label
from calculations.drawing.sheet import INK, PALE, SMALL, Position, Sheet, line_path
from calculations.sampling.agreement import agreement
from calculations.sampling.errors import SamplingError
from calculations.sampling.rates import (
    RateCount,
    RatePoint,
    funnel,
    funnel_limits,
    overall_rate,
    p_chart,
)

OUTER = 0.998
INNER = 0.95


def draw_funnel(counts: Sequence[RateCount], *, what: str = "crew") -> str:
    """Funnel plot: each crew's defect rate over jobs inspected, with 95 % and 99.8 % limits.

    Returns a whole <svg> element. Raises SamplingError without counts.
    """
    target = overall_rate(counts)
    points = funnel(counts, OUTER)
    is_weighed = any(c.weighing is not None for c in counts)
    most = max(c.tells_as for c in counts) * 1.08 + 1
    least = max(2.0, min(c.tells_as for c in counts) / 2)
    sizes = np.unique(np.geomspace(least, most, 80).astype(int))
    outer = [funnel_limits(target, int(n), OUTER) for n in sizes]
    inner = [funnel_limits(target, int(n), INNER) for n in sizes]
    top = min(1.0, max([p.rate for p in points] + [target * 2, outer[len(outer) // 3][1]]) * 1.1)
    frame = Frame(
        f"Defect rate by {what}",
        f"{len(counts)} {what}s, {target:.1%} of all jobs inspected" + _by_weight(is_weighed),
        (0, most),
        (0, max(top, 0.02)),
    )
    frame.axes("jobs inspected" + _by_weight(is_weighed), "defective", up_text=_percent)
    for limits, dash in ((outer, ""), (inner, "4 3")):
        for side in (0, 1):
            line = [
                (float(n), min(pair[side], frame.up[1]))
                for n, pair in zip(sizes, limits, strict=True)
                if pair[side] <= frame.up[1] or side == 0
            ]
            frame.line(line, "limit", dash)
    frame.level(target, f"all: {target:.1%}", "1 2")
    _points(frame, [(p.tells_as, p.rate, p) for p in points])
    draw_key(
        frame.sheet,
        [
            (_line_mark(frame.sheet, ""), f"99.8% of {what}s by chance"),
            (_line_mark(frame.sheet, "4 3"), "95% by chance"),
            *_point_marks(frame.sheet),
        ],
    )
    return frame.sheet.finish(frame_title(f"Defect rate by {what}"), _describe(points))


def _by_weight(is_weighed: bool) -> str:
    return ", by weight" if is_weighed else ""


def draw_p_chart(counts: Sequence[RateCount], *, what: str = "period") -> str:
    """Defect rate period by period, in the order given, with three-sigma limits."""
    points = p_chart(counts)
    mean = overall_rate(counts)
    top = max([p.rate for p in points] + [p.high for p in points])
    frame = Frame(
        f"Defect rate by {what}",
        f"{len(counts)} {what}s, {mean:.1%} overall"
        + _by_weight(any(c.weighing is not None for c in counts)),
        (0.5, len(points) + 0.5),
        (0, max(0.02, min(1.0, top * 1.1))),
    )
    every = math.ceil(len(points) / 6)
    frame.axes(
        what,
        "defective",
        up_text=_percent,
        across_text=lambda at: points[int(at) - 1].name,
        across_ticks=list(range(1, len(points) + 1, every)),
    )
    for side in ("low", "high"):
        steps: list[tuple[float, float]] = []
        for i, point in enumerate(points, start=1):
            value = float(getattr(point, side))
            steps += [(i - 0.5, value), (i + 0.5, value)]
        frame.line(steps, "limit", "4 3")
    frame.level(mean, f"all: {mean:.1%}", "1 2")
    frame.line([(i, p.rate) for i, p in enumerate(points, start=1)], "rates")
    _points(frame, [(float(i), p.rate, p) for i, p in enumerate(points, start=1)])
    draw_key(
        frame.sheet,
        [(_line_mark(frame.sheet, "4 3"), "Three-sigma limits"), *_point_marks(frame.sheet)],
    )
    return frame.sheet.finish(frame_title(f"Defect rate by {what}"), _describe(points))


def draw_agreement(
    pairs: Sequence[tuple[float, float]], *, first: str = "auditor", second: str = "installer"
) -> str:
    """Bland and Altman's picture: difference of each pair [mm] over its mean [mm]."""
    found = agreement(pairs)
    means = [(a + b) / 2 for a, b in pairs]
    differences = [a - b for a, b in pairs]
    frame = Frame(
        f"Depths of {first} and {second}",
        f"{found.pairs} places measured twice; {first} reads {abs(found.bias):.1f} mm "
        f"{'more' if found.bias >= 0 else 'less'} on average",
        widened(means, least=5),
        widened([*differences, found.low, found.high, 0.0], least=5),
    )
    frame.axes("mean of both, mm", f"{first} less {second}, mm")
    frame.line([(frame.across[0], 0), (frame.across[1], 0)], "zero")
    levels = [
        (found.bias, f"bias {found.bias:+.1f}", "1 2"),
        (found.high, f"{found.high:+.1f}", "4 3"),
        (found.low, f"{found.low:+.1f}", "4 3"),
    ]
    for value, _, dash in levels:
        frame.level_line(value, dash)
    for mean, difference in zip(means, differences, strict=True):
        x, y = frame.at(mean, difference)
        symbols.circle(frame.sheet, (x, y), 2.6, "pair")
        frame.sheet.take((x - 3.5, y - 3.5, x + 3.5, y + 3.5))
    for value in (0.0, found.bias, found.low, found.high):
        frame.take_level(value)
    for value, words, _ in levels:
        frame.level_words(value, words)
    draw_key(frame.sheet, [(_line_mark(frame.sheet, "4 3"), "About 95% of differences")])
    told = (
        f"Bias {found.bias:.1f} mm, about 95% of differences from {found.low:.1f} to "
        f"{found.high:.1f} mm, {found.pairs} pairs."
    )
    return frame.sheet.finish(f"Depths of {first} and {second}", told)


def draw_depth_spread(depths_mm: Sequence[float], min_depth_mm: float) -> str:
    """How many readings lie at each depth, in steps of 10 mm, against the depth asked [mm]."""
    if not depths_mm:
        raise SamplingError("depths_mm", "is empty.", "Give at least one reading.")
    low = math.floor(min([*depths_mm, min_depth_mm]) / 10 - 1) * 10
    high = math.ceil(max([*depths_mm, min_depth_mm]) / 10 + 1) * 10
    edges = np.arange(low, high + 1, 10)
    counts, _ = np.histogram(depths_mm, edges)
    below = sum(d < min_depth_mm for d in depths_mm)
    subtitle = f"{len(depths_mm)} readings, {below} below {min_depth_mm:g} mm"
    frame = Frame(
        "Depths measured", subtitle, (float(low), float(high)), (0, float(counts.max()) * 1.15)
    )
    frame.axes("depth, mm", "readings")
    for start, count in zip(edges, counts, strict=False):
        if count:
            corners = [(start, 0), (start, count), (start + 10, count), (start + 10, 0)]
            frame.sheet.path(
                line_path([frame.at(float(x), float(y)) for x, y in corners]) + "Z",
                "bar",
                fill=PALE if start >= min_depth_mm else "none",
                stroke=INK,
                stroke_width=1,
            )
    frame.line([(min_depth_mm, 0), (min_depth_mm, frame.up[1])], "asked", "4 3")
    x, _ = frame.at(min_depth_mm, 0)
    frame.sheet.text(
        x - 4, frame.top + 7, "asked", size=SMALL, anchor="end", halo=True, weight="bold"
    )
    frame.sheet.bottom = frame.bottom + 28
    return frame.sheet.finish("Depths measured", subtitle + ".")


def frame_title(words: str) -> str:
    return f"{words}, with the limits of chance"


def _percent(share: float) -> str:
    return f"{share * 100:.3g}%"


def _points(frame: Frame, points: Sequence[tuple[float, float, RatePoint]]) -> None:
    """Marks first, then the names of those who stand out, clear of the marks."""
    places: list[tuple[Position, RatePoint]] = []
    for across, up, point in points:
        at = frame.at(across, min(up, frame.up[1]))
        symbols.reading(frame.sheet, at, "below" if point.stands_out else "enough")
        frame.sheet.take((at[0] - 5, at[1] - 5, at[0] + 5, at[1] + 5))
        places.append((at, point))
    for at, point in places:
        if point.stands_out:
            place_label(frame.sheet, at, [point.name], size=SMALL, reach=5)


def _line_mark(sheet: Sheet, dash: str) -> Mark:
    def mark(at: Position) -> None:
        line = ((at[0] - 12, at[1]), (at[0] + 12, at[1]))
        if dash:
            sheet.line(line, "limit", stroke=INK, stroke_width=1.1, stroke_dasharray=dash)
        else:
            sheet.line(line, "limit", stroke=INK, stroke_width=1.1)

    return mark


def _point_marks(sheet: Sheet) -> list[tuple[Mark, str]]:
    return [
        (lambda at: symbols.reading(sheet, at, "enough"), "Within chance"),
        (lambda at: symbols.reading(sheet, at, "below"), "Stands out"),
    ]


def _describe(points: Sequence[RatePoint]) -> str:
    told = [
        f"{p.name}: {p.defects} of {p.inspected}, {p.rate:.1%}"
        + (f", stands out {p.stands_out}" if p.stands_out else "")
        for p in points
    ]
    return "; ".join(told) + "."
