"""Whole numbers that came as text, from an address or a form."""

from __future__ import annotations

MOST_FIGURES = 17


def whole_number(text: str) -> int | None:
    """The number that figures alone write, small enough for the database; else nothing.

    Text such as "²" counts as digits to Python and is still no number.
    """
    return int(text) if text.isascii() and text.isdecimal() and len(text) <= MOST_FIGURES else None
