"""Numbers and units as a paper sets them."""

from __future__ import annotations

from jobs.templatetags.eavesbook import NARROW_SPACE, UNIT_SIGNS, signed_units

SAID_WITHOUT_UNIT = ("rolls", "roll", "piece")


def count_words(quantity: float, unit: str) -> str:
    """A quantity with its unit, which never part: "12", "2.6 m", "1 tube"."""
    number = f"{quantity:,.2f}".rstrip("0").rstrip(".")
    if unit in SAID_WITHOUT_UNIT:
        return number
    return f"{number}{NARROW_SPACE}{UNIT_SIGNS.get(unit, unit)}"


def with_sign(sentence: str) -> str:
    """A sentence with its plain units set as signs."""
    return str(signed_units(sentence))
