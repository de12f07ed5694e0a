"""Numbers and units as a paper sets them."""

from __future__ import annotations

from jobs.planning.travel import Drive
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


def drive_words(drive: Drive) -> str:
    """A drive as "1 h 25 min, 38.0 km", to the minute; "straight" if no road was told."""
    hours, minutes = divmod(round(drive.minutes), 60)
    straight = ", straight" if drive.straight else ""
    long = f"{hours}{NARROW_SPACE}h " if hours else ""
    return f"{long}{minutes}{NARROW_SPACE}min, {drive.km:,.1f}{NARROW_SPACE}km{straight}"
