"""A paper is set whatever people typed: what no packaged font can draw is told by its name."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
import typst

from jobs.papers import characters
from jobs.papers.characters import drawable
from jobs.papers.typesetting import STANDARDS, packaged_fonts

PLAIN = '#set document(title: "x", date: datetime(year: 2026, month: 11, day: 26))\n'
SETTING = PLAIN + '#set text(font: "Source Sans Pro", lang: "en")\n#sys.inputs.words'


def set_in_a_paper(words: str) -> bytes:
    pdf = typst.compile(
        SETTING.encode(),
        format="pdf",
        sys_inputs={"words": words},
        pdf_standards=STANDARDS,
        font_paths=packaged_fonts(),
        timestamp=int(datetime(2026, 11, 26, tzinfo=UTC).timestamp()),
    )
    assert isinstance(pdf, bytes)
    return pdf


@pytest.mark.parametrize(
    ("typed", "printed"),
    [
        pytest.param("Fitted 😀", "Fitted [grinning face]", id="smiley"),
        pytest.param("漢", "[cjk unified ideograph-6f22]", id="letter of another script"),
        pytest.param("a\x07b\x7f\u202e", "ab", id="control characters go"),
        pytest.param("e\u0301 😀", "é [grinning face]", id="letter and its accent apart"),
        pytest.param("\U0010ffff", "[u+10ffff]", id="no character at all"),
        pytest.param("Siân’s loft – 270 mm, 5 m²", "Siân’s loft – 270 mm, 5 m²", id="usual words"),
    ],
)
def test_what_no_font_has_is_named_and_the_paper_is_set(typed: str, printed: str) -> None:
    told = drawable({"notes": [typed], "count": 3, "none": None})
    assert told == {"notes": [printed], "count": 3, "none": None}
    assert set_in_a_paper(printed).startswith(b"%PDF")


def test_all_that_is_left_alone_can_be_set() -> None:
    """Against typst itself: every character in the fonts, and all that needs no glyph."""
    unknown = characters._unknown()
    left = "".join(chr(code) for code in range(0x20, 0x10000) if not unknown.match(chr(code)))
    assert "a" in left and "\u200d" in left
    assert drawable(left) == left
    assert set_in_a_paper(left).startswith(b"%PDF")
