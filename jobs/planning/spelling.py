"""Lengths of time and skills in words, the same on pages and in answers to scripts."""

from __future__ import annotations

import re
from collections.abc import Mapping

from jobs.models import Skill

_LENGTHS = (
    re.compile(r"(?P<h>[0-9]{1,4}):(?P<min>[0-5][0-9])(?: ?h)?"),
    re.compile(r"(?P<h>[0-9]{1,4}(?:\.[0-9]+)?)(?: ?h(?: ?(?P<min>[0-5]?[0-9])(?: ?min)?)?)?"),
    re.compile(r"(?P<min>[0-9]{1,4}) ?min"),
)
_SKILLS = re.compile(rf"\b({'|'.join(Skill.values)})\b")


def spell_minutes(minutes: float) -> str:
    """How long something takes: “48 min”, from two hours on “2 h 05 min”."""
    whole = round(minutes)
    return f"{whole} min" if whole < 120 else f"{whole // 60} h {whole % 60:02d} min"


def spell_length(hours: float) -> str:
    """A length [h] in hours and whole minutes, as forms show it: “0:50”, “12:05”."""
    whole = round(hours * 60)
    return f"{whole // 60}:{whole % 60:02d}"


def parse_length(text: str) -> float:
    """A length [h] as a person types it: “2:30”, “2.5”, “2 h 30 min” or “150 min”.

    Raises:
        ValueError: it reads as none.
    """
    for form in _LENGTHS:
        if found := form.fullmatch(text.strip().lower()):
            parts = found.groupdict(default="0")
            return float(parts.get("h", "0")) + int(parts["min"]) / 60
    raise ValueError(f"{text!r} is no length of time.")


def spell_items(words: str, names: Mapping[str, str]) -> str:
    """A sentence of the engine, which knows kept items by their codes, with their names instead."""
    for code in sorted(names, key=len, reverse=True):
        words = re.sub(rf"(?<!\w){re.escape(code)}(?!\w)", lambda _, c=code: names[c], words)
    return words


def spell_skills(words: str) -> str:
    """A sentence of the engine, which knows skills by their keys, with their names instead."""
    return _SKILLS.sub(lambda found: f"“{Skill(found[0]).label}”", words)
