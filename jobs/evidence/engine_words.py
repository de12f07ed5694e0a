"""Sentences of the engine as pages tell them: its own stay to the letter as they were judged."""

from __future__ import annotations

import re

_ZONES = re.compile(r"no reading in the zone round (?P<places>[^;]+(?:; [^;]+)+)\.")


def zones_in_plural(sentence: str) -> str:
    """ "No reading in the zone round A; B." with as many zones as it names."""

    def told(found: re.Match[str]) -> str:
        places = found["places"].split("; ")
        return f"no reading in the {len(places)} zones round {'; '.join(places)}."

    return _ZONES.sub(told, sentence)
