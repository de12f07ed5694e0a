"""Charts for an audit stand by themselves and mark what stands out."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calculations.drawing import draw_agreement, draw_depth_spread, draw_funnel, draw_p_chart
from calculations.drawing.frame import nice_ticks
from calculations.sampling import RateCount, SamplingError

SVG = "{http://www.w3.org/2000/svg}"
CREWS = [RateCount("Crew A", 120, 6), RateCount("Crew B", 90, 5), RateCount("Crew C", 60, 20)]
PAIRS = [(281.0, 290.0), (275.0, 280.0), (268.0, 279.0), (290.0, 292.0)]


def words(svg: str) -> list[str]:
    return [t.text or "" for t in ElementTree.fromstring(svg).iter(f"{SVG}text")]


@pytest.mark.parametrize(
    "svg",
    [
        draw_funnel(CREWS),
        draw_p_chart(CREWS, what="month"),
        draw_agreement(PAIRS),
        draw_depth_spread([262, 271, 280, 283], 270),
        draw_funnel([RateCount("Only", 5, 0)]),
        draw_p_chart([RateCount("Only", 5, 5)]),
        draw_depth_spread([270], 270),
        draw_agreement([(270.0, 270.0), (270.0, 270.0)]),
    ],
    ids=["funnel", "p", "agreement", "depths", "one crew", "all bad", "one depth", "no spread"],
)
def test_each_chart_stands_by_itself_on_its_sheet(svg: str) -> None:
    root = ElementTree.fromstring(svg)
    assert root[0].text and root[1].text
    height = float(root.get("viewBox", "").split()[3])
    for text in root.iter(f"{SVG}text"):
        assert 0 <= float(text.get("x", "")) <= 360
        assert 0 <= float(text.get("y", "")) <= height
    assert "nan" not in svg and "style=" not in svg and "href" not in svg
    for number in re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", svg):
        assert -1 <= float(number[0]) <= 361


def test_who_stands_out_is_marked_and_named() -> None:
    svg = draw_funnel(CREWS)
    plot = svg.split('class="eb-key"')[0]
    assert plot.count("eb-below") == 1 and plot.count("eb-enough") == 2
    assert "Crew C" in words(svg) and "Crew A" not in words(svg)
    assert "Crew C: 20 of 60, 33.3%, stands out high" in svg


def test_the_agreement_picture_says_who_reads_more() -> None:
    assert any(
        "auditor reads 6.8 mm less on average" in line for line in words(draw_agreement(PAIRS))
    )
    assert "bias -6.8" in words(draw_agreement(PAIRS))


def test_the_spread_of_depths_counts_those_below() -> None:
    svg = draw_depth_spread([262, 271, 280, 283], 270)
    assert "4 readings, 1 below 270 mm" in words(svg)
    assert svg.count('class="eb-bar"') == 3


def test_nothing_to_show_is_refused() -> None:
    with pytest.raises(SamplingError, match="counts"):
        draw_funnel([])
    with pytest.raises(SamplingError, match="depths_mm"):
        draw_depth_spread([], 270)


@given(st.floats(-1e4, 1e4), st.floats(1e-3, 1e5))
def test_ticks_are_round_even_and_within(low: float, width: float) -> None:
    ticks = nice_ticks(low, low + width)
    assert 2 <= len(ticks) <= 8
    assert all(low - 1e-6 * width <= tick <= low + width * (1 + 1e-6) for tick in ticks)
    steps = {round((b - a) / width, 6) for a, b in zip(ticks, ticks[1:], strict=False)}
    assert max(steps) - min(steps) < 1e-4
