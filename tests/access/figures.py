"""Figures on a page that nobody rounded, such as 0.8333333333333334 for fifty minutes."""

from __future__ import annotations

import re
from html.parser import HTMLParser

from tests.access.visitor import Answer

# Five decimals of a degree are a metre; nothing else on a page is told as closely.
UNROUNDED = re.compile(r"[0-9]\.[0-9]{6,}")
READ_BY_NOBODY = frozenset({"code", "pre", "script", "style"})
SHOWN = ("value", "placeholder", "title", "alt", "aria-label")


def unrounded(answer: Answer) -> list[str]:
    """Text and values of inputs with more than five decimals, outside code and what is hidden."""
    html = answer.text
    is_page = answer.headers.get("Content-Type", "").startswith("text/html")
    if not is_page or not UNROUNDED.search(html):
        return []
    reader = _Reader()
    reader.feed(html)
    return reader.found


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self._inside: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if tag in READ_BY_NOBODY:
            self._inside.append(tag)
        if given.get("type") != "hidden":
            self._note(*(given.get(name) or "" for name in SHOWN))

    def handle_endtag(self, tag: str) -> None:
        if self._inside and self._inside[-1] == tag:
            self._inside.pop()

    def handle_data(self, data: str) -> None:
        if not self._inside:
            self._note(data)

    def _note(self, *texts: str) -> None:
        self.found += [text.strip()[:80] for text in texts if UNROUNDED.search(text)]
