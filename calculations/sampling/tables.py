"""Code letters and single sampling plans of ISO 2859-1:1999.

Code letters, normal and tightened inspection are the tables of MIL-STD-105E (1989, public
domain), Tables I, II-A, II-B, which ISO 2859-1 shares. They are kept as their structure: along
each AQL's column the acceptance numbers run in one fixed order from the letter whose plan
accepts on 0, one letter later for each AQL one step finer.

Reduced inspection is ISO 2859-1:1999, Table 2-C, whose acceptance and rejection numbers leave
no gap, unlike MIL-STD-105E's. It is taken from a third party's copy of the table and agrees with
what Table 11-C says in its place (three fractional plans, 1/5, 1/3 and 1/2, from memory), where
this table has three arrows between accepting on 0 and on 1.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

Level = Literal["I", "II", "III"]
Severity = Literal["normal", "tightened", "reduced"]

LETTERS: Final = "ABCDEFGHJKLMNPQRS"

LOT_UPPER: Final = (
    8, 15, 25, 50, 90, 150, 280, 500, 1_200, 3_200, 10_000, 35_000, 150_000, 500_000,
)  # fmt: skip
"""Greatest lot of each row of Table I; the last row has none."""

CODE_LETTERS: Final[dict[Level, str]] = {
    "I": "AABCCDEFGHJKLMN",
    "II": "ABCDEFGHJKLMNPQ",
    "III": "BCDEFGHJKLMNPQR",
}
"""Table I by general inspection level, one letter a row."""

AQLS: Final = (
    0.010, 0.015, 0.025, 0.040, 0.065, 0.10, 0.15, 0.25, 0.40, 0.65, 1.0, 1.5, 2.5, 4.0, 6.5, 10.0,
)  # fmt: skip
"""Acceptance quality limits in percent nonconforming; those above 10 are for
nonconformities per 100 items only and have no meaning for whole jobs."""

SIZES: Final[dict[Severity, tuple[int, ...]]] = {
    "normal": (2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000),
    "tightened": (2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000, 3150),
    "reduced": (2, 2, 2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800),
}
"""Sample size by code letter A, B, C, ..."""

UP: Final = "up"
DOWN: Final = "down"


@dataclass(frozen=True, slots=True)
class Column:
    """What a column of a master table holds downwards from its plan accepting on 0.

    first_letter: index in LETTERS of that plan for the coarsest AQL of this module (10 %);
    each finer AQL has it one letter later. numbers: (Ac, Re) or an arrow.
    """

    first_letter: int
    numbers: tuple[tuple[int, int] | str, ...]


COLUMNS: Final[dict[Severity, Column]] = {
    "normal": Column(
        -1,
        (
            (0, 1), UP, DOWN, (1, 2), (2, 3), (3, 4), (5, 6), (7, 8), (10, 11), (14, 15), (21, 22),
        ),
    ),
    "tightened": Column(
        0,
        (
            (0, 1), DOWN, DOWN, (1, 2), (2, 3), (3, 4), (5, 6), (8, 9), (12, 13), (18, 19),
        ),
    ),
    "reduced": Column(
        -1,
        (
            (0, 1), UP, DOWN, DOWN, (1, 2), (2, 3), (3, 4), (5, 6), (6, 7), (8, 9), (10, 11),
        ),
    ),
}  # fmt: skip


def cell(severity: Severity, aql: float, letter: int) -> tuple[int, int] | str:
    """What the master table has at a code letter (index): (Ac, Re), UP or DOWN."""
    if (severity, aql, letter) == ("tightened", 10.0, 0):
        return DOWN  # the one cell off the order: two jobs alone are never a tightened plan
    column = COLUMNS[severity]
    steps_finer = len(AQLS) - 1 - AQLS.index(aql)
    place = letter - (column.first_letter + steps_finer)
    if place < 0:
        return DOWN
    return column.numbers[place] if place < len(column.numbers) else UP


def follow(severity: Severity, aql: float, letter: int) -> tuple[int, int, int]:
    """Letter index, acceptance and rejection number after following arrows.

    An arrow that leads off the table is followed the other way: at its very top or bottom
    the standard has only the arrows that lead somewhere.
    """
    last = len(SIZES[severity]) - 1
    start = min(letter, last)
    found = cell(severity, aql, start)
    if isinstance(found, tuple):
        return start, *found
    for step in (1, -1) if found == DOWN else (-1, 1):
        at = start + step
        while 0 <= at <= last:
            numbers = cell(severity, aql, at)
            if isinstance(numbers, tuple):
                return at, *numbers
            at += step
    raise AssertionError("every column has a plan")
