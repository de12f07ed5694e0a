"""Lengths of time and skills in words, the same on pages and in answers to scripts."""

from __future__ import annotations

import re
from collections.abc import Mapping

from jobs.models import Skill

_SKILLS = re.compile(rf"\b({'|'.join(Skill.values)})\b")


def spell_minutes(minutes: float) -> str:
    """How long something takes: “48 min”, from two hours on “2 h 05 min”."""
    whole = round(minutes)
    return f"{whole} min" if whole < 120 else f"{whole // 60} h {whole % 60:02d} min"


def spell_items(words: str, names: Mapping[str, str]) -> str:
    """A sentence of the engine, which knows kept items by their codes, with their names instead."""
    for code in sorted(names, key=len, reverse=True):
        words = re.sub(rf"(?<!\w){re.escape(code)}(?!\w)", lambda _, c=code: names[c], words)
    return words


def spell_skills(words: str) -> str:
    """A sentence of the engine, which knows skills by their keys, with their names instead."""
    return _SKILLS.sub(lambda found: f"“{Skill(found[0]).label}”", words)
