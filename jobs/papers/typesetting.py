"""Setting a paper: a tagged PDF/A-2a that is PDF/UA-1 too, with packaged fonts only."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from threading import Lock
from typing import Any

import typst

from jobs.papers.characters import FONTS, drawable

FOLDER = Path(__file__).parent
ROOT = FOLDER.parents[1]
"""Where absolute imports begin: `/jobs/papers/paper.typ` for a template of another room."""
STANDARDS: Any = ["a-2a", "ua-1"]
DRAWING_FONT = "Source Sans Pro"

_one_at_a_time = Lock()  # a compiler keeps state between calls


def packaged_fonts() -> typst.Fonts:
    """The fonts of every paper, and no other, so that a paper looks the same everywhere."""
    return typst.Fonts(
        include_system_fonts=False, include_embedded_fonts=False, font_paths=[str(FONTS)]
    )


def typeset(template: str | Path, contents: Mapping[str, Any], *, made_at: datetime) -> bytes:
    """The PDF of a template, by its name in this folder or its path. The same contents and time
    give the same bytes.

    `contents` is JSON-able and reaches the template as `sys.inputs.contents`, with `made` (day
    and time in words) and `made_date` (year, month, day) beside it. No other file is read. What no
    packaged font can draw is told by its name (`characters`).
    """
    values = drawable(dict(contents)) | {
        "made": f"{made_at:%a} {made_at.day} {made_at:%b %Y, %H:%M}",
        "made_date": [made_at.year, made_at.month, made_at.day],
    }
    with _one_at_a_time:
        pdf = _compiler(FOLDER / template).compile(
            format="pdf",
            sys_inputs={"contents": json.dumps(values, ensure_ascii=False, sort_keys=True)},
            pdf_standards=STANDARDS,
            timestamp=int(made_at.timestamp()),
        )
    assert isinstance(pdf, bytes)
    return pdf


@lru_cache(maxsize=8)
def _compiler(template: Path) -> typst.Compiler:
    return typst.Compiler(str(template), root=str(ROOT), font_paths=packaged_fonts())


def with_packaged_font(svg: str) -> str:
    """A drawing of the engine with the font of the page in place of the screen's."""
    start = svg.find('font-family="')
    if start < 0:
        return svg
    start += len('font-family="')
    return svg[:start] + DRAWING_FONT + svg[svg.index('"', start) :]
