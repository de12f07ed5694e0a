"""Lengths of time in words, the same on pages, in sentences and in answers to scripts."""

from __future__ import annotations


def spell_minutes(minutes: float) -> str:
    """How long something takes: “48 min”, from two hours on “2 h 05 min”."""
    whole = round(minutes)
    return f"{whole} min" if whole < 120 else f"{whole // 60} h {whole % 60:02d} min"
