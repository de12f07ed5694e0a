"""The colours of the pages against WCAG 2.2.

Source: W3C Recommendation "Web Content Accessibility Guidelines (WCAG) 2.2", 5 October 2023
and its later editions: definitions of "contrast ratio" and "relative luminance", success
criteria 1.4.3 Contrast (Minimum), 4.5:1 for text, and 1.4.11 Non-text Contrast, 3:1.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

STYLESHEET = Path(__file__).resolve().parents[2] / "deploy" / "static" / "eavesbook.css"

TEXT_PAIRS = [
    ("ink", "paper"),
    ("ink", "sheet"),
    ("ink", "shade"),
    ("ink", "accent-wash"),
    ("ink-soft", "paper"),
    ("ink-soft", "sheet"),
    ("ink-soft", "shade"),
    ("ink-soft", "accent-wash"),
    ("on-solid", "solid"),
    ("paper", "ink-soft"),
    ("on-accent", "accent"),
]
SHAPE_PAIRS = [("ink-faint", "paper"), ("ink-faint", "sheet"), ("ink", "accent-wash")]


def relative_luminance(colour: str) -> float:
    """Relative luminance (0 to 1) of an sRGB colour written #rgb or #rrggbb."""
    digits = colour.lstrip("#")
    if len(digits) == 3:
        digits = "".join(2 * digit for digit in digits)
    channels = [int(digits[at : at + 2], 16) / 255 for at in (0, 2, 4)]
    red, green, blue = (
        channel / 12.92 if channel <= 0.04045 else ((channel + 0.055) / 1.055) ** 2.4
        for channel in channels
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours, 1 to 21."""
    lighter, darker = sorted((relative_luminance(one), relative_luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def schemes() -> dict[str, dict[str, str]]:
    """The colour tokens of each scheme: light, and dark and paper laid over it."""
    blocks = re.findall(r":root \{(.*?)\n\s*\}", STYLESHEET.read_text(), re.DOTALL)
    tokens = [dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{3,6});", block)) for block in blocks]
    light, dark, print_out = (block for block in tokens if "ink" in block)
    return {"light": light, "dark": light | dark, "print": light | print_out}


def test_the_formula_gives_the_ratios_that_follow_from_the_definition() -> None:
    """WCAG 2.2, "contrast ratio": from 1:1 to 21:1, black on white being 21:1."""
    assert contrast("#000", "#fff") == pytest.approx(21)
    assert contrast("#12292a", "#12292a") == pytest.approx(1)


@pytest.mark.parametrize("scheme", ["light", "dark", "print"])
@pytest.mark.parametrize(("front", "ground"), TEXT_PAIRS)
def test_text_stands_out(scheme: str, front: str, ground: str) -> None:
    """WCAG 2.2, success criterion 1.4.3: at least 4.5:1."""
    tokens = schemes()[scheme]
    assert contrast(tokens[front], tokens[ground]) >= 4.5


@pytest.mark.parametrize("scheme", ["light", "dark", "print"])
@pytest.mark.parametrize(("front", "ground"), SHAPE_PAIRS)
def test_shapes_and_outlines_stand_out(scheme: str, front: str, ground: str) -> None:
    """WCAG 2.2, success criterion 1.4.11: at least 3:1."""
    tokens = schemes()[scheme]
    assert contrast(tokens[front], tokens[ground]) >= 3
