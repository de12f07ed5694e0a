"""Characters that the packaged fonts have not: a paper sets their names instead.

A PDF/A may hold no text without a glyph (ISO 19005-2, 6.2.11.8), so typst refuses the whole paper
for one smiley in a note, and with it a report, or the certificate of a home.
"""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache
from pathlib import Path
from typing import Any

from fontTools.ttLib import TTFont

FONTS = Path(__file__).parent / "fonts"
NOTHING_TO_DRAW = "\t\n\r\x85\u2000-\u200f\u2028\u2029\u205f\u2060\u3000\ufe00-\ufe0f"
"""Spaces, joiners and selectors, which need no glyph: left alone, so that a paper set before
reads as it did."""


def drawable(value: Any) -> Any:
    """The same contents, JSON-able, each character that no packaged font has told by its name.

    "Fitted 😀" becomes "Fitted [grinning face]"; what only controls others goes.
    """
    if isinstance(value, str):
        return _drawable_text(value)
    if isinstance(value, dict):
        return {key: drawable(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [drawable(one) for one in value]
    return value


def _drawable_text(text: str) -> str:
    unknown = _unknown()
    if not unknown.search(text):
        return text
    whole = unicodedata.normalize("NFC", text)
    return unknown.sub(lambda found: _name_of(found[0]), whole)


def _name_of(one: str) -> str:
    if unicodedata.category(one) in ("Cc", "Cf", "Cs"):
        return ""
    return f"[{unicodedata.name(one, f'U+{ord(one):04X}').lower()}]"


@lru_cache(maxsize=1)
def _unknown() -> re.Pattern[str]:
    """A character that none of the packaged fonts draws; typst falls back from one to another."""
    known: set[int] = set()
    for path in FONTS.glob("*.ttf"):
        with TTFont(path, lazy=True) as font:
            known.update(font.getBestCmap())
    known.discard(0xFEFF)  # in the fonts, and still no text: ISO 19005-2 has no byte order mark
    drawn = "".join(re.escape(chr(code)) for code in sorted(known))
    return re.compile(f"[^{NOTHING_TO_DRAW}{drawn}]")
